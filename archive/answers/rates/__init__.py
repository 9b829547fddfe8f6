"""Pass rates over an archive, what failed, and how margins lie over frequency.

from archive.answers import rates

table = rates.table("certificates", by=["cable_type", "year"], site="Lantern Quay 4")   # a pyarrow.Table
frame = table.to_pandas()
"""

from __future__ import annotations

from archive.answers.rates.table import table

__all__ = ["table"]
