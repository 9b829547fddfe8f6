"""Rules, each with a name, severity, reason and remedy; they look at a Batch and yield findings."""
