"""The account of a conversion: what was read, what was set aside, and where every cell went."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from archive.tables import Batch

KINDS = ("read", "mapped", "extra", "ignored")


class ConversionAccount:
    """Counts batches as they pass through. Cells: read = mapped + extras + ignored, over all sources."""

    def __init__(self) -> None:
        self.records = 0
        self.set_aside: list[dict[str, Any]] = []
        self.errors: list[dict[str, Any]] = []
        self._sources: dict[str, dict[str, Any]] = {}

    def counted(self, batches: Iterable[Batch]) -> Iterator[Batch]:
        """The same batches, counted."""
        for batch in batches:
            self.records += len(batch)
            self.set_aside += batch["set_aside"].drop_columns(["text"]).to_pylist()
            self.errors += [
                f for f in batch["findings"].to_pylist() if f["severity"] == "error" and f["status"] == "raised"
            ]
            for row in batch["sources"].to_pylist():
                held = self._sources.get(row["source_id"])
                # A source comes with every batch that refers to it; the row with the most cells is the whole count.
                if held is None or (row["cells_read"] or 0) > (held["cells_read"] or 0):
                    self._sources[row["source_id"]] = row
            yield batch

    @property
    def cells(self) -> dict[str, int]:
        """Cells read, mapped, kept as extras and ignored by name."""
        read, mapped, extras, ignored = (sum(s[f"cells_{k}"] or 0 for s in self._sources.values()) for k in KINDS)
        return {"read": read, "mapped": mapped, "extras": extras, "ignored": ignored}

    @property
    def sources(self) -> list[dict[str, Any]]:
        """Rows of the sources, each once."""
        return list(self._sources.values())
