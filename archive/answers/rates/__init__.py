"""Pass rates over an archive, what failed, and how margins lie over frequency.

from archive.answers import rates

table = rates.table("certificates", by=["cable_type", "year"], site="Lantern Quay 4")   # a pyarrow.Table
frame = table.to_pandas()
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from archive.answers.rates.table import table

__all__ = ["table"]


def __getattr__(name: str) -> Any:
    """The table when it is used: it needs Arrow, and counting does not. Errors: AttributeError."""
    if name not in __all__:
        raise AttributeError(name)
    from archive.answers.rates.table import table

    return table
