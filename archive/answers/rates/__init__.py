"""Pass rates over an archive, what failed, and how margins lie over frequency.

from archive.answers.rates.table import table

rates = table("certificates", by=["cable_type", "year"], site="Lantern Quay 4")   # a pyarrow.Table
frame = rates.to_pandas()

Nothing is loaded here: counting needs no Arrow, a table does.
"""
