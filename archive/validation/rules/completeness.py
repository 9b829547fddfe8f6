"""Rules about what a record must carry, apart from its curves."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pyarrow.compute as pc

from archive.validation.arrow import one
from archive.validation.look import Look
from archive.validation.registry import Raised, Said, Tolerances, rows_of, rule


@rule("date-missing")
def date_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No date, or words that were not understood."""
    rows = rows_of(np.isnat(look.tested[0]))
    words = look.words("tested_found")[rows]
    yield Raised(rows, found=[f"words found: {w!r}" if w else "nothing found" for w in words])


@rule("time-of-day-missing")
def time_of_day_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """A date alone."""
    rows = rows_of(look.tested[1] == "day")
    yield Raised(rows, found=list(look.words("tested_local")[rows]))


@rule("zone-missing")
def zone_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """A time to the minute or better, and nobody who states its zone."""
    timed = (look.tested[1] == "minute") | (look.tested[1] == "second")
    rows = rows_of(timed & look.is_null("zone_basis"))
    yield Raised(rows, found=list(look.words("tested_local")[rows]))


@rule("operator-missing")
def operator_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No key of a person."""
    yield Raised(rows_of(look.is_null("operator_key")))


@rule("operator-without-organisation")
def operator_without_organisation(look: Look, _: Tolerances) -> Iterator[Said]:
    """A person of whom no firm is named, in a job that names no contractor either."""
    named, firm = look.words("operator_key") != "", look.joined("operator_key", "people", "organisation")
    contractors = {j["job_id"] for j in look.batch["jobs"].to_pylist() if j["contractor"]}
    covered = np.array([j in contractors for j in look.words("job_id")], dtype=bool)
    rows = rows_of(named & (firm == "") & ~covered)
    names = look.joined("operator_key", "people", "name")[rows]
    yield Raised(rows, found=[n or "the operator" for n in names])


@rule("instrument-missing")
def instrument_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No serial number for the local end."""
    yield Raised(rows_of(look.joined("local_instrument_id", "instruments", "serial") == ""))


@rule("remote-instrument-missing")
def remote_instrument_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No serial number for the remote end, where something was measured there."""
    lacks = look.joined("remote_instrument_id", "instruments", "serial") == ""
    measured = np.zeros(look.size, dtype=bool)
    at_remote = look.curves.mask("end", "remote") & (look.curves.rows >= 0)
    measured[look.curves.rows[at_remote]] = True
    rows = look.rows_for("reported")
    measured[rows[(rows >= 0) & (look.words("end", "reported") == "remote")]] = True
    measured |= look.words("remote_instrument_id") != ""
    yield Raised(rows_of(lacks & measured))


@rule("instrument-model-missing")
def instrument_model_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """A unit with a serial number and no model."""
    for end in ("local", "remote"):
        serial, model = (look.joined(f"{end}_instrument_id", "instruments", c) for c in ("serial", "model"))
        yield Raised(rows_of((serial != "") & (model == "")), where=end)


@rule("software-missing")
def software_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No version of firmware or software."""
    yield Raised(rows_of(look.joined("local_instrument_id", "instruments", "software") == ""))


@rule("adapter-missing")
def adapter_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No adapter, head or cord."""
    yield Raised(rows_of(look.joined("local_instrument_id", "instruments", "adapter") == ""))


@rule("calibration-missing")
def calibration_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """A unit without dates of calibration, and no certificate for its serial number beside it."""
    documents = look.batch["documents"]
    certificates = documents.filter(pc.equal(documents.column("kind"), "certificate"))
    certified = set(certificates.column("serial").to_pylist())
    for end in ("local", "remote"):
        key = f"{end}_instrument_id"
        serial = look.joined(key, "instruments", "serial")
        dated = (look.joined(key, "instruments", "calibrated_on") != "") | (
            look.joined(key, "instruments", "calibration_due") != ""
        )
        covered = np.array([s in certified for s in serial], dtype=bool)
        rows = rows_of((look.words(key) != "") & ~dated & ~covered)
        yield Raised(rows, where=end, found=[f"the unit at the {end} end ({s or 'no serial'})" for s in serial[rows]])


@rule("limit-missing")
def limit_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No words for a limit."""
    yield Raised(rows_of(look.is_null("limit_found")))


@rule("limit-not-resolved")
def limit_not_resolved(look: Look, _: Tolerances) -> Iterator[Said]:
    """Words that lead to no limit, or to several."""
    rows = rows_of(~look.is_null("limit_found") & ~look.limits.known)
    candidates, reasons = look.limits.candidates[rows], look.limits.reasons[rows]
    expected = [f"it may mean {c}" if c else r for c, r in zip(candidates, reasons, strict=True)]
    yield Raised(rows, found=[repr(w) for w in look.words("limit_found")[rows]], expected=expected)


_CONFIGURATIONS = ("channel", "permanent-link", "basic-link", "mptl", "link-segment")


@rule("configuration-contradicts-limit")
def configuration_contradicts_limit(look: Look, _: Tolerances) -> Iterator[Said]:
    """A modular plug terminated link is graded by the lines of the permanent link; nothing else may differ."""
    said = look.words("configuration")
    of_limit = np.array([_configuration_of(i) for i in look.limits.ids], dtype=object)
    same = (said == of_limit) | ((said == "mptl") & (of_limit == "permanent-link"))
    rows = rows_of((said != "") & (of_limit != "") & ~same)
    yield Raised(rows, found=list(said[rows]), expected=list(look.limits.ids[rows]))


def _configuration_of(limit_id: str) -> str:
    last = limit_id.rsplit("/", 1)[-1]
    return next((c for c in _CONFIGURATIONS if last.startswith(c)), "")


@rule("cable-type-missing")
def cable_type_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No brand-neutral type, or one that could not be decided."""
    kind = look.words("cable_type")
    rows = rows_of((kind == "") | (kind == "unknown"))
    words = look.words("cable_found")[rows]
    yield Raised(rows, found=[f"words found: {w!r}" if w else "nothing found" for w in words])


@rule("velocity-missing")
def velocity_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """A copper length without a velocity."""
    yield Raised(rows_of(look.is_copper & ~np.isnan(look.readings.length) & look.is_null("velocity_percent")))


@rule("sweeps-missing")
def sweeps_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """Evidence other than whole curves; an optical record need not have any."""
    evidence = look.words("evidence")
    rows = rows_of((evidence != "full-sweep") & (look.words("medium") != "fiber"))
    words = {"worst-points": "worst cases only", "verdict-only": "a verdict only"}
    yield Raised(rows, found=[words.get(e, e) for e in evidence[rows]])


@rule("verdict-missing")
def verdict_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No verdict of the instrument."""
    yield Raised(rows_of(look.is_null("reported_verdict")))


@rule("wiremap-missing")
def wiremap_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """Copper with curves or scalars and no wire map."""
    rows = look.rows_for("wiremap")
    there = np.zeros(look.size, dtype=bool)
    there[rows[rows >= 0]] = True
    yield Raised(rows_of(look.is_copper & look.has_pairs & ~there))


@rule("scalars-missing")
def scalars_missing(look: Look, limits: Tolerances) -> Iterator[Said]:
    """No value at all of a scalar; skew follows from delays."""
    asked = look.is_copper & look.is_full_sweep
    have = {q: look.readings.has(q) for q in ("propagation_delay", *limits["field"])}
    have["delay_skew"] = have.get("delay_skew", np.zeros(look.size, dtype=bool)) | have["propagation_delay"]
    for quantity in limits["field"]:
        yield Raised(rows_of(asked & ~have[quantity]), found=quantity.replace("_", " "))


@rule("source-missing")
def source_missing(look: Look, _: Tolerances) -> Iterator[Said]:
    """No source, or one that the batch does not describe."""
    sources = one(look.batch["sources"].column("source_id"))
    known = pc.is_in(look.records.column("source_id"), value_set=sources).to_numpy()
    yield Raised(rows_of(~known))
