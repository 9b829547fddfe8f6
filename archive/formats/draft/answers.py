"""What a draft asks, three things at the most, and what an answer to each changes.

An answer is one word: which pair names, which order of day and month, which word is the local end, which unit lengths
have, which column labels the links.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from archive.errors import Trouble
from archive.formats.base import units
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import SURE
from archive.formats.draft.placing import Meaning, Placed, Placing
from archive.formats.mapping.pairs import SCHEMES

MOST = 3
"""Most things that are asked: those that would change most cells."""

Answers = Mapping[str, str]


@dataclass(frozen=True)
class Question:
    """One thing that a draft asks. name: of the answer; choices: what may be answered; cells: how many it concerns."""

    name: str
    text: str
    choices: tuple[str, ...]
    cells: int

    def __str__(self) -> str:
        return f"{self.text}; answer {' or '.join(f'{self.name}={c}' for c in self.choices)}"


def checked(given: Sequence[str]) -> dict[str, str]:
    """Answers as NAME=VALUE, by their names. Errors: Trouble for what is none, or what no question asks."""
    out = {}
    for said in given:
        name, mark, value = said.partition("=")
        if not mark or not value.strip() or name.strip() not in _KNOWN:
            raise Trouble(
                "no answer to a question of a draft",
                code="draft.answer",
                found=said,
                expected=", ".join(f"{n}=..." for n in _KNOWN),
                remedy="see what `muniment mapping draft` asks of this export",
            )
        if name.strip() == "pairs" and value.strip() not in SCHEMES:
            raise Trouble("no such naming of pairs", code="draft.answer", found=value, expected=", ".join(SCHEMES))
        out[name.strip()] = value.strip()
    return out


def heard(answers: Answers, columns: Sequence[Seen]) -> None:
    """Lets headings say what was answered of them: which column labels the links, in which unit lengths are."""
    for s in columns:
        if s.source == answers.get("label"):
            for h in (s.heading, s.own, s.inner):
                h.fields, h.unknown, h.parameters, h.modifiers = ["link_label"], [], [], set()
        unit = units.find(answers["length"]) if "length" in answers else None
        if unit is not None and s.heading.parameters[:1] == ["length"] and not (s.heading.unit or s.profile.unit):
            s.heading.unit = s.own.unit = s.inner.unit = unit.name


def ends_heard(answers: Answers, meaning: Meaning) -> None:
    """Lets the word that was answered be the local end, and the other one the remote end."""
    key, local = meaning.keys.get("end"), answers.get("ends", "").casefold()
    cells = [c for c in key.profile.distinct if c.strip()] if key is not None else []
    if key is not None and len(cells) == 2 and local in {c.strip().casefold() for c in cells}:
        meaning.words["end"] = {c: "local" if c.strip().casefold() == local else "remote" for c in cells}
        key.column.doubt = ""


def asked(out: Placing) -> list[Question]:
    """What would change most cells, were it known."""
    found = [q for ask in _KNOWN.values() if (q := ask(out)) is not None]
    return sorted(found, key=lambda q: -q.cells)[:MOST]


def _cells(placed: Sequence[Placed]) -> int:
    return sum(int(p.options.get("cells") or p.seen.profile.filled) for p in placed)


def _pairs(out: Placing) -> Question | None:
    placed = [p for p in out.placed if p.to is not None and (p.to.pairing or p.to.name == "pairing")]
    if out.scheme.confidence >= SURE or not placed:
        return None
    measured = [p for p in out.placed if p.to is not None and p.to.table in ("row", "sweeps", "readings", "reported")]
    return Question("pairs", out.scheme.reason, ("t568a", "t568b", "contacts"), _cells(measured))


def _date(out: Placing) -> Question | None:
    placed = [p for p in out.placed if "ask" in p.options]
    if not placed:
        return None
    text = f"{placed[0].source!r} reads two ways, as {placed[0].options['ask']}"
    return Question("date", text, ("day", "month"), _cells(placed))


def _ends(out: Placing) -> Question | None:
    for table in out.tables:
        key = table.meaning.keys.get("end") if table.meaning is not None else None
        if key is not None and key.column.doubt and table.meaning is not None:
            said = table.meaning.words["end"]
            text = f"{key.source!r}: which of {', '.join(said)} is the local end, of the main unit?"
            return Question("ends", text, tuple(said), _cells(table.placed))
    return None


def _length(out: Placing) -> Question | None:
    placed = [p for t in out.tables for p in t.at("readings", "length") if "metres are assumed" in p.reason]
    return Question("length", f"{placed[0].source!r} has no unit", ("m", "ft"), _cells(placed)) if placed else None


def _label(out: Placing) -> Question | None:
    labels = [p for t in out.tables for p in t.at("records", "link_label")]
    if any(p.confidence >= SURE for p in labels):
        return None
    free = [p for t in out.tables for p in t.placed if p.to is None and p.seen.profile.numeric < 1 and _may_label(p)]
    names = list(dict.fromkeys(p.source for p in [*labels, *free]))[:MOST]
    every = _cells([p for p in out.placed if p.to is not None])
    return Question("label", "no column surely labels the links", tuple(names), every) if names else None


def _may_label(p: Placed) -> bool:
    profile = p.seen.profile
    return profile.filled > 1 and len(profile.distinct) > 1 and not profile.dates and profile.lists < 0.5


_KNOWN: dict[str, Callable[[Placing], Question | None]] = {
    "pairs": _pairs,
    "label": _label,
    "date": _date,
    "ends": _ends,
    "length": _length,
}
"""Names of answers, each with what asks for it."""
