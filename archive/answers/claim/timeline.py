"""The link over time: one row for each day that is known, the warranty as a bar above them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from archive.answers.cases import CLOSE, DECIDE, OPEN
from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.claim.timing import as_day, warranty_span
from archive.answers.documents import DocumentSection, Figure
from archive.answers.plots.model import NARROW
from archive.answers.plots.pen import GRID, INK, LETTERS, SHADE, SOFT, figure, haloed, picture, stroke, text
from archive.answers.plots.scale import even
from archive.answers.wording import Wording

_WIDE, _LEFT, _RIGHT, _TOP, _ROW, _TALL_ROW = 680, 12, 12, 44, 19, 34
_TURN = 0.55
"""Part of the width beyond which a row's words stand to the left of its point."""


def section(facts: ClaimFacts, words: Wording) -> DocumentSection | None:
    """The picture; none where fewer than two days are known."""
    w = warranty_span(facts)
    found = over_time(_days(facts, words), as_day(w.first), as_day(w.last), words)
    return None if found is None else DocumentSection(words("Time line"), [found], keep=True)


def over_time(days: Iterable[tuple[date, str]], first: date | None, last: date | None, words: Wording) -> Figure | None:
    """The picture of days with what happened on them, and of a warranty by its first and last day.

    None where fewer than two days are known.
    """
    rows = sorted(days, key=lambda row: row[0])
    known = [day for day, _ in rows] + [d for d in (first, last) if d is not None]
    if len(set(known)) < 2:
        return None
    caption = words("The link over time; the bar is the warranty.") if first or last else words("The link over time.")
    alt = caption + " " + "; ".join(f"{words.day(day.isoformat())}: {what}" for day, what in rows) + "."
    span = (min(known), max(known))
    svg, narrow = (_picture(rows, (first, last), span, caption, words, width) for width in (_WIDE, NARROW))
    return Figure(svg, caption, alt, narrow=narrow)


def _days(facts: ClaimFacts, words: Wording) -> Iterator[tuple[date, str]]:
    """Days that are known, and what happened on them."""
    j, c, case = facts.job, facts.stated, facts.case
    s = facts.standing
    stated: list[tuple[str, str]] = [
        (str(j.get("work_start") or ""), words("work began")),
        (str(j.get("work_end") or ""), words("work ended")),
    ]
    for t in facts.tests:
        shown = (
            words("tested: the accepted record") if facts.role == "accepted" else words("tested: the current record")
        )
        other = words("tested, job {job}", job=t.job) if t.job else words("tested")
        stated.append((t.record["tested_local"] or "", shown if t is s or t.standing else other))
    stated += [(t.deposited_at, words("archived: {name}", name=t.deposit)) for t in facts.tests if t.standing]
    stated += [(c.failed_on.isoformat() if c.failed_on else "", words("failure"))]
    stated += [(c.notified_on.isoformat() if c.notified_on else "", words("notice"))]
    if case is not None:
        names = {OPEN: words("case opened"), DECIDE: words("case decided"), CLOSE: words("case closed")}
        stated += [(case.day_of(action) or "", name) for action, name in names.items()]
    if facts.retest is not None:
        stated.append((facts.retest.record["tested_local"] or "", words("fresh test")))
    stated.append((facts.on, words("looked at")))
    for day, what in stated:
        found = as_day(day)
        if found is not None:
            yield found, what


def _picture(
    rows: list[tuple[date, str]],
    warranty: tuple[date | None, date | None],
    span: tuple[date, date],
    title: str,
    words: Wording,
    width: int,
) -> str:
    """The picture for a page; narrower, each row's words stand above its point, from the left edge."""
    first, last = warranty
    begin, end = map(_year, span)
    above = width < _WIDE
    high, down = (_TALL_ROW, 22) if above else (_ROW, 8)
    room = max(0.02 * (end - begin), 0.1)
    begin, end = begin - room, end + room

    def x(day: date) -> float:
        return _LEFT + (_year(day) - begin) / (end - begin) * (width - _LEFT - _RIGHT)

    bottom = _TOP + high * len(rows) + 6
    out = []
    for year in even(begin, end, 4 if above else 8):
        if year == int(year) and begin <= year <= end:
            at = x(date(int(year), 1, 1))
            out.append(stroke(f"M{figure(at)} {_TOP - 22}V{bottom}", GRID, "", 0.7))
            out.append(text(at, bottom + 15, str(int(year)), anchor="middle", colour=SOFT, size=LETTERS))
    if first or last:
        left, right = (x(first) if first else _LEFT), (x(last) if last else width - _RIGHT)
        place = f'x="{figure(left)}" y="{_TOP - 22}" width="{figure(right - left)}" height="14"'
        out.append(f'<rect {place} fill="{SHADE}" stroke="{INK}"/>')
        named = words(
            "warranty, {start} to {end}",
            start=words.day(first.isoformat()) if first else words("begin not stated"),
            end=words.day(last.isoformat()) if last else words("end not stated"),
        )
        out.append(text(_LEFT, _TOP - 28, named, size=LETTERS, bold=True))
    for n, (day, _) in enumerate(rows):
        out.append(stroke(f"M{figure(x(day))} {_TOP - 8}V{_TOP + high * n + down}", SOFT, "2 2", 0.7))
    for n, (day, what) in enumerate(rows):
        at, y = x(day), _TOP + high * n + down
        turned = at > _LEFT + _TURN * (width - _LEFT - _RIGHT)
        out.append(f'<circle cx="{figure(at)}" cy="{y}" r="3.4" fill="{INK}"/>')
        label = f"{words.day(day.isoformat())}: {what}"
        if above:
            out.append(haloed(_LEFT, y - 8, label, "start", LETTERS))
        else:
            out.append(haloed(at + (-8 if turned else 8), y + 3.6, label, "end" if turned else "start", LETTERS))
    return picture(width, bottom + 22, title, "".join(out))


def _year(day: date) -> float:
    return day.year + (day.timetuple().tm_yday - 1) / 366
