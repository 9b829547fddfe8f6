"""`python -m muniment`: the command."""

from archive.cli import main

main()
