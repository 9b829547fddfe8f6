"""Writes fixtures/findings anew: good records, and for each rule records that break it, as link record XML.

    python -m tests.validation.fixtures

Each is the first bad example of its rule in the catalogue. Curves are thinned, so that the files stay small, which
breaks step-too-coarse in all of them. Everything in them is invented. Rules that no document can show alone are named
in LEFT_OUT with the reason.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from archive import formats, grading
from archive.tables import Batch
from archive.validation import catalogue
from archive.validation.check import run
from archive.validation.job import JobCheck
from tests.validation import examples

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "findings"
TODAY = dt.date(2026, 11, 25)
_NO_CURVES = "a document that says so is set aside by its reader, which tells it"
LEFT_OUT = {
    "axis-not-rising": _NO_CURVES,
    "curve-without-axis": _NO_CURVES,
    "value-not-a-number": _NO_CURVES,
    "record-set-aside": "the document is damaged on purpose: see fixtures/conformance",
}
"""Beside rules of readers and commands, and examples that need a schedule or a policy."""

Steps = Sequence[dict[str, Any]]


def thinned(nth: int, derived: bool = False) -> list[dict[str, Any]]:
    """Steps that leave every nth point of each curve, and derived curves only where they are wanted."""
    drop = [] if derived else [{"table": "sweeps", "where": {"origin": "derived"}, "remove": True}]
    # the worst points of NEXT are no longer there once the curve is thinned
    unsaid = {"table": "reported", "where": {"parameter": "next"}, "remove": True}
    return [*drop, {"table": "sweeps", "curve": "every", "nth": nth}, unsaid]


def shown() -> list[str]:
    """Rules that have a file."""
    wanted = [r for r in catalogue.rules().values() if r.by in ("record", "job") and r.name not in LEFT_OUT]
    return [r.name for r in wanted if _example(r) is not None]


def _example(rule: catalogue.CatalogueRule) -> dict[str, Any] | None:
    fits = (e for e in rule.examples if e["outcome"] == "bad" and not {"policy", "schedule"} & set(e))
    return next(fits, None)


def _forms(example: dict[str, Any]) -> Iterator[Steps]:
    """The example with its curves thinned in several ways: before it and after it, more and less."""
    do = list(example.get("do", ()))
    if example.get("base") == "fiber":
        yield do
        return
    more_records = any("record" in step for step in do)
    for nth in (26, 13, 5):
        if not more_records:
            yield [*thinned(nth), *do]
        yield [*do, *thinned(nth)]
        yield [*thinned(nth, derived=True), *do]
        yield [*thinned(nth)[:-1], *do]
    yield do


def raised(batch: Batch) -> set[str]:
    """Rules that a batch breaks, by itself and as a job."""
    batch = grading.grade(batch) if not batch["verdicts"].num_rows else batch
    job = JobCheck(today=TODAY)
    job.add(batch)
    said = [run(batch, today=TODAY), job.finish(lambda _: [batch])]
    assert not any(s.faults for s in said), [s.faults for s in said]
    return {f["rule"] for s in said for f in s.findings.to_pylist() if f["status"] == "raised"}


def small(steps: Steps, base: str = "") -> Batch:
    """An example without the axes that nothing uses."""
    made = examples.rows({"do": list(steps), "base": base})
    used = {s["axis_id"] for s in made.get("sweeps", ())}
    made["axes"] = [a for a in made.get("axes", ()) if a["axis_id"] in used]
    return Batch.from_rows(made)


def bad(rule: catalogue.CatalogueRule) -> Batch:
    """The smallest form of the first bad example that still breaks its rule."""
    example = _example(rule)
    assert example is not None
    for steps in _forms(example):
        try:
            made = small(steps, example.get("base", ""))
        except (AssertionError, ValueError):
            continue  # the thinned record has nothing left of what the example changes
        if rule.name in raised(made):
            return made
    raise AssertionError(f"no form of {rule.name} breaks it")


def write() -> None:
    """All files."""
    FOLDER.mkdir(exist_ok=True)
    for old in FOLDER.glob("*.xml"):
        old.unlink()
    formats.write([small(thinned(26))], FOLDER / "good.xml", "xml", replace=True)
    formats.write([small([], "fiber")], FOLDER / "good-fiber.xml", "xml", replace=True)
    for name in shown():
        formats.write([bad(catalogue.rule(name))], FOLDER / f"{name}.bad.xml", "xml", replace=True)


if __name__ == "__main__":
    write()
