"""Rules about what a record must carry, apart from its curves."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import pyarrow.compute as pc

from archive.tables.arrow import Bools, one_chunk
from archive.validation.catalogue.registry import Answer, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.vocabulary import cables

_COUNTED = re.compile(r"[\s_\-#.]*\d*$")
_CONFIGURATIONS = ("channel", "permanent-link", "basic-link", "mptl", "link-segment")


@rule("identifier-missing")
def identifier_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No label, or one of blanks."""
    yield Raised(np.flatnonzero(look.is_null("link_label")))


@rule("identifier-placeholder")
def identifier_placeholder(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A word that instruments fill in, with or without a number counted up."""
    defaults = {w.casefold() for w in limits["words"]}
    labels = look.words("link_label")
    plain = [x.strip().casefold() for x in labels]
    rows = np.flatnonzero([bool(x) and (x in defaults or _COUNTED.sub("", x) in defaults) for x in plain])
    yield Raised(rows, found=[repr(x) for x in labels[rows]])


@rule("date-missing")
def date_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No date, or words that were not understood."""
    rows = np.flatnonzero(np.isnat(look.tested[0]))
    words = look.words("tested_found")[rows]
    yield Raised(rows, found=[f"words found: {w!r}" if w else "nothing found" for w in words])


@rule("time-of-day-missing")
def time_of_day_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A date alone."""
    rows = np.flatnonzero(look.tested[1] == "day")
    yield Raised(rows, found=list(look.words("tested_local")[rows]))


@rule("zone-missing")
def zone_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A time to the minute or better, and nobody who states its zone."""
    timed = (look.tested[1] == "minute") | (look.tested[1] == "second")
    rows = np.flatnonzero(timed & look.is_null("zone_basis"))
    yield Raised(rows, found=list(look.words("tested_local")[rows]))


@rule("operator-missing")
def operator_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No key of a person."""
    yield Raised(np.flatnonzero(look.is_null("operator_key")))


@rule("operator-without-organisation")
def operator_without_organisation(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A person of whom no firm is named, in a job that names no contractor either."""
    named, firm = look.words("operator_key") != "", look.joined("operator_key", "people", "organisation")
    contractors = {j["job_id"] for j in look.batch["jobs"].to_pylist() if j["contractor"]}
    covered = np.array([j in contractors for j in look.words("job_id")], dtype=bool)
    rows = np.flatnonzero(named & (firm == "") & ~covered)
    yield Raised(rows)  # without the name, which stands in the table of people alone, where it can be redacted


@rule("instrument-missing")
def instrument_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No serial number for the local end."""
    yield Raised(np.flatnonzero(look.of_unit("local", "serial") == ""))


@rule("remote-instrument-missing")
def remote_instrument_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No serial number for the remote end, where something was measured there."""
    measured = look.with_rows(look.curves.record, look.curves.mask("end", "remote"))
    measured |= look.with_rows(look.rows_for("reported"), look.words("end", "reported") == "remote")
    measured |= look.words("remote_instrument_id") != ""
    yield Raised(np.flatnonzero(measured & (look.of_unit("remote", "serial") == "")))


@rule("instrument-model-missing")
def instrument_model_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A unit with a serial number and no model."""
    for end in ("local", "remote"):
        serial, model = (look.of_unit(end, c) for c in ("serial", "model"))
        yield Raised(np.flatnonzero((serial != "") & (model == "")), where=end)


@rule("software-missing")
def software_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No version of firmware or software."""
    yield Raised(np.flatnonzero(look.of_unit("local", "software") == ""))


@rule("adapter-missing")
def adapter_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No adapter, head or cord."""
    yield Raised(np.flatnonzero(look.of_unit("local", "adapter") == ""))


@rule("calibration-missing")
def calibration_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A unit without dates of calibration, and no certificate for its serial number beside it."""
    documents = look.batch["documents"]
    certificates = documents.filter(pc.equal(documents.column("kind"), "certificate"))
    certified = set(certificates.column("serial").to_pylist())
    for end in ("local", "remote"):
        serial = look.of_unit(end, "serial")
        dated = (look.of_unit(end, "calibrated_on") != "") | (look.of_unit(end, "calibration_due") != "")
        covered = np.array([s in certified for s in serial], dtype=bool)
        rows = np.flatnonzero((look.words(f"{end}_instrument_id") != "") & ~dated & ~covered)
        yield Raised(rows, where=end, found=[f"the unit at the {end} end ({s or 'no serial'})" for s in serial[rows]])


def _trace_alone(look: RecordLook) -> Bools:
    """Records that are optical traces and no loss tests."""
    return np.asarray(look.words("evidence") == "optical-trace")


@rule("limit-missing")
def limit_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No words for a limit; a trace has none."""
    yield Raised(np.flatnonzero(look.is_null("limit_found") & ~_trace_alone(look)))


@rule("limit-not-resolved")
def limit_not_resolved(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Words that lead to no limit, or to several."""
    rows = np.flatnonzero(~look.is_null("limit_found") & ~look.limits.known)
    candidates, reasons = look.limits.candidates[rows], look.limits.reasons[rows]
    expected = [f"it may mean {c}" if c else r for c, r in zip(candidates, reasons, strict=True)]
    yield Raised(rows, found=[repr(w) for w in look.words("limit_found")[rows]], expected=expected)


@rule("configuration-contradicts-limit")
def configuration_contradicts_limit(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A modular plug terminated link is graded by the lines of the permanent link; nothing else may differ."""
    said = look.words("configuration")
    of_limit = np.array([_configuration_of(i) for i in look.limits.ids], dtype=object)
    same = (said == of_limit) | ((said == "mptl") & (of_limit == "permanent-link"))
    rows = np.flatnonzero((said != "") & (of_limit != "") & ~same)
    yield Raised(rows, found=list(said[rows]), expected=list(look.limits.ids[rows]))


def _configuration_of(limit_id: str) -> str:
    last = limit_id.rsplit("/", 1)[-1]
    return next((c for c in _CONFIGURATIONS if last.startswith(c)), "")


@rule("cable-type-missing")
def cable_type_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No brand-neutral type, or one that could not be decided."""
    kind = look.words("cable_type")
    rows = np.flatnonzero([not cables.known(k).get("class") for k in kind])
    words = look.words("cable_found")[rows]
    yield Raised(rows, found=[f"words found: {w!r}" if w else "nothing found" for w in words])


@rule("velocity-missing")
def velocity_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A copper length without a velocity."""
    yield Raised(np.flatnonzero(look.is_copper & ~np.isnan(look.readings.length) & look.is_null("velocity_percent")))


@rule("sweeps-missing")
def sweeps_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Evidence other than whole curves; an optical record need not have any."""
    evidence = look.words("evidence")
    rows = np.flatnonzero((evidence != "full-sweep") & (look.words("medium") != "fiber"))
    words = {"worst-points": "worst cases only", "verdict-only": "a verdict only"}
    yield Raised(rows, found=[words.get(e, e) for e in evidence[rows]])


@rule("verdict-missing")
def verdict_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No verdict of the instrument; of a trace alone there is none."""
    yield Raised(np.flatnonzero(look.is_null("reported_verdict") & ~_trace_alone(look)))


@rule("wiremap-missing")
def wiremap_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Copper with curves or scalars and no wire map."""
    yield Raised(np.flatnonzero(look.is_copper & look.has_pairs & ~look.with_rows(look.rows_for("wiremap"))))


@rule("scalars-missing")
def scalars_missing(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """No value at all of a scalar; skew follows from delays."""
    asked = look.is_copper & look.is_full_sweep
    for quantity in limits["field"]:
        have = look.readings.has(quantity)
        if quantity == "delay_skew":
            have |= look.readings.has("propagation_delay")
        yield Raised(np.flatnonzero(asked & ~have), found=quantity.replace("_", " "))


@rule("source-missing")
def source_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """No source, or one that the batch does not describe."""
    sources = one_chunk(look.batch["sources"].column("source_id"))
    known = pc.is_in(look.records.column("source_id"), value_set=sources).to_numpy()
    yield Raised(np.flatnonzero(~known))
