"""Searching while one types: labels by an index of the catalogue, lines that narrow by arrays of codes in memory."""
