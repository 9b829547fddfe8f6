"""Tables of a bag as Parquet files: written as a stream, read whole, by record or by column."""

from __future__ import annotations

from archive.store.parquet.reader import BagTables
from archive.store.parquet.writer import FOLDER, TableFiles

__all__ = ["FOLDER", "BagTables", "TableFiles"]
