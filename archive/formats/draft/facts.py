"""Which fact of a record a column may be: labels, dates, limits, cables, instruments, people, places."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from archive.formats.base import dates
from archive.formats.draft import heading
from archive.formats.draft.cell_tests import TESTS, Asked, yes_no
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import AGAINST, STRONG, WEAK, Fact, doubt, hypotheses, weight
from archive.formats.draft.identifiers import LABEL_SHAPE, alike
from archive.formats.draft.placing import Placed, spoken
from archive.formats.draft.profile import Profile
from archive.formats.mapping.target import Target
from archive.vocabulary import phrases

_CONTACT = re.compile(
    r"(?:(?:pin|contact|conductor|wire|kontakt|stift|ader|broche|fil|hilo|pino|pos|no|nr)\s*)?([1-8])"
)


@dataclass(frozen=True)
class Standing:
    """How a column stands. long: a record has several rows. label: it was found to hold the labels of links. of_row: a
    row of its table is a part of a record. ends: letters that name ends in this layout."""

    long: bool
    label: bool = False
    of_row: bool = False
    ends: dict[str, str] = field(default_factory=dict)


def facts(s: Seen, how: Standing) -> Iterator[Placed]:
    """Every fact that a column may be, by its words and by its cells."""
    if not s.profile.filled:
        return
    named = _named(s, how.label)
    for name in named:
        found = _fact(s, name, how)
        if found is not None:
            yield found
    if not s.own.fields and not s.heading.parameters and not s.heading.generics and not s.own.modifiers:
        yield from _blind(s, how)


def fact(s: Seen, how: Standing) -> Placed | None:
    """The likeliest fact that a column may be, or None."""
    return max(facts(s, how), key=lambda p: p.score, default=None)


def _named(s: Seen, label: bool) -> list[str]:
    """Facts that the heading names, and the label where the column was found to hold it."""
    fields = s.own.fields or s.heading.fields
    if "wiremap" in s.heading.fields and contact_of(s):
        fields = ["wiremap"]
    if "link_label" in fields and "cable" not in fields and s.profile.cables > 0.8 and not label:
        fields = ["cable"]
    names = [f for f in fields if f in hypotheses().fact]
    if not names and not s.heading.says:
        maybe = dict.fromkeys(m.id for m in s.own.maybe if m.kind == "field" and m.id in hypotheses().fact)
        names = [n for n in maybe if n != "marginal" or "verdict" not in maybe]
    if label and "link_label" not in names:
        names = [*(n for n in names if n != "cable"), "link_label"]
    return names


def _fact(s: Seen, name: str, how: Standing) -> Placed | None:
    """A column as one fact, by the words of its heading."""
    known = hypotheses().fact[name]
    to = _place(s, known, how)
    if known.cells == "date":
        return _date(s, to, name)
    if name == "wiremap" and (contact := contact_of(s)):
        return _wire(s, to.at(subject=f"contact {contact}"), contact)
    if name == "arrival":
        return _arrival(s, to)
    cells, why = TESTS[known.cells](Asked(s, name, how.long))
    h = s.own
    if h.parameters or h.generics or (h.unit and name not in ("group_index", "marginal")):
        cells = AGAINST
    if h.modifiers & {"margin", "frequency", "pair", "disturbing"} and cells != AGAINST:
        cells = WEAK
    said = f"heading says {known.said or name.replace('_', ' ')}"
    out = Placed(s, to, score=spoken(s, cells, free=known.free), reason=f"{said}; {why}" if why else said)
    out.at_most(1.0 if to.end else doubt("place_or_end") if s.own.ends and to.table == "places" else known.most)
    if _end_open(s, to, how) and not any(x in how.ends for x in s.heading.letters):
        out.at_most(0.45, "what else the heading says may be an end")
    if known.free and h.guessed:
        out.at_most(0.45, "the beginning of a word alone says so")
    if name == "link_label" and "link_label" not in h.fields:
        _label_by_cells(out, s)
    if name == "verdict" and cells == STRONG and (words := yes_no(s.profile.distinct)):
        out.options["words"] = words
    return out


_NAMES = frozenset(("id", "name", "nr", "no"))
"""Headings that name the thing of their row, whatever it is."""


def _label_by_cells(out: Placed, s: Seen) -> None:
    """A label of which no word says that it is one: its shape may."""
    shaped = all(LABEL_SHAPE.search(c) for c in s.profile.distinct[:200]) or (
        alike(s.profile.distinct) and not s.own.says
    )
    out.reason = f"{out.reason}; all of the shape of labels" if shaped else out.reason
    if not s.own.says:
        out.score = weight("strong") + weight("relation") * shaped
        out.reason = "the cells name the links" + ("; all of the shape of labels" if shaped else "")
        if s.own.text.strip().casefold() not in _NAMES:
            out.at_most(0.92 if shaped else 0.8)
    elif not shaped and not s.heading.media:
        out.at_most(0.9)


def _place(s: Seen, known: Fact, how: Standing) -> Target:
    table, _, column = known.to.partition(".")
    to = Target(table, column)
    if table not in ("instruments", "places"):
        return to
    # "Local" alone is a place in some languages and an end in others: not both at once.
    ends = s.heading.ends if table == "instruments" or len(phrases.tokens(s.own.text)) > 1 else []
    ends = ends or [how.ends[x] for x in s.heading.letters if x in how.ends and table == "instruments"]
    return to.at(end=ends[0] if ends else "local" if table == "instruments" else "")


def _end_open(s: Seen, to: Target, how: Standing) -> bool:
    """Whether a heading says something more of a unit that nobody understood: it may be the other end."""
    more = s.own.unknown or [x for x in s.heading.letters if x not in how.ends]
    return to.table == "instruments" and bool(to.end) and not s.heading.ends and bool(more)


def _blind(s: Seen, how: Standing) -> Iterator[Placed]:
    """Facts that the cells alone speak for, whatever the heading is."""
    for name, known in hypotheses().fact.items():
        if known.blind is None or (how.of_row and known.cells == "verdict"):
            continue
        if _speaks(s, known.cells):
            to = Target(*known.to.split("."))
            out = _date(s, to, name) if known.cells == "date" else Placed(s, to)
            if out is not None:
                out.score = known.blind
                out.reason = f"the heading says nothing, the cells are {_CELLS[known.cells]}"
                yield out


_CELLS = {"date": "times", "verdict": "verdicts", "limit": "names of standards", "cable": "kinds of cable"}


def _speaks(s: Seen, cells: str) -> bool:
    """Whether the cells of a column can hardly be anything but such."""
    p = s.profile
    if p.filled < 2:
        return False
    if cells == "date":
        timed = bool(p.dates) and any(":" in c for c in p.distinct[:5])
        counted = dates.counts_for(p.distinct[:300]) if p.numeric > 0.9 and not p.dates else []
        return timed or bool(counted and not counted[0].startswith("days"))
    if cells == "verdict":
        return p.verdicts == 1 and len(p.distinct) <= 4 and all(len(c) > 1 for c in p.distinct)
    if cells == "limit":
        return p.limits > 0.9 and (p.limits > p.cables or _of_link(p))
    return p.cables > 0.9 and p.limits <= p.cables and len(p.distinct) < 0.5 * p.filled and not _of_link(p)


def _of_link(p: Profile) -> bool:
    """Whether every cell names a configuration of links, such as "permanent link": limits do, cables do not."""
    return all(heading.read(c).configurations for c in p.distinct[:40])


def contact_of(s: Seen) -> str:
    """The contact that a column of a wire map is about: "Pin 1", "wireMap/1", "Screen"; "" where it is no such."""
    last = phrases.phrase(s.column.levels[-1]) if s.column.levels else ""
    match = _CONTACT.fullmatch(last)
    if match:
        return match.group(1)
    return "S" if last in ("screen", "shield", "s", "schirm", "blindage", "pantalla") else ""


def _wire(s: Seen, to: Target, contact: str) -> Placed:
    p = s.profile
    plain = all(re.fullmatch(r"[1-8S0xX]|shield|screen|open", c.removesuffix(".0"), re.IGNORECASE) for c in p.distinct)
    fits = plain or p.meanings("fault").keys() | set("12345678") >= set(p.distinct)
    out = Placed(s, to, score=spoken(s, STRONG), reason=f"wire map, contact {contact}")
    return out if fits else out.at_most(0.6)


def _arrival(s: Seen, to: Target) -> Placed | None:
    """Where the fiber that the heading names arrives: cells name positions."""
    near = s.heading.pairs.replace(" ", "") or (s.heading.letters[0] if len(s.heading.letters) == 1 else "")
    if not near or any(len(c) > 3 for c in s.profile.distinct):
        return None
    return Placed(
        s, to.at(subject=f"fiber {near.upper()}"), score=spoken(s, STRONG), reason=f"where fibre {near} arrives"
    )


def _date(s: Seen, to: Target, name: str) -> Placed | None:
    """Dates: the pattern is proved by the cells, or the words are kept and the order is asked for."""
    p, h = s.profile, s.own
    most = 0.4 if h.parameters else 1.0
    counted = dates.counts_for(p.distinct[:300]) if p.numeric > 0.8 and not p.dates else []
    if counted and not (name == "time" and counted[0].startswith("days")):  # 063000 is half past six
        options = {"format": counted[0]}
        return Placed(s, to, "", spoken(s, STRONG), f"times as {counted[0]}", options).at_most(most)
    if not p.dates:
        if p.numeric > 0.8 or p.verdicts > 0.5:
            return None
        why = "heading says a date, but the cells read by no pattern"
        return Placed(s, to, "", spoken(s, WEAK), why, {"format": "words"})
    if name in ("tested", "time"):
        part = _part(p.dates[0], p.distinct)
        if name == "time" and part == "date":
            return None
        to = to.at(part=part)
    score = spoken(s, STRONG)
    if len(p.dates) > 1:
        either = " or ".join(p.dates[:2])
        why = f"a date that reads two ways ({p.distinct[0]}): its words are kept; say format = {either}"
        return Placed(s, to, "", score, why, {"format": "words", "ask": either}).at_most(min(most, 0.92))
    why = f"dates as {p.dates[0]}" if p.dates[0] != "ISO" else "dates of ISO 8601"
    return Placed(s, to, "", score, why, {"format": p.dates[0]}).at_most(most)


def _part(pattern: str, distinct: list[str]) -> str:
    """date or time where a pattern has only one of them, else ""."""
    clock, day = "hh" in pattern, "YY" in pattern or pattern == "ISO"
    if pattern == "ISO":
        clock = any("T" in c or ":" in c for c in distinct)
    return "time" if clock and not day else "date" if day and not clock else ""
