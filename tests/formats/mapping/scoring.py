"""How well a draft places cells, against where they belong."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from archive.formats.draft.write import Draft


@dataclass
class Score:
    """right and all: cells. wrong_and_sure: fields placed wrongly with a confidence of 0.9 or more."""

    right: int = 0
    all: int = 0
    wrong_and_sure: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    @property
    def share(self) -> float:
        """Share of the cells that are placed rightly."""
        return self.right / self.all if self.all else 0.0


def score(draft: Draft, expected: dict[Any, str]) -> Score:
    """expected: where each column belongs, by its name or by its table and name; "*" where any place will
    do (told by other tests)."""
    out = Score()
    for f in draft.fields:
        want = expected.get((f["table"], f["from"]), expected.get(f["from"]))
        out.all += f["cells"]
        if want == "*" or want == f["to"]:
            out.right += f["cells"]
        else:
            said = f"{f['from']} -> {f['to']} ({f['confidence']}), not {want}"
            out.wrong.append(said)
            if f["confidence"] >= 0.9:
                out.wrong_and_sure.append(said)
    named = {f["from"] for f in draft.fields}
    for key, want in expected.items():
        name = key[1] if isinstance(key, tuple) else key
        if want and name not in named and name in draft.cells:
            out.all += draft.cells[name]
            out.wrong.append(f"{name} is not placed, belongs to {want}")
    return out
