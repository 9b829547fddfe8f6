"""`python -m muniment`: the command."""

from muniment.start import main

main()
