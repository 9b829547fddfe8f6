"""Which applications a record supports: its verdicts under the link segments of IEEE 802.3."""

from __future__ import annotations

from typing import Any

from archive import grading, limits, vocabulary
from archive.answers.claim.claim_facts import ClaimFacts, Row
from archive.answers.documents import Block, DocumentSection, Para, TableBlock
from archive.answers.wording import Wording, plain
from archive.grading.fiber import loss_tests
from archive.limits import fiber
from archive.tables import Batch

_FAMILY = "ieee-802.3/"


def applications(batch: Batch) -> list[dict[str, Any]]:
    """Verdicts of one record under the limit of each application on four pairs or two, or over its class of fiber."""
    if batch["records"]["medium"].to_pylist() == ["fiber"]:
        return _optical(batch)
    if batch["records"]["medium"].to_pylist() != ["copper"] or not len(batch["sweeps"]):
        return []
    asked = [i for i in limits.ids() if i.startswith(_FAMILY) and limits.get(i).established]
    found: list[dict[str, Any]] = grading.grade(batch, against=asked)["verdicts"].to_pylist() if asked else []
    return [v for v in found if v["limit_id"]]


def _optical(batch: Batch) -> list[dict[str, Any]]:
    """Of a loss test: every application that has bounds over its class of fiber."""
    (test,) = loss_tests(batch)
    if not test.losses or not test.fiber_class:
        return []
    asked = []
    for name in fiber.application_ids():
        found = fiber.get(name)
        if isinstance(found, fiber.OpticalApplication) and found.over(test.fiber_class) is not None:
            asked.append(name)
    verdicts: list[dict[str, Any]] = grading.grade(batch, against=asked)["verdicts"].to_pylist() if asked else []
    return verdicts


def section(facts: ClaimFacts, words: Wording) -> DocumentSection | None:
    """A row for each application; what cannot be told stands in one sentence."""
    told = [v for v in facts.applications if v["verdict"] in ("pass", "fail")]
    if not told:
        return None
    rows = [
        [name(v["limit_id"]), words.marked(v["verdict"], provisional=v["provisional"]), _why(v, words)] for v in told
    ]
    intro = words(
        "The accepted record graded against the link segments of IEEE 802.3. A segment that is met says nothing of the "
        "equipment, its cords, or the link as it is today."
    )
    if facts.standing is not None and facts.standing.record["medium"] == "fiber":
        intro = words(
            "The losses and the length of the accepted record against the budgets of applications. A budget that is "
            "met says nothing of the equipment, its cords, or the link as it is today; least losses are not known here."
        )
    head = [words("application"), words("verdict"), words("smallest margin")]
    blocks: list[Block] = [Para(intro, "small"), TableBlock(head, rows, weights=(1.2, 1, 3))]
    open_ones = [name(v["limit_id"]) for v in facts.applications if v not in told]
    if open_ones:
        text = words(
            "What the record cannot show, for want of curves, cords or limits: {names}.", names=words.listed(open_ones)
        )
        blocks.append(Para(text, "small"))
    return DocumentSection(words("Applications"), blocks)


def name(limit_id: str) -> str:
    """An application as people write it: 10GBASE-T, PoE type 3."""
    short = limit_id.rpartition("/")[2]
    return "PoE " + short[4:].replace("-", " ") if short.startswith("poe-") else short.upper()


def of_claim(facts: ClaimFacts) -> Row | None:
    """The verdict under the application that the claim names, where that is one of them."""
    asked = (facts.stated.application or "").strip().lower().replace(" ", "-")
    return next(
        (v for v in facts.applications if v["limit_id"] in (asked, _FAMILY + asked, f"fibre-channel/{asked}")), None
    )


def _why(v: Row, words: Wording) -> str:
    if v["margin"] is None:
        return words.told(plain(v["reason"]))
    parts = [
        _margin(v, words),
        words.parameter(v["parameter"]),
        plain(v["pairing"]),
        words.end(v["end"]),
        words.way(v.get("direction")),
        f"{v['wavelength_nm']:g} nm" if v.get("wavelength_nm") is not None else "",
        f"{words.free(v['frequency_mhz'])} MHz" if v["frequency_mhz"] is not None else "",
    ]
    return ", ".join(p for p in parts if p)


def _margin(v: Row, words: Wording) -> str:
    unit = vocabulary.parameter(v["parameter"]).unit
    return f"{words.number(v['margin'], {'dB': 1, 'm': 0}.get(unit, 2))} {unit}".rstrip()
