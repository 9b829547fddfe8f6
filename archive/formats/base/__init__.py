"""What readers and drafts are built from: text and its encoding, words, numbers, dates, units, kinds of files.

Nothing here knows a mapping or a draft.
"""
