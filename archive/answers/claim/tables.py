"""Tables of a record: worst cases reported beside recomputed, scalars, instruments, findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from archive import vocabulary
from archive.answers.claim.facts import ClaimFacts, Tested
from archive.answers.documents import Block, Figure, Para, Section, Table
from archive.answers.wording import Wording, plain, value_text

_POINTS = ("worst_margin", "worst_value")


def worst_cases(tested: Tested, limit_id: str | None, words: Wording) -> list[Section]:
    """Worst margin and worst value of every parameter, as recomputed under one limit, with the instrument's beside."""
    grades = [g for g in tested.rows("grades") if limit_id is None or g["limit_id"] == limit_id]
    reported = tested.rows("reported")
    sections = []
    titles = {"worst_margin": words("Smallest margins"), "worst_value": words("Worst values")}
    for kind in _POINTS:
        rows: list[list[str]] = []
        strong: set[int] = set()
        for parameter in vocabulary.parameters():
            here = [g for g in grades if g["parameter"] == parameter and g["kind"] == kind and g["value"] is not None]
            if not here:
                continue
            for end in sorted({g["end"] for g in here}, key=lambda e: (e is not None, e or "")):
                g = _worst([x for x in here if x["end"] == end], parameter, kind)
                told = _reported(reported, parameter, kind, end)
                if g["verdict"] == "fail":
                    strong.add(len(rows))
                rows.append(_row(g, told, words))
        if rows:
            table = Table(
                [
                    words("parameter"),
                    words("end"),
                    words("pairing"),
                    words("MHz"),
                    words("value"),
                    words("limit"),
                    words("margin"),
                    words("reported margin"),
                    words("difference"),
                    words("verdict"),
                ],
                rows,
                align="lllrrrrrrl",
                weights=(2.0, 0.8, 1.1, 0.9, 0.8, 0.8, 0.9, 1.1, 1.1, 1.9),
                strong=frozenset(strong),
            )
            sections.append(Section(titles[kind], [table], level=2))
    return sections


def _worst(rows: Sequence[Mapping[str, Any]], parameter: str, kind: str) -> Mapping[str, Any]:
    if kind == "worst_margin":
        return min(rows, key=lambda g: (g["margin"] if g["margin"] is not None else 1e9, g["frequency_mhz"] or 0.0))
    sign = -1 if vocabulary.parameter(parameter).sense == "max" else 1
    return min(rows, key=lambda g: (sign * g["value"], g["frequency_mhz"] or 0.0))


def _reported(
    rows: Sequence[Mapping[str, Any]], parameter: str, kind: str, end: str | None
) -> Mapping[str, Any] | None:
    points = [
        r
        for r in rows
        if r["parameter"] == parameter and r["kind"] == kind and r["end"] == end and r["margin"] is not None
    ]
    return min(points, key=lambda r: r["margin"], default=None)


def _row(g: Mapping[str, Any], told: Mapping[str, Any] | None, words: Wording) -> list[str]:
    p = vocabulary.parameter(g["parameter"])
    theirs = None if told is None else told["margin"]
    both = theirs is not None and g["margin"] is not None
    return [
        f"{p.name}, {p.unit}",
        plain(g["end"]),
        plain(g["pairing"]),
        words.free(g["frequency_mhz"]),
        value_text(words, g["value"], p.unit),
        value_text(words, g["limit"], p.unit),
        value_text(words, g["margin"], p.unit),
        value_text(words, theirs, p.unit),
        value_text(words, g["margin"] - theirs, p.unit) if both and theirs is not None else "",
        words.verdict(g["verdict"]) + (f", {words('provisional')}" if g["provisional"] else ""),
    ]


def scalars(tested: Tested, words: Wording) -> Section | None:
    """Scalar readings, one row per quantity, pairs side by side."""
    rows = [r for r in tested.rows("readings") if r["origin"] == "measured"]
    if not rows:
        return None
    subjects = [*vocabulary.PAIRS]
    out = []
    for quantity in vocabulary.parameters():
        here = [r for r in rows if r["quantity"] == quantity]
        p = vocabulary.parameter(quantity)
        by_pair = {r["subject"]: r for r in here if r["subject"] in subjects}
        if by_pair:
            out.append(
                [f"{p.name}, {p.unit}", "", *(_value(by_pair[s], words) if s in by_pair else "" for s in subjects)]
            )
        for r in here:
            if r["subject"] not in subjects:
                note = ", ".join(
                    x
                    for x in (
                        plain(r["subject"]),
                        plain(r["end"]),
                        plain(r["direction"]),
                        f"{r['wavelength_nm']:g} nm" if r["wavelength_nm"] else "",
                    )
                    if x
                )
                out.append([f"{p.name}, {p.unit}", note, _value(r, words), "", "", ""])
    head = [words("quantity"), words("of"), *subjects]
    return Section(words("Length, delay, resistance and other readings"), [Table(head, out, align="llrrrr")], level=2)


def _value(r: Mapping[str, Any], words: Wording) -> str:
    p = vocabulary.parameter(r["quantity"])
    return f"{r['censored'] or ''}{value_text(words, r['value'], p.unit)}"


def wire_map(tested: Tested, words: Wording) -> Section | None:
    """The wire map as a drawing."""
    from archive.answers.claim.wiremap import drawing

    rows = tested.rows("wiremap")
    if not rows:
        return None
    wrong = [r for r in rows if r["fault"] or (r["far"] is not None and r["far"] != r["near"])]
    caption = (
        words("Wire map: contact to contact, no fault.")
        if not wrong
        else words(
            "Wire map with faults at {contacts}.", contacts=", ".join(f"{r['near']} ({r['fault']})" for r in wrong)
        )
    )
    svg = drawing(
        rows, title=caption, near=words("local end"), far=words("remote end"), open_word=words("not connected")
    )
    return Section(words("Wire map"), [Figure(svg, caption, caption)], level=2)


def instruments(facts: ClaimFacts, tested: Tested, words: Wording) -> Section:
    """The units on the day of the test, their calibrations and what is filed for them."""
    r = tested.record
    units = {u["instrument_id"]: u for u in tested.rows("instruments")}
    rows = []
    for key, end in (("local_instrument_id", words("local")), ("remote_instrument_id", words("remote"))):
        u = units.get(r[key])
        if u is None:
            rows.append([end, words("not stated"), "", "", "", "", ""])
            continue
        filed = [
            plain(d.get("title") or d.get("file_name"))
            for d in facts.documents
            if d.get("serial") and d.get("serial") == u["serial"]
        ]
        rows.append(
            [
                end,
                " ".join(x for x in (plain(u["maker"]), plain(u["model"])) if x),
                plain(u["serial"]),
                plain(u["software"]),
                words.day(u["calibrated_on"], empty=words("not stated")),
                words.day(u["calibration_due"], empty=words("not stated")),
                "; ".join(filed) or words("nothing filed"),
            ]
        )
    head = [
        words("end"),
        words("instrument"),
        words("serial"),
        words("software"),
        words("calibrated"),
        words("due"),
        words("filed"),
    ]
    blocks: list[Block] = [Table(head, rows, weights=(0.8, 1.7, 1.2, 0.9, 1.4, 1.4, 1.8))]
    if r["medium"] == "fiber":
        blocks.append(
            Para(
                words(
                    "Optical reference: method {method}, set {when}; launch condition {launch}.",
                    method=plain(r["reference_method"]) or words("not stated"),
                    when=words.day(r["reference_local"]) or words("not stated"),
                    launch=plain(r["launch_condition"]) or words("not stated"),
                )
            )
        )
    return Section(words("Instruments on the day of the test"), blocks)


def findings(tested: Tested, words: Wording) -> Section:
    """What the rules found, and what they could not look at."""
    rows = tested.rows("findings")
    raised = [f for f in rows if f["status"] != "could not look"]
    blind = [f for f in rows if f["status"] == "could not look"]
    blocks: list[Block] = []
    if raised:
        blocks.append(
            Table(
                [words("weight"), words("rule"), words("what was found"), words("what to do")],
                [[plain(f["severity"]), f["rule"], f["message"], plain(f["remedy"])] for f in raised],
                weights=(0.8, 1.4, 3.2, 2.2),
            )
        )
    else:
        blocks.append(Para(words("No rule found a fault.")))
    if blind:
        names = ", ".join(sorted({f["rule"] for f in blind}))
        blocks.append(
            Para(
                words("These rules could not look, for want of data, and count neither way: {names}.", names=names),
                role="small",
            )
        )
    return Section(words("Findings"), blocks)
