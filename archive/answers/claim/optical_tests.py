"""The pages of an optical link: each loss beside the limit it was rebuilt to, traces with their events, and what the
evidence points to and cannot tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from archive.answers.claim.claim_facts import ClaimFacts, Row, TestedRecord
from archive.answers.claim.optical_evidence import agreement, compared, loss_test, traced
from archive.answers.claim.optical_pointers import cautions, pointers
from archive.answers.documents import Block, DocumentSection, Figure, Para, stressed
from archive.answers.plots.model import NARROW
from archive.answers.plots.trace_picture import DrawnEvent, DrawnTrace, trace_picture
from archive.answers.wording import Wording, plain
from archive.grading.fiber import loss_tests
from archive.grading.fiber.traces import FiberPlace, FiberTrace, echoes, in_dead_zone, places
from archive.limits import fiber
from archive.limits.fiber import LossLimit, OpticalLimit

_SHOWN = 6
"""Traces in one picture."""


def optical_tests(facts: ClaimFacts, words: Wording) -> Iterator[DocumentSection]:
    """Nothing for copper."""
    s = facts.standing
    if s is None or s.record["medium"] != "fiber":
        return
    lossy = loss_test(facts)
    table = _losses(lossy, words) if lossy is not None else None
    if table is not None:
        yield table
    seen = traced(facts)
    if seen:
        yield from _traces(seen, words, agreement(compared(facts), words))
    told = pointers(lossy or s, [trace for _, trace in seen], words)
    blocks: list[Block] = [Para(text) for text in told]
    if blocks:
        blocks += [Para(text, "small") for text in cautions(facts, words)]
        yield DocumentSection(words("What the measurements point to"), blocks)


def _losses(s: TestedRecord, words: Wording) -> DocumentSection | None:
    """Every loss with its limit and the parts that the limit is made of."""
    (test,) = loss_tests(s.batch)
    if not test.losses:
        return None
    verdict = s.verdict()
    limit_id = verdict["limit_id"] if verdict else None
    shown = limit_id or fiber.EXPORTED
    grades = [g for g in s.rows("grades") if g["limit_id"] == shown and g["parameter"] == "optical_loss"]
    known = fiber.get(limit_id) if limit_id in fiber.limit_ids() else None
    rows: list[tuple[bool, Sequence[str]]] = []
    for g in grades:
        if g["kind"] not in ("worst_margin", "average"):
            continue
        made = _made_of(known, test.row, g, test.length(g["pairing"] or ""), words)
        way = words("mean of both") if g["kind"] == "average" else words.way(g["direction"])
        cells = [
            plain(g["pairing"]),
            _nm(g["wavelength_nm"]),
            way,
            words.number(g["value"], 2),
            words.number(g["limit"], 2),
            words.number(g["margin"], 2),
            words.number(g["reported_margin"], 2),
            words.marked(g["verdict"], provisional=g["provisional"]),
            made,
        ]
        rows.append((g["verdict"] == "fail", cells))
    if not rows:
        return None
    head = [words(h) for h in ("fibre", "nm", "direction", "loss, dB", "limit, dB", "margin, dB")]
    head += [words("margin as reported, dB"), words("verdict"), words("limit made of, dB")]
    note = (
        words("Under {limit}: the limit is rebuilt for each fibre and wavelength.", limit=shown)
        if known is not None
        else words("Under the limits that the export states; this program holds none that the record names.")
    )
    when = words.day(s.record["tested_local"]) or words("day not stated")
    note = words("Loss test of {when}.", when=when) + " " + note
    table = stressed(head, rows, align="lrlrrrrll", weights=(0.6, 0.6, 1.2, 0.7, 0.7, 0.8, 0.9, 1.0, 2.2))
    return DocumentSection(words("Optical loss of each fibre"), [Para(note, "small"), table])


def _nm(nm: float | None) -> str:
    """A wavelength as people write it, without a mark between thousands."""
    return "" if nm is None else f"{nm:g}"


def _made_of(limit: object, row: Row, g: Row, length: float | None, words: Wording) -> str:
    """The parts of a rebuilt limit: fibre 0.90 + connections 1.50 + splices 0.00."""
    method = row["reference_method"]
    reference = fiber.reference(method or "")
    if not isinstance(limit, OpticalLimit) or length is None or reference is None or g["wavelength_nm"] is None:
        return ""
    connections = reference.ends if row["connections"] is None else row["connections"]
    found = limit.loss(g["wavelength_nm"], length, connections, row["splices"] or 0, method)
    if not isinstance(found, LossLimit):
        return ""
    return words(
        "fibre {fiber}, connections {joints}, splices {splices}",
        fiber=words.number(found.fiber_db, 2),
        joints=words.number(found.connections_db, 2),
        splices=words.number(found.splices_db, 2),
    )


def _traces(
    traced: Sequence[tuple[TestedRecord, FiberTrace]], words: Wording, agreed: Sequence[str]
) -> Iterator[DocumentSection]:
    """A picture for each direction, and the places along the fibre as all traces see them. agreed: with the loss
    test, in sentences."""
    seen = places([trace for _, trace in traced])
    blocks: list[Block] = []
    for way in sorted({trace.direction for _, trace in traced}):
        some = [(t, trace) for t, trace in traced if trace.direction == way][:_SHOWN]
        figure = _figure(some, way, seen, words)
        blocks += [figure] if figure else []
    blocks += _places(seen, [trace for _, trace in traced], words)
    blocks += [Para(text, "small") for text in _unseen([trace for _, trace in traced], words)]
    if agreed:
        cords = words("Traces without cords before and behind the link leave out its end connections.")
        blocks.append(Para(" ".join([*agreed, cords])))
    yield DocumentSection(words("Traces of the fibre"), blocks, new_page=True)


def _figure(
    some: Sequence[tuple[TestedRecord, FiberTrace]], way: str, seen: Sequence[FiberPlace], words: Wording
) -> Figure | None:
    drawn = [curve for tested, trace in some for curve in _drawn(tested, trace, words)]
    if not drawn:
        return None
    events = [
        DrawnEvent(e["distance_km"], plain(e["number"]), e["kind"] in ("reflective", "saturated"))
        for e in (some[0][1].events)
        if e["distance_km"] is not None
    ]
    named = words.way(way) or words("direction not stated")
    caption = words(
        "Level over distance, {way}. Numbers are those of the events of the first trace; heavy lines are reflections.",
        way=named,
    )
    labels = (words("distance from the instrument, km"), words("level, dB"))
    svg, narrow = (
        trace_picture(drawn, events, title=caption, labels=labels, tick=words.free, width=w) for w in (680, NARROW)
    )
    return Figure(svg, caption, caption, narrow=narrow)


def _drawn(tested: TestedRecord, trace: FiberTrace, words: Wording) -> list[DrawnTrace]:
    axes = {row["axis_id"]: row["distances_km"] for row in tested.rows("axes")}
    made = []
    for row in tested.batch["sweeps"].to_pylist():
        km = axes.get(row["axis_id"])
        if row["parameter"] != "backscatter" or not km or row["values"] is None or len(km) != len(row["values"]):
            continue
        level = np.array([np.nan if v is None else v for v in row["values"]], dtype=float)
        nm = f"{_nm(trace.nm)} nm" if trace.nm is not None else words("wavelength not stated")
        made.append(DrawnTrace(f"{nm}, {words.day(tested.record['tested_local'])}", np.asarray(km, dtype=float), level))
    return made


def _places(seen: Sequence[FiberPlace], traces: Sequence[FiberTrace], words: Wording) -> list[Block]:
    waves = sorted({nm for p in seen for nm, _ in p.losses if nm is not None})
    rows: list[tuple[bool, Sequence[str]]] = []
    for place in seen:
        for nm in waves:
            there, back = place.losses.get((nm, "local-remote")), place.losses.get((nm, "remote-local"))
            alone = place.losses.get((nm, ""))
            if there is None and back is None and alone is None:
                continue
            mean, judged = place.mean(nm), place.verdict(nm)
            reflected = [r for (wave, _), r in place.reflectances.items() if wave == nm]
            said = words.verdict(judged[0]) if judged else words("one side alone")
            cells = [
                words.number(place.km, 4),
                words("connection") if place.reflective else words("splice or bend"),
                _nm(nm),
                words.number(there if there is not None else alone, 3),
                words.number(back, 3),
                words.number(mean, 3),
                words.number(max(reflected, default=None), 1),
                words.number(judged[1] if judged else None, 2),
                said,
            ]
            rows.append((judged is not None and judged[0] == "fail", cells))
    if not rows:
        return [Para(words("The files hold no event between launch and end; none is made up."))] if traces else []
    head = [
        words(h) for h in ("km from the local end", "taken for", "nm", "loss there, dB", "loss back, dB", "mean, dB")
    ]
    head += [words("reflectance, dB"), words("limit, dB"), words("verdict of the mean")]
    blocks: list[Block] = [stressed(head, rows, align="rlrrrrrrl", weights=(1, 1.1, 0.6, 0.8, 0.8, 0.8, 0.9, 0.6, 1))]
    if any(p.gainer for p in seen):
        blocks.append(
            Para(
                words(
                    "A loss below zero is a gain in appearance only: the mode fields of the two fibres differ. The "
                    "mean of both directions is the loss."
                ),
                "small",
            )
        )
    return blocks


def _unseen(traces: Sequence[FiberTrace], words: Wording) -> Iterator[str]:
    """Echoes, dead zones, and traces without events."""
    for trace in traces:
        named = " ".join(x for x in (f"{trace.nm:g} nm" if trace.nm else "", words.way(trace.direction)) if x)
        if not trace.events:
            yield words("{trace}: the file holds no table of events, and none is made up.", trace=named)
        for number in echoes(trace):
            yield words("{trace}: event {number} may be an echo of nearer reflections.", trace=named, number=number)
        for first, second in in_dead_zone(trace):
            yield words(
                "{trace}: event {second} lies in the dead zone of event {first}; they cannot be told apart.",
                trace=named, first=first, second=second,
            )  # fmt: skip
    for metres in sorted({round(t.dead_zone_m, 1) for t in traces if t.dead_zone_m is not None}):
        yield words(
            "Within {metres} m behind a reflection nothing can be seen: a pulse of the traces is that long.",
            metres=words.number(metres, 1),
        )
