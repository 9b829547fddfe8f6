"""Limit lines as functions of frequency, read from schemas/limits/; finding the limit that an export's words mean."""
