"""Muniment: an archive of cabling certification records."""
