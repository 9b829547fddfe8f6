"""Readers and writers: every layout in, the open forms out."""
