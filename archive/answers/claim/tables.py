"""Tables of a record: worst cases reported beside recomputed, readings, instruments, findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from archive import vocabulary
from archive.answers.claim.claim_facts import ClaimFacts, Row, TestedRecord
from archive.answers.claim.timing import days_text
from archive.answers.claim.wiremap import drawing
from archive.answers.documents import Block, DocumentSection, Figure, Para, TableBlock, stressed
from archive.answers.finding_text import finding_text, remedy_text
from archive.answers.wording import Wording, decimals_of, plain
from archive.limits.fiber import partners, plug_size

_WEIGHTS = (2.3, 0, 0, 0, 0, 0, 0, 1.2, 1.1, 1.7)


def worst_cases(tested: TestedRecord, limit_id: str | None, words: Wording) -> list[DocumentSection]:
    """Smallest margin and worst value of every parameter, recomputed under one limit, with the instrument's beside.

    What the instrument alone says, as where no value and no limit came with its margin, stands with nothing beside.
    """
    grades = tested.grades(limit_id)
    found = []
    for kind, title, theirs in (
        ("worst_margin", words("Smallest margins"), words("reported margin")),
        ("worst_value", words("Worst values"), words("reported value")),
    ):
        table = _worst_table(grades, tested.rows("reported"), kind, theirs, words)
        if table is not None:
            found.append(DocumentSection(title, [table], level=2))
    return found


def _worst_table(
    grades: Sequence[Row], reported: Sequence[Row], kind: str, theirs: str, words: Wording
) -> TableBlock | None:
    rows: list[tuple[bool, list[str]]] = []
    for parameter in vocabulary.parameters():
        here = [g for g in grades if g["parameter"] == parameter and g["kind"] == kind and g["value"] is not None]
        said = {r["end"] for r in reported if r["parameter"] == parameter and r["kind"] == kind}
        said = {end for end in said if reported_worst(reported, parameter, kind, end) is not None}
        ends = sorted({g["end"] for g in here} | said, key=lambda e: (e is not None, e or ""))
        for n, end in enumerate(ends):
            ours = [x for x in here if x["end"] == end]
            theirs_row = reported_worst(reported, parameter, kind, end)
            if ours:
                g = _worst(ours, parameter, kind)
                rows.append((g["verdict"] == "fail", _worst_row(g, theirs_row, kind, n == 0, words)))
            elif theirs_row is not None:
                rows.append((False, _reported_row(theirs_row, kind, n == 0, words)))
    if not rows:
        return None
    head = [words(h) for h in ("parameter", "end", "pairing", "MHz", "value", "limit", "margin")]
    head += [theirs, words("difference"), words("verdict")]
    return stressed(head, rows, align="lllrrrrrrl", weights=_WEIGHTS)


def _worst(rows: Sequence[Row], parameter: str, kind: str) -> Row:
    if kind == "worst_margin":
        return min(rows, key=lambda g: (g["margin"] if g["margin"] is not None else 1e9, g["frequency_mhz"] or 0.0))
    sign = -1 if vocabulary.parameter(parameter).sense == "max" else 1
    return min(rows, key=lambda g: (sign * g["value"], g["frequency_mhz"] or 0.0))


def reported_worst(rows: Sequence[Row], parameter: str, kind: str, end: str | None) -> Row | None:
    """The instrument's own worst of the same kind, parameter and end."""
    key = "margin" if kind == "worst_margin" else "value"
    here = [r for r in rows if r["parameter"] == parameter and r["kind"] == kind and r["end"] == end]
    here = [r for r in here if r[key] is not None]
    sign = -1 if kind == "worst_value" and vocabulary.parameter(parameter).sense == "max" else 1
    return min(here, key=lambda r: sign * r[key], default=None)


def _reported_row(theirs: Row, kind: str, first: bool, words: Wording) -> list[str]:
    """A point that the instrument alone speaks of: its number in its own column, no number and no verdict of ours."""
    p = vocabulary.parameter(theirs["parameter"])
    key = "margin" if kind == "worst_margin" else "value"
    told = [words.headed(p.id) if first else "", words.term(theirs["end"]), plain(theirs["pairing"])]
    number = words.value(theirs[key], p.unit, decimals_of(theirs["margin"], p.unit))
    return [*told, words.free(theirs["frequency_mhz"]), "", "", "", number, "", words("not recomputed")]


def _worst_row(g: Row, theirs_row: Row | None, kind: str, first: bool, words: Wording) -> list[str]:
    p = vocabulary.parameter(g["parameter"])
    key = "margin" if kind == "worst_margin" else "value"
    theirs = None if theirs_row is None else theirs_row[key]
    difference = None if theirs is None or g[key] is None else g[key] - theirs
    # A margin that one decimal would make none of needs more, and so do the numbers that it is the difference of.
    decimals = decimals_of(g["margin"], p.unit)
    return [
        words.headed(p.id) if first else "",
        words.term(g["end"]),
        plain(g["pairing"]),
        words.free(g["frequency_mhz"]),
        words.value(g["value"], p.unit, decimals),
        words.value(g["limit"], p.unit, decimals),
        words.value(g["margin"], p.unit, decimals),
        words.value(theirs, p.unit),
        words.value(difference, p.unit),
        words.marked(g["verdict"], provisional=g["provisional"]),
    ]


def scalars(tested: TestedRecord, words: Wording) -> DocumentSection | None:
    """Readings, pairs side by side; what is not per pair stands in a second table."""
    rows = [r for r in tested.rows("readings") if r["origin"] in ("measured", "stated")]
    by_pair: list[list[str]] = []
    other: list[list[str]] = []
    for quantity in vocabulary.parameters():
        here = [r for r in rows if r["quantity"] == quantity]
        pairs = {r["subject"]: r for r in here if r["subject"] in vocabulary.PAIRS}
        if pairs:
            cells = [_value(pairs[s], words) if s in pairs else "" for s in vocabulary.PAIRS]
            by_pair.append([words.headed(quantity), *cells])
        for r in here:
            if r["subject"] not in vocabulary.PAIRS:
                other.append([words.headed(quantity), _of(r, words), _value(r, words)])
    blocks: list[Block] = []
    if by_pair:
        head = [words("quantity"), *vocabulary.PAIRS]
        blocks.append(TableBlock(head, by_pair, align="lrrrr", weights=(3, 1, 1, 1, 1)))
    if other:
        head = [words("quantity"), words("of"), words("reading")]
        blocks.append(TableBlock(head, other, align="llr", weights=(3, 3, 1)))
    return DocumentSection(words("Length, delay, resistance and other readings"), blocks, level=2) if blocks else None


def _of(r: Row, words: Wording) -> str:
    at = f"{words.free(r['frequency_mhz'])} MHz" if r["frequency_mhz"] else ""
    wave = f"{r['wavelength_nm']:g} nm" if r["wavelength_nm"] else ""
    parts = (plain(r["subject"]), words.end(r["end"]), words.way(r["direction"]), wave, at)
    return ", ".join(x for x in parts if x)


def _value(r: Row, words: Wording) -> str:
    decimals = 2 if r["quantity"].startswith("optical") else None
    return f"{r['censored'] or ''}{words.value(r['value'], vocabulary.parameter(r['quantity']).unit, decimals)}"


def wire_map(tested: TestedRecord, words: Wording) -> DocumentSection | None:
    """The wire map as a drawing."""
    rows = tested.rows("wiremap")
    if not rows:
        return None
    if tested.record["medium"] == "fiber":
        return _positions(tested, rows, words)
    wrong = [r for r in rows if r["fault"] or (r["far"] is not None and r["far"] != r["near"])]
    contacts = ", ".join(f"{r['near']} ({words.term(r['fault']) or words('crossed')})" for r in wrong)
    caption = (
        words("Wire map with faults at {contacts}.", contacts=contacts)
        if wrong
        else words("Wire map: contact to contact, no fault.")
    )
    svg, wide = drawing(rows, title=caption, words=words)
    return DocumentSection(words("Wire map"), [Figure(svg, caption, caption, wide=wide)], level=2)


def _positions(tested: TestedRecord, rows: Sequence[Mapping[str, Any]], words: Wording) -> DocumentSection:
    """Where the fibres arrive, against the method that the link is built to."""
    method = tested.record["polarity_method"] or ""
    head = [words(h) for h in ("position", "arrives at", "expected")]
    cells = []
    size = plug_size((r[k] or "" for r in rows for k in ("near", "far")), tested.record["array_positions"])
    for r in rows:
        wanted = partners(r["near"], method, size)
        wrong = bool(wanted) and r["far"] not in wanted
        cells.append((wrong, [plain(r["near"]), plain(r["far"]), " / ".join(wanted)]))
    note = (
        words("Expected is what the method {method} says, from memory.", method=method)
        if method
        else words("No polarity method is stated, so that nothing is expected.")
    )
    table = stressed(head, cells, align="lll", weights=(1, 1, 1))
    return DocumentSection(words("Polarity"), [table, Para(note, "small")], level=2)


def instruments(facts: ClaimFacts, tested: TestedRecord, title: str, words: Wording) -> DocumentSection:
    """The units on the day of the test, their calibrations and what is filed for them."""
    r = tested.record
    rows = []
    for end, u in tested.units.items():
        if u is None:
            rows.append([words.term(end), words("not stated"), "", "", "", "", ""])
            continue
        with_it = [x for x in (plain(u["software"]), plain(u["adapter"]), plain(u["accuracy_level"])) if x]
        filed = [
            plain(d.get("title") or d.get("file_name"))
            for d in facts.documents
            if d.get("serial") and d.get("serial") == u["serial"]
        ]
        rows.append(
            [
                words.term(end),
                " ".join(x for x in (plain(u["maker"]), plain(u["model"])) if x) or words("not stated"),
                plain(u["serial"]),
                "; ".join(with_it),
                words.day(u["calibrated_on"], empty=words("not stated")),
                _due(u["calibration_due"], r["tested_local"], words),
                "; ".join(filed) or words("nothing filed for it"),
            ]
        )
    head = [
        words(h)
        for h in ("end", "instrument", "serial", "software, adapter, level", "calibrated", "calibration due", "filed")
    ]
    blocks: list[Block] = [TableBlock(head, rows, weights=(0, 1.2, 0, 1.7, 0, 1.7, 1))]
    if r["medium"] == "fiber":
        blocks.append(
            Para(
                words(
                    "Optical reference: method {method}, set {when}; launch condition {launch}.",
                    method=words.term(r["reference_method"]) or words("not stated"),
                    when=words.day(r["reference_local"]) or words("not stated"),
                    launch=words.term(r["launch_condition"]) or words("not stated"),
                )
            )
        )
    return DocumentSection(title, blocks)


def _due(due: str | None, tested: str | None, words: Wording) -> str:
    """The day on which a calibration runs out, and whether it held on the day of the test."""
    if not due:
        return words("not stated")
    try:
        days = (date.fromisoformat(due[:10]) - date.fromisoformat((tested or "")[:10])).days
    except ValueError:
        return words.day(due)
    if days >= 0:
        return words("{due}: held on the day", due=words.day(due))
    return words("{due}: run out {span} before", due=words.day(due), span=days_text(-days, words))


def findings(tested: TestedRecord, more: Sequence[Mapping[str, Any]], title: str, words: Wording) -> DocumentSection:
    """What the rules found, and what they could not look at. more: findings across records that name the link, and
    those about whole files, of which those about its own file count."""
    files = tuple(f"{s['path']}, " for s in tested.rows("sources"))
    mine = [f for f in more if f["link_label"] is not None or (f["where"] or "").startswith(files)]
    rows = [*tested.rows("findings"), *mine]
    raised = [f for f in rows if f["status"] == "raised"]
    changed = [f for f in rows if f["status"] == "input changed"]
    weight = {"error": 0, "warning": 1, "information": 2}
    blocks: list[Block] = []
    head = [words(h) for h in ("weight", "rule", "what was found", "what to do")]
    for listed, caption in ((raised, ""), (changed, words("What this program changed in what it read"))):
        if listed:
            ordered = sorted(listed, key=lambda f: (weight.get(f["severity"], 3), f["rule"]))
            cells = [
                [words.term(f["severity"]), words.term(f["rule"]), finding_text(f, words), remedy_text(f, words)]
                for f in ordered
            ]
            strong = frozenset(k for k, f in enumerate(ordered) if f["severity"] == "error")
            blocks.append(TableBlock(head, cells, weights=(0, 1.3, 3, 2.4), caption=caption, strong=strong))
    if not raised:
        blocks.insert(0, Para(words("No rule that could look found a fault.")))
    blind = sorted({words.term(f["rule"]) for f in rows if f["status"] == "could not look"})
    if blind:
        names = ", ".join(blind)
        text = words("These rules could not look, for want of data, and count neither way: {names}.", names=names)
        blocks.append(Para(text, role="small"))
    return DocumentSection(title, blocks)
