"""Inference from links that go together in jobs: counts in, intervals and tests out; nothing of an archive."""
