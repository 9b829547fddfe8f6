"""Two records beside each other: what differs in words, the margins, the curves over each other."""

from __future__ import annotations

import shlex
from typing import Any

from starlette.responses import Response

from archive.room.app import PageRequest
from archive.room.curves import sweep_parameters
from archive.room.records import graded, record_batch


def page(asked: PageRequest) -> Response:
    """Two records. Either may be of another link: then the page says so."""
    sides = []
    for name in ("a", "b"):
        batch = record_batch(asked, asked.needed(name))
        facts = batch["records"].to_pylist()[0]
        sides.append({"facts": facts, "batch": batch, **graded(batch, asked.text("against"), asked.words)})
    one, other = sides
    differing = [
        (name, one["facts"][name], other["facts"][name])
        for name in one["facts"]
        if one["facts"][name] != other["facts"][name] and not name.endswith(("_id", "_key"))
    ]
    both = set(sweep_parameters(other["batch"]))
    label = str(one["facts"]["link_label"])
    return asked.page(
        "compare.html",
        asked.words("Two records"),
        shlex.join(["muniment", "history", str(asked.root), label]),
        one=one,
        other=other,
        same=one["facts"]["record_id"] == other["facts"]["record_id"],
        differing=differing,
        margins=_margins(one["verdicts"], other["verdicts"]),
        sweeps=[name for name in sweep_parameters(one["batch"]) if name in both],
        exact=False,
    )


def _margins(one: list[dict[str, Any]], other: list[dict[str, Any]]) -> list[tuple[str, float | None, float | None]]:
    if not one or not other:
        return []
    first, second = one[0]["margins"], other[0]["margins"]
    return [(name, first.get(name), second.get(name)) for name in dict.fromkeys((*first, *second))]
