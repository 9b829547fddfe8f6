"""Where each field of a trace file went: into a column, or into extras by its own name."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any

from archive.formats.otdr import decode
from archive.formats.otdr.trace_file import TraceFile

_GENERAL = {"cable_id", "fiber_id", "fiber_type", "location_a", "location_b", "operator", "comment"}
_SUPPLIER = {"maker", "mainframe", "mainframe_serial", "module", "module_serial", "software"}
_FIXED = {"time_unix_s", "wavelength_nm", "acquisition_offset_100ps", "spacing_100ps", "points", "group_index"}


@cache
def _names(kind: Any) -> tuple[str, ...]:
    """Names of the fields of a block."""
    return tuple(f.name for f in fields(kind))


@dataclass
class FieldAccount:
    """mapped: fields that a column took. extras: name, place and value of the others."""

    mapped: int = 0
    extras: list[tuple[str, str, str]] = field(default_factory=list)

    def all_of(self, trace: TraceFile) -> None:
        """Accounts for every field of the blocks that were read."""
        self._block("GenParams", trace.general, _GENERAL)
        self._block("SupParams", trace.supplier, _SUPPLIER)
        self._block("FxdParams", trace.fixed, _FIXED)
        if trace.key_events is not None:
            for event in trace.key_events.events:
                self.mapped += 8
                if event.marks_100ps:
                    marks = " ".join(map(str, event.marks_100ps))
                    self.extras.append((f"marks of event {event.number}", "block KeyEvents, 100 ps", marks))
            self.mapped += 2
        self.mapped += sum(len(points.levels_db) for points in trace.traces)
        self.extras.append(("checksum", "block Cksum", trace.checksum))
        for name in (*trace.own_blocks, *trace.repeated):
            size = next(block.size for block in trace.map.blocks if block.name == name)
            self.extras.append((f"block {name}", "the map", f"{size} bytes, kept in the file alone"))

    def cells(self) -> dict[str, int]:
        """Columns cells_* of `sources`."""
        extra = len(self.extras)
        return {
            "cells_read": self.mapped + extra,
            "cells_mapped": self.mapped,
            "cells_extra": extra,
            "cells_ignored": 0,
        }

    def _block(self, name: str, block: decode.Block | None, taken: set[str]) -> None:
        for key in _names(type(block)) if block is not None else ():  # type: ignore[arg-type]
            if key in taken:
                self.mapped += 1
                continue
            value = getattr(block, key)
            text = " ".join(map(str, value)) if isinstance(value, tuple) else str(value)
            self.extras.append((key, f"block {name}", text))
