"""Version of the program; every statement it makes carries it."""

__version__ = "0.1.0"

PROGRAM = f"muniment {__version__}"
