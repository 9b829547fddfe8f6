"""What the measurements of an optical link point to and cannot tell, in sentences; and the cautions of laser light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from archive import schemas
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.wording import Wording
from archive.grading.fiber import loss_tests
from archive.grading.fiber.diagnosis import (
    BEND,
    BEND_UNPLACED,
    CONNECTION,
    SPLICE,
    Pointer,
    by_losses,
    by_traces,
)
from archive.grading.fiber.traces import FiberTrace


def pointers(s: TestedRecord, traces: Sequence[FiberTrace], words: Wording) -> list[str]:
    """Sentences; none where nothing is beyond what it may be."""
    (test,) = loss_tests(s.batch)
    losses = [g for g in s.rows("grades") if (g["parameter"], g["kind"]) == ("optical_loss", "worst_margin")]
    failing = {g["pairing"] or "" for g in losses if g["verdict"] == "fail"}
    placed = by_traces(traces)
    found = [*placed, *(p for p in by_losses(test, sorted(failing)) if not placed)]
    out = [_sentence(p, words) for p in found]
    if out:
        out += _not_told(found, traces, words)
    return out


def _sentence(p: Pointer, words: Wording) -> str:
    at = "" if p.km is None else words.number(p.km, 4)
    whose = words(" of fibre {fiber}", fiber=p.fiber) if p.fiber else ""
    facts = {name: _number(name, text, words) for name, text in p.facts.items()}
    if p.kind == BEND:
        return words(
            "At {at} km the loss is {a} dB at {short} nm and {b} dB at {long} nm. A loss that grows with the "
            "wavelength and reflects nothing points to a bend, not to a connector or a splice, which lose about the "
            "same at both.",
            at=at, **facts,
        )  # fmt: skip
    if p.kind == CONNECTION:
        back = words(" with a reflectance of {reflectance} dB", **facts) if facts.get("reflectance") else ""
        return words(
            "At {at} km a place that reflects{back} loses {a} dB at {short} nm and {b} dB at {long} nm: more than a "
            "connection may, and about the same at both. That points to a connector, dirty, damaged or badly mated.",
            at=at, back=back, **facts,
        )  # fmt: skip
    if p.kind == SPLICE:
        return words(
            "At {at} km a place that does not reflect loses {a} dB at {short} nm and {b} dB at {long} nm: more than a "
            "splice may. That points to a splice.",
            at=at, **facts,
        )  # fmt: skip
    if p.kind == BEND_UNPLACED:
        return words(
            "The loss{whose} is {a} dB at {short} nm and {b} dB at {long} nm: {excess} dB more at the longer "
            "wavelength than its length explains. That points to a bend; where it is a loss test cannot tell.",
            whose=whose, **facts,
        )  # fmt: skip
    return words(
        "The loss{whose} is beyond its limit. A loss test measures the link as a whole: it cannot tell where the loss "
        "is, nor whether a connector, a splice or a bend makes it.",
        whose=whose,
    )


def _number(name: str, text: str, words: Wording) -> str:
    """A number of a pointer as the document's language writes it; wavelengths as they are."""
    if not text or name in ("short", "long"):
        return text
    return words.number(float(text), 1 if name == "reflectance" else 2)


def _not_told(found: Sequence[Pointer], traces: Sequence[FiberTrace], words: Wording) -> Iterator[str]:
    if any(p.kind == CONNECTION for p in found):
        yield words(
            "What this cannot tell: dirt from damage. An inspection of the end face with a video microscope tells, and "
            "a test after cleaning."
        )
    if any(p.kind in (BEND, BEND_UNPLACED) for p in found):
        yield words(
            "What this cannot tell: a bend of the cable from a fibre pinched or wound too tightly in a splice tray or "
            "panel. Looking there tells, and a trace after it is laid straight."
        )
    if not traces:
        yield words("No trace of the link is filed: one of each wavelength, from both ends, would show the place.")
        return
    waves = {t.nm for t in traces if t.nm is not None}
    if len(waves) == 1:
        yield words("Traces at one wavelength alone cannot tell a bend from a splice.")
    elif not any(nm > 1600 for nm in waves) and any(nm > 1200 for nm in waves):
        yield words("Nothing was measured at 1625 nm, where bends show most.")
    if len({t.direction for t in traces if t.direction}) < 2:
        yield words("Traces from one end alone show losses in appearance; the mean of both ends is the loss.")


def cautions(facts: ClaimFacts, words: Wording) -> list[str]:
    """What must be heeded before anybody looks at or cleans a connector, with the light that the record names."""
    texts = [words(text) for text in schemas.load("cautions.toml")["optical"]["texts"]]
    waves = sorted({r["wavelength_nm"] for t in facts.tests for r in t.rows("readings") if r["wavelength_nm"]})
    classes = sorted({t.record["light_class"] for t in facts.tests if t.record["light_class"]})
    named = words.listed([f"{nm:g} nm" for nm in waves]) if waves else words("a wavelength that is not stated")
    if classes:
        light = words(
            "The link was tested with light of {waves}, class {classes} as stated (IEC 60825); what equipment sends on "
            "it may be stronger.",
            waves=named, classes=", ".join(classes),
        )  # fmt: skip
    else:
        light = words(
            "The link was tested with light of {waves}; the class of the source is not stated, so treat it as harmful.",
            waves=named,
        )
    return [light, *texts]
