"""How far the confidence that a draft states can be trusted: fields by it, and the share that fed nothing wrong.

    python -m tests.benchmarks reliability --seeds train:300-569        # by confidence, then by place
    python -m tests.benchmarks.reliability --train SEEDS --unseen SEEDS # writes the table of schemas/reading.md

Generated documents (tests/formats/layouts) are drafted, read by their draft, and compared with their truth.
"""

from __future__ import annotations

import argparse
import re
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from archive import formats
from archive.errors import Trouble
from archive.formats.draft.command import draft_of
from tests.formats.layouts import compare, make, seeds_of
from tests.formats.layouts.reliability import Judged, judged
from tests.formats.layouts.scoring import records_of

SEEDS = "train:0-59"
BINS = ((0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.97), (0.97, 1.01))
READING = Path(formats.__file__).parents[2] / "schemas" / "reading.md"
_TABLE = re.compile(r"(?<=<!-- reliability -->\n).*?(?=<!-- /reliability -->)", re.DOTALL)


def fields_of(seeds: str) -> list[Judged]:
    """The judged fields of the drafts of some seeds."""
    out: list[Judged] = []
    for split, seed in seeds_of(seeds):
        layout = make(seed, split)
        with tempfile.TemporaryDirectory(prefix="muniment-bench-") as folder:
            path = layout.write(Path(folder))
            try:
                made = draft_of(path)
                (Path(folder) / "drafted.toml").write_text(made.text, "utf-8")
                read = [r for b in formats.read(path, mapping=Path(folder) / "drafted.toml") for r in records_of(b)]
            except Trouble:
                continue  # nothing is drafted, so nothing is stated
        out += judged(made.fields, compare(layout.facts, read))
    return out


def run(quick: bool = False, seeds: str = SEEDS) -> list[dict[str, Any]]:
    """Rows by confidence stated, then by place for what is below 0.9."""
    found = fields_of("train:0-5" if quick else seeds)
    rows = [{"what": f"{low:g} to {min(high, 1):g}", **_share(_within(found, low, high))} for low, high in BINS]
    unsure = [j for j in found if j.confidence < 0.9]
    return rows + [{"what": to, **_share([j for j in unsure if j.to == to])} for to in sorted({j.to for j in unsure})]


def _within(found: Iterable[Judged], low: float, high: float) -> list[Judged]:
    return [j for j in found if low <= j.confidence < high]


def _share(found: list[Judged]) -> dict[str, Any]:
    return {"fields": len(found), "right": sum(j.right for j in found) / len(found) if found else None}


def table(train: str, unseen: str) -> str:
    """The table of schemas/reading.md."""
    columns = [fields_of(seeds) for seeds in (train, unseen)]
    lines = [
        f"| confidence stated | fields, `{train}` | fed nothing wrong | fields, `{unseen}` | fed nothing wrong |",
        "|---|---|---|---|---|",
    ]
    for low, high in BINS:
        name = f"{low:.2f} to {high:.2f}" if high < 1 else f"{low:.2f} and more"
        cells = [c for found in columns for c in _cells(_within(found, low, high))]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def _cells(found: list[Judged]) -> tuple[str, str]:
    share = f"{100 * sum(j.right for j in found) / len(found):.1f} %" if found else "none"
    return f"{len(found):,}", share


def main() -> None:
    """Writes the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.reliability", description=__doc__)
    parser.add_argument("--train", required=True)
    parser.add_argument("--unseen", required=True)
    chosen = parser.parse_args()
    written = table(chosen.train, chosen.unseen)
    READING.write_text(_TABLE.sub(lambda _: written, READING.read_text("utf-8")), "utf-8")
    print(written)


if __name__ == "__main__":
    main()
