"""Answers from the archive: find, history, progress, claim file, book, rates, copies, plots."""
