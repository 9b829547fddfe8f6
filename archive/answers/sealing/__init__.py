"""Folders that leave the archive as evidence: issued with a seal that says what they hold."""
