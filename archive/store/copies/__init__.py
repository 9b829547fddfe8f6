"""Second copies: made and brought up to date, used to repair what is damaged, joined from another archive."""

from __future__ import annotations

from archive.store.copies.export import Export, export
from archive.store.copies.merge import Merge, merge
from archive.store.copies.repair import Repair, repair

__all__ = ["Export", "Merge", "Repair", "export", "merge", "repair"]
