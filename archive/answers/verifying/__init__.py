"""Folders that were issued, verified as a whole: by nothing but themselves, and a head that somebody holds."""
