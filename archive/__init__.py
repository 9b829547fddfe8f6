"""The rooms of Muniment. What is promised to users stands in the package `muniment`."""

DISTRIBUTION = "muniment"
"""Whose folder this is: a distribution of another name may bring one of the same name (see muniment.start)."""
