"""From the whole declaration of a limit to the limit."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from archive import vocabulary
from archive.errors import Trouble
from archive.limits.file_tables import ScalarTable, WholeLimit
from archive.limits.limit import Limit, Scalar
from archive.limits.line_builder import LineBuilder
from archive.structs import convert


def build(
    limit_id: str, title: str, table: Mapping[str, Any], *, where: str, own: bool = False, files: tuple[Path, ...] = ()
) -> Limit:
    """A limit from its whole declaration (see file_tables.WholeLimit).

    where: the file, for messages. Errors: Trouble for anything in the declaration that cannot be understood.
    """
    whole = convert(table, WholeLimit, where, code="limit.declaration")
    lines = LineBuilder(whole, where).all()
    scalars = {name: _scalar(name, part) for name, part in whole.scalars.items()}
    edition, designation, configuration, *_ = [*limit_id.split("/"), "", ""]
    return Limit(
        id=limit_id,
        edition=edition,
        title=title,
        document=whole.document or title,
        designation=designation,
        configuration=configuration if whole.configuration is None else whole.configuration,
        connections=whole.connections,
        lines=lines,
        scalars=scalars,
        established=bool(lines or scalars),
        own=own,
        same_as=whole.same_as,
        clause=whole.clause,
        note=whole.note,
        names={other: here for here, other in whole.also_named.items() if here in lines},
        open=whole.open,
        pairs=whole.pairs,
        confirmations=whole.confirmations,
        files=files,
        cords=whole.cords,
    )


def check_numbers(limit: Limit, where: str) -> Limit:
    """The limit, if its lines give numbers all along. Errors: Trouble where one does not."""
    for line in limit.lines.values():
        grid = line.grid()
        for segment in line.segments:
            inside = grid[segment.covers(grid)]
            with np.errstate(all="ignore"):
                bad = inside[~np.isfinite(segment.value(inside))]
            if len(bad):
                place, found = f"{where}, {line.parameter}", f"at {bad[0]:g} MHz, from '{segment.formula}'"
                raise Trouble("this line gives no number", code="limit.no-number", where=place, found=found)
    return limit


def _scalar(name: str, table: ScalarTable) -> Scalar:
    term = vocabulary.parameter(name)
    stated = msgspec.structs.asdict(table)
    return Scalar(**{**stated, "per": table.per or term.per, "parameter": name, "unit": term.unit, "sense": term.sense})
