"""The fresh test beside the certified one: both verdicts, what changed, and how far each curve moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from archive import vocabulary
from archive.answers.claim.causes import causes
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord, letters
from archive.answers.claim.compare_curves import STILL_DB, Moved, Names, differences, largest, overlays
from archive.answers.claim.record_pages import record_pages
from archive.answers.claim.verdicts import conflicting, leading_text, verdict_table
from archive.answers.documents import Block, DocumentSection, Para, TableBlock, stressed
from archive.answers.wording import Wording, plain


def fresh_test(facts: ClaimFacts, words: Wording) -> list[DocumentSection]:
    """All sections about the fresh test; none where there is none."""
    new, old = facts.retest, facts.standing
    if new is None:
        return []
    message = words(
        "A fresh test came with the complaint, in the file {name}. It is shown beside the certified one, graded "
        "against the same limits, and has not become part of the archive by this file.",
        name=new.original.name,
    )
    title = words("Fresh test beside the certified one")
    if old is None:
        none = words("No record stands for this link, so there is nothing to lay the fresh test beside.")
        sections = [DocumentSection(title, [Para(message), Para(none)])]
    else:
        sections = _beside(title, message, old, new, (words("certified"), words("fresh")), words)
        sections += causes(old, new, words)
    sections.append(DocumentSection(words("All verdicts on the fresh test"), [verdict_table(new, words)], level=2))
    sections += record_pages(facts, new, words, fresh=True)
    return sections


def conflict(facts: ClaimFacts, words: Wording) -> list[DocumentSection]:
    """The records of one test that have different values, the two latest beside each other; none where none do."""
    both = conflicting(facts)
    if not both:
        return []
    (a, old), (b, new) = both
    named = ", ".join(
        words("{name} is {record} (deposit {deposit})", name=name, record=t.record["record_id"], deposit=t.deposit)
        for name, t in letters(facts)
    )
    message = words(
        "Records claim to be the same test and hold different values: {named}. None of them stands until somebody "
        "decides which is right and withdraws the others.",
        named=named,
    )
    if len(letters(facts)) > len(both):
        message += " " + words("Only {one} and {other}, the latest, are laid side by side here.", one=a, other=b)
    made = _beside(words("Records in conflict"), message, old, new, (a, b), words)
    for name, t in both:
        made.append(DocumentSection(words("All verdicts on {name}", name=name), [verdict_table(t, words)], level=2))
    return made


def conflict_sentence(facts: ClaimFacts, words: Wording) -> str:
    """By how much the two records that contradict each other differ; empty where there are none, or no curves."""
    both = conflicting(facts)
    if not both:
        return ""
    (a, old), (b, new) = both
    moved = differences(old, new)
    measured = set(old.batch["sweeps"]["parameter"].to_pylist())
    sizes = {p: _size(m) for p, m in moved.items() if p in measured and _size(m) >= STILL_DB}
    largest_first = sorted(sizes, key=lambda p: -sizes[p])[:3]
    named = [(words.parameter(p), words.number(sizes[p], 1)) for p in largest_first]
    told = [words("{parameter} by up to {difference} dB", parameter=p, difference=d) for p, d in named]
    if not told:
        return words("No curve of {one} and {other} differs.", one=a, other=b)
    return words("{one} and {other} differ: {what}.", one=a, other=b, what=words.listed(told))


def _beside(
    title: str, message: str, old: TestedRecord, new: TestedRecord, names: Names, words: Wording
) -> list[DocumentSection]:
    """Two tests side by side, and how the curves of the second differ from those of the first."""
    moved = differences(old, new, smoothed=True)
    blocks: list[Block] = [Para(message), _sides(old, new, names, words), _margins(old, new, moved, names, words)]
    readings = _readings(old, new, names, words)
    if readings is not None:
        blocks.append(readings)
    wires = _wires(old, new)
    if wires:
        blocks.append(Para(words("The wire maps differ at contact {contacts}.", contacts=", ".join(wires))))
    sections = [DocumentSection(title, blocks)]
    if moved:
        still = [words.parameter(p) for p in _SHOWN if p in moved and _size(moved[p]) < STILL_DB]
        below: list[Block] = [*overlays(old, new, names, words)]
        if still:
            least = words.number(STILL_DB, 2)
            text = words("No curve moved by {least} dB or more: {names}.", least=least, names=", ".join(still))
            below.append(Para(text))
        if below:
            sections.append(DocumentSection(words("Both tests in one picture"), below, level=2))
    else:
        blocks.append(Para(words("The two tests share no curve at the same frequencies, so none is compared.")))
    return sections


def _sides(old: TestedRecord, new: TestedRecord, names: Names, words: Wording) -> TableBlock:
    """What was tested, and how, on both occasions; only rows that say something."""

    def of(t: TestedRecord) -> list[str]:
        r, v = t.record, t.verdict() or {}
        return [
            words.day(r["tested_local"], empty=words("not stated")),
            plain(r["link_label"]),
            plain(r["limit_found"]),
            plain(r["cable_found"]),
            words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("none"),
            plain(v.get("limit_id")),
            words.verdict(v.get("verdict")),
            leading_text(v, words) if v else "",
            ", ".join(plain(u["serial"]) for u in t.units.values() if u),
            words.term(r["evidence"]),
        ]

    what = [
        words(n)
        for n in (
            "tested",
            "label in the export",
            "limit, as found",
            "cable, as found",
            "reported",
            "graded against",
            "verdict of this program",
            "leading margin",
            "units",
            "evidence",
        )
    ]
    rows = [[n, a, b] for n, a, b in zip(what, of(old), of(new), strict=True) if a or b]
    return TableBlock(["", *names], rows, weights=(1, 1.7, 1.7))


def _margins(
    old: TestedRecord, new: TestedRecord, moved: Mapping[str, Moved], names: Names, words: Wording
) -> TableBlock:
    """Smallest margin of each parameter on both occasions, and the largest change of a curve."""
    limit = (old.verdict() or {}).get("limit_id")
    rows: list[tuple[bool, list[str]]] = []
    measured = set(old.batch["sweeps"]["parameter"].to_pylist())
    for p in vocabulary.parameters().values():
        a, b = (_least(t, p.id, limit) for t in (old, new))
        if a is None and b is None and not (p.id in moved and p.id in measured):
            continue
        change = b["margin"] - a["margin"] if a is not None and b is not None else None
        most = largest(moved.get(p.id, {}))
        where = ""
        if most is not None and abs(most[0]) < STILL_DB:
            where = words("none")
        elif most is not None:
            value, at, label, end = most
            where = f"{words.number(value, 1)} dB: {label}, " + (f"{words.end(end)}, " if end else "")
            where += f"{words.free(at)} MHz"
        margins = [_margin(g, p.unit, words) for g in (a, b)]
        fails = any(g is not None and g["verdict"] == "fail" for g in (a, b))
        rows.append((fails, [words.headed(p.id), *margins, words.value(change, p.unit), where]))
    head = [words("parameter"), *names, words("change"), words("largest change of a smoothed curve")]
    caption = words("Smallest margins of both; a change is {second} minus {first}", first=names[0], second=names[1])
    return replace(stressed(head, rows, align="lrrrl", weights=(2, 1.3, 1.3, 0.9, 2.6)), caption=caption)


def _margin(g: Mapping[str, Any] | None, unit: str, words: Wording) -> str:
    if g is None:
        return ""
    return words.margin(g["margin"], unit) + (f", {words('fail')}" if g["verdict"] == "fail" else "")


def _least(t: TestedRecord, parameter: str, limit: str | None) -> dict[str, Any] | None:
    grades = [g for s in t.stated for g in s.grades if g["limit_id"] == limit and g["parameter"] == parameter]
    points = [g for g in grades if g["kind"] == "worst_margin" and g["margin"] is not None]
    return dict(min(points, key=lambda g: g["margin"])) if points else None


def _readings(old: TestedRecord, new: TestedRecord, names: Names, words: Wording) -> TableBlock | None:
    """Readings that both tests have: of each quantity the one that changed most."""

    def of(t: TestedRecord) -> dict[tuple[Any, ...], float]:
        keys = ("quantity", "subject", "end", "direction", "wavelength_nm")
        rows = [r for r in t.rows("readings") if r["origin"] == "measured" and r["value"] is not None]
        return {tuple(r[k] for k in keys): r["value"] for r in rows}

    before, after = of(old), of(new)
    rows = []
    for p in vocabulary.parameters().values():
        shared = [k for k in before if k[0] == p.id and k in after]
        if shared:
            key = max(shared, key=lambda k: abs(after[k] - before[k]))
            subject = ", ".join(x for x in (plain(key[1]), words.end(key[2]), words.way(key[3])) if x)
            subject += f", {key[4]:g} nm" if key[4] else ""
            values = (before[key], after[key], after[key] - before[key])
            rows.append([words.headed(p.id), subject, *(words.value(v, p.unit) for v in values)])
    if not rows:
        return None
    head = [words("reading"), words("of"), *names, words("change")]
    return TableBlock(
        head,
        rows,
        align="llrrr",
        weights=(2.6, 1.2, 1, 1, 1),
        caption=words("Readings of both: of each quantity the one that changed most"),
    )


def _wires(old: TestedRecord, new: TestedRecord) -> list[str]:
    """Contacts whose far end or fault is another than before, where both tests have a wire map."""

    def of(t: TestedRecord) -> dict[str, tuple[Any, ...]]:
        return {r["near"]: (r["far"], r["fault"], r["other"]) for r in t.rows("wiremap")}

    before, after = of(old), of(new)
    return [c for c in before if c in after and before[c] != after[c]] if before and after else []


_SHOWN = ("insertion_loss", "return_loss", "next", "acr_f", "fext", "backscatter")


def _size(moved: Moved) -> float:
    """The largest change in dB."""
    most = largest(moved)
    return 0.0 if most is None else abs(most[0])
