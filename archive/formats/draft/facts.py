"""Where the facts of a record go: labels, dates, limits, cables, instruments, people, places."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive.formats.base import dates, words
from archive.formats.draft.roles import Seen
from archive.formats.draft.sure import AGAINST, NEUTRAL, STRONG, WEAK, sure
from archive.formats.mapping.target import Target
from archive.vocabulary import phrases

_LABEL = re.compile(r"^(?=.*\d)(?=.*[^\W\d_])[\w.]+(?:[-/:.][\w.]+)+$")
"""Identifiers of several parts with letters and digits, as ANSI/TIA-606 and ISO/IEC 14763-2 have them."""

_PLAIN: dict[str, str] = {
    "link_label": "records.link_label",
    "sequence": "records.sequence",
    "limit_name": "records.limit_found",
    "configuration": "records.configuration",
    "cable": "records.cable_found",
    "connections": "records.connections",
    "splices": "records.splices",
    "reference_method": "records.reference_method",
    "reference_date": "records.reference_local",
    "launch_condition": "records.launch_condition",
    "group_index": "records.group_index",
    "verdict": "records.reported_verdict",
    "marginal": "records.reported_marginal",
    "comment": "records.comment",
    "medium": "records.medium",
    "operator": "people.name",
    "organisation": "people.organisation",
    "job": "jobs.job_id",
    "client": "jobs.client",
    "site": "jobs.site",
    "building": "places.building",
    "floor": "places.floor",
    "space": "places.space",
    "panel": "places.panel",
    "port": "places.port",
    "maker": "instruments.maker",
    "model": "instruments.model",
    "serial": "instruments.serial",
    "software": "instruments.software",
    "calibrated_on": "instruments.calibrated_on",
    "calibration_due": "instruments.calibration_due",
    "accuracy_level": "instruments.accuracy_level",
    "adapter": "instruments.adapter",
    "wiremap": "wiremap.far",
}


@dataclass
class Placed:
    """Where a column goes: target (None: nowhere known), unit, confidence, reason, and what the field needs beside."""

    seen: Seen
    to: Target | None
    unit: str = ""
    confidence: float = 0.0
    reason: str = ""
    options: dict[str, Any] = field(default_factory=dict)
    table: str = ""
    what: str = ""


def place_fact(s: Seen, long: bool, label: bool = False) -> Placed | None:
    """Where a column of facts goes, or None where its heading names none.

    long: a record has several rows. label: it was found to hold the labels of links.
    """
    h, p = s.heading, s.profile
    if not p.filled:
        return None
    fields = s.own.fields or h.fields
    if "wiremap" in h.fields and _contact(s):
        fields = ["wiremap"]
    if "link_label" in fields and "cable" not in fields and p.cables > 0.8 and not label:
        fields = ["cable"]
    names = [f for f in fields if f in _PLAIN or f in ("tested", "time", "zone")]
    if label and "link_label" not in names:
        names.append("link_label")
        if "cable" in names:
            names.remove("cable")
        if s.own.text.strip().casefold() in ("id", "name") and all(_LABEL.search(c) for c in p.distinct[:200]):
            out = _one(s, "link_label", long)
            if out is not None and out.confidence > 0.5:
                out.confidence, out.reason = 0.9, f"{out.reason}; all of the shape of labels"
                return out
    best: Placed | None = None
    for name in names:
        found = _one(s, name, long)
        if found is not None and (best is None or found.confidence > best.confidence):
            best = found
    return best


def _one(s: Seen, name: str, long: bool) -> Placed | None:
    h, p = s.own, s.profile
    if name in ("tested", "time"):
        return _date(s, Target("records", "tested_found"), name)
    if name == "zone":
        ok = STRONG if all(re.search(r"[+-]\d|utc|gmt|/", c, re.IGNORECASE) for c in p.distinct[:50]) else WEAK
        return Placed(s, Target("records", "tested_found", part="zone"), "", sure(h, ok), "names a time zone")
    table, _, column = _PLAIN[name].partition(".")
    to = Target(table, column)
    # "Local" alone is a place in some languages and an end in others: not both at once.
    ends = s.heading.ends if table == "instruments" or len(phrases.tokens(s.own.text)) > 1 else []
    if table in ("instruments", "places"):
        to = to.at(end=ends[0] if ends else "local" if table == "instruments" else "")
    if name in ("calibrated_on", "calibration_due", "reference_date"):
        return _date(s, to, name)
    contact = _contact(s) if name == "wiremap" else ""
    if contact:
        to = to.at(subject=f"contact {contact}")
        ok = all(re.fullmatch(r"[1-8S0xX]|shield|screen|open", c.removesuffix(".0"), re.IGNORECASE) for c in p.distinct)
        fits = ok or p.meanings("fault").keys() | set("12345678") >= set(p.distinct)
        return Placed(s, to, "", 0.95 if fits else 0.6, f"wire map, contact {contact}")
    cells, why = _fit(s, name, long)
    said = f"heading says {_SAID.get(name, name.replace('_', ' '))}"
    if name == "link_label" and "link_label" not in h.fields:
        cap = 0.92 if s.heading.media else 0.9
    text = name in (
        "comment",
        "operator",
        "organisation",
        "job",
        "client",
        "site",
        "building",
        "floor",
        "space",
        "panel",
        "port",
        "maker",
        "model",
        "adapter",
        "accuracy_level",
        "software",
        "sequence",
        "serial",
    )
    cap = 0.85 if table == "places" and not ends else 1.0
    if h.parameters or h.generics or (h.unit and name not in ("group_index", "marginal")):
        cells = AGAINST
    if h.modifiers & {"margin", "frequency", "pair", "disturbing"}:
        cells = min(cells, WEAK)
    out = Placed(s, to, "", sure(h, cells, text, cap), f"{said}; {why}" if why else said)
    if name == "verdict" and cells == STRONG and (said_so := yes_no(p.distinct)):
        out.options["words"] = said_so
    return out


def yes_no(distinct: list[str]) -> dict[str, str]:
    """Cells such as Y and N as verdicts; {} where they are other words."""
    from archive.formats.mapping import verdicts

    if not 1 <= len(distinct) <= 2 or any(verdicts.general(c)[0] for c in distinct):
        return {}
    folded = {c: phrases.phrase(c) or c.casefold() for c in distinct}
    if not all(f in words.plain("yes") | words.plain("no") for f in folded.values()):
        return {}
    return {c: "pass" if f in words.plain("yes") else "fail" for c, f in folded.items()}


def _contact(s: Seen) -> str:
    """The contact that a column of a wire map is about: "Pin 1", "wireMap/1", "Screen"; "" where it is no such."""
    last = phrases.phrase(s.column.levels[-1]) if s.column.levels else ""
    match = re.fullmatch(
        r"(?:(?:pin|contact|conductor|wire|kontakt|stift|ader|broche|fil|hilo|pino|pos|no|nr)\s*)?([1-8])", last
    )
    if match:
        return match.group(1)
    return "S" if last in ("screen", "shield", "s", "schirm", "blindage", "pantalla") else ""


_SAID = {"link_label": "label of the link", "limit_name": "limit", "job": "job", "verdict": "result"}


def _date(s: Seen, to: Target, name: str) -> Placed | None:
    """Dates: the pattern is proved by the cells, or the words are kept and the order is asked for."""
    h, p = s.own, s.profile
    cap = 1.0 if not h.parameters else 0.4
    counted = dates.counts_for(p.distinct[:300]) if p.numeric > 0.8 and not p.dates else []
    if counted and not (name == "time" and counted[0].startswith("days")):  # 063000 is half past six
        return Placed(s, to, "", sure(h, STRONG, cap=cap), f"times as {counted[0]}", {"format": counted[0]})
    if not p.dates:
        if p.numeric > 0.8 or p.verdicts > 0.5:
            return None
        return Placed(
            s, to, "", sure(h, WEAK), "heading says a date, but the cells read by no pattern", {"format": "words"}
        )
    pattern = p.dates[0]
    if name in ("tested", "time"):
        clock, day = "hh" in pattern, "YY" in pattern or pattern == "ISO"
        if pattern == "ISO":
            clock, day = any("T" in c or ":" in c for c in p.distinct), True
        if not day and clock:
            to = to.at(part="time")
        elif name == "time" and day and not clock:
            return None
        elif day and not clock:
            to = to.at(part="date")
    if len(p.dates) > 1:
        either = " or ".join(p.dates[:2])
        reason = f"a date that reads two ways ({p.distinct[0]}): its words are kept; say format = {either}"
        return Placed(s, to, "", sure(h, STRONG, cap=min(cap, 0.92)), reason, {"format": "words", "ask": either})
    reason = f"dates as {pattern}" if pattern != "ISO" else "dates of ISO 8601"
    return Placed(s, to, "", sure(h, STRONG, cap=cap), reason, {"format": pattern})


def _fit(s: Seen, name: str, long: bool) -> tuple[int, str]:
    """Whether the cells can be what a heading says, and why."""
    p = s.profile
    some = p.distinct[:200]
    numeric = p.numeric > 0.9
    length = float(np.mean([len(c) for c in some]))
    if name == "link_label":
        if (p.dates and not numeric) or p.verdicts > 0.5 or length > 60 or p.cables > 0.6 or p.limits > 0.6:
            return AGAINST, "the cells are no labels"
        if p.constant and p.filled > 3 and not long:
            return WEAK, "it never changes"
        return STRONG, f"{len(p.distinct)} different labels"
    if name == "verdict" and yes_no(p.distinct):
        return STRONG, "yes and no in the cells"
    if name == "verdict":
        return (STRONG, "verdicts in the cells") if p.verdicts > 0.9 else (AGAINST, "no verdicts in the cells")
    if name == "marginal":
        yes = words.plain("yes") | words.plain("no")
        ok = all((phrases.phrase(c) or c.casefold()) in yes or p.verdicts for c in some)
        return (STRONG, "yes or no") if ok else (WEAK, "")
    if name == "limit_name":
        if numeric:
            return AGAINST, "numbers"
        return (STRONG, "names of standards in the cells") if p.limits > 0.5 else (NEUTRAL, "")
    if name == "cable":
        if numeric:
            return AGAINST, "numbers"
        if p.cables > 0.5:
            return STRONG, "kinds of cable in the cells"
        return (AGAINST, "every cell differs") if p.unique > 0.9 and p.filled > 5 else (NEUTRAL, "")
    if name in ("configuration", "reference_method", "launch_condition", "medium"):
        known = sum(words.meaning(c, name) is not None for c in some) / len(some)
        return (STRONG, "known words in the cells") if known > 0.9 else (WEAK, "words that are not known")
    if name in ("connections", "splices"):
        whole = numeric and all(float(v).is_integer() and 0 <= v < 200 for v in p.values[np.isfinite(p.values)])
        return (STRONG, "small whole numbers") if whole else (AGAINST, "no whole numbers")
    if name == "group_index":
        ok = numeric and all(1.3 < v < 1.7 for v in p.values[np.isfinite(p.values)])
        return (STRONG, "between 1.3 and 1.7") if ok else (AGAINST, "no group index")
    if name == "wiremap":
        from archive.formats.mapping.build.wires import contacts

        known = sum(bool(contacts(c)) for c in some) / len(some)
        return (STRONG, "contacts in the cells") if known > 0.9 else (AGAINST, "no contacts in the cells")
    if name == "serial":
        ok = all(re.search(r"\d", c) for c in some) and length < 30 and not p.dates
        return (STRONG, "numbers of units") if ok else (WEAK, "")
    if name == "software":
        if all(re.fullmatch(r"\d{1,2}", c) for c in some):
            return WEAK, "a whole number, as forms of files have"
        return (STRONG, "versions in the cells") if all(re.search(r"\d", c) for c in some) else (NEUTRAL, "")
    if name == "port" and p.constant and p.filled > 3:
        return AGAINST, "one port for all links"
    if name == "operator":
        ok = not numeric and all(re.search(r"[^\W\d_]", c) for c in some) and length < 40 and not p.dates
        if ok and sum(len(re.findall(r"\d", c)) > 3 for c in some) > 0.8 * len(some):
            return AGAINST, "long numbers in the cells, as units have them"
        return (STRONG, "names in the cells") if ok and p.verdicts < 0.5 else (AGAINST, "no names in the cells")
    if name == "sequence":
        return (
            (STRONG, "numbers that differ")
            if p.filled > 1 and (p.unique > 0.9 or long)
            else (AGAINST, "it says nothing")
        )
    if (p.dates and name not in ("comment",)) or p.verdicts > 0.8:
        return AGAINST, "the cells are something else"
    return NEUTRAL, ""


def nowhere(s: Seen, why: str = "") -> Placed:
    """No place for a column, and why."""
    h = s.heading
    said = why or ("nothing in the heading is understood" if not h.says else "understood in part, but no place fits")
    return Placed(s, None, "", 0.0, said)
