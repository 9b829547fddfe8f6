"""How many of the demo's verdicts are provisional, and why: `python -m tests.demo.provisional [ARCHIVE]`.

Without an archive the demo's exports are written and graded.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive import formats, grading, limits, vocabulary
from archive.demo import exports
from archive.limits.show import EXEMPTIONS
from archive.tables import Batch, concat


def demo() -> Batch:
    """The demo's exports, graded."""
    with tempfile.TemporaryDirectory(prefix="muniment-demo-") as name:
        exports.write(Path(name))
        return grading.grade(concat(formats.read(Path(name) / "exports", mapping=Path(name) / exports.MAPPING)))


def figure(graded: Batch) -> dict[str, Any]:
    """verdicts, provisional: how many. because: by limit and parameter, how many provisional verdicts rest on it.
    from_memory: parts of the limits that decide and are known only from memory, in words."""
    rows = graded["verdicts"].to_pylist()
    provisional = {(row["record_id"], row["limit_id"]) for row in rows if row["provisional"]}
    because: Counter[tuple[str, str]] = Counter()
    for row in graded["grades"].to_pylist():
        if row["provisional"] and row["kind"] == "overall" and (row["record_id"], row["limit_id"]) in provisional:
            because[row["limit_id"], row["parameter"]] += 1
    named = sorted({row["limit_id"] for row in rows if row["limit_id"]})
    return {
        "verdicts": len(rows),
        "provisional": len(provisional),
        "because": dict(because),
        "from_memory": {limit_id: list(_from_memory(limits.get(limit_id))) for limit_id in named},
    }


def _from_memory(limit: limits.Limit) -> Iterator[str]:
    for name, line in limit.lines.items():
        printed = vocabulary.parameter(name).name
        if line.decides and line.confidence == "C":
            yield f"{printed}: the line"
        if line.decides:
            bounds = (("values above revert to", line.cap), ("values below revert to", line.floor))
            yield from (f"{printed}: {words} {b.value:g}" for words, b in bounds if b and b.confidence == "C")
            rules = [rule for rule in line.exemptions if rule.confidence == "C"]
            yield from (f"{printed}: {EXEMPTIONS[rule.word].format(value=rule.value)}" for rule in rules)
    for name, scalar in limit.scalars.items():
        if scalar.decides and scalar.confidence == "C":
            yield f"{vocabulary.parameter(name).name}: {scalar.value:g} {scalar.unit}"


def main() -> None:
    """Prints the figure."""
    graded = demo() if len(sys.argv) < 2 else grading.grade(concat(formats.read(Path(sys.argv[1]))))
    for key, value in figure(graded).items():
        print(f"{key}: {value}")


if __name__ == "__main__":
    main()
