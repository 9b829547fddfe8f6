"""A loss test against the limits that its export states, and against the budget of an application."""

from __future__ import annotations

from typing import Any

from archive.grading.fiber.graded_rows import NOT_GRADED, PointGrade, RecordGrade, judged, place, remembered
from archive.grading.fiber.link_grade import BELOW_ZERO, NO_METHOD, tolerance
from archive.grading.fiber.loss_tests import LossTest
from archive.limits import fiber
from archive.limits.fiber import ApplicationBounds, LossLimit, OpticalApplication, OpticalLimit


def grade_exported(test: LossTest) -> RecordGrade | None:
    """Every loss against the limit that the export states beside it; None where it states none."""
    if all(loss.stated_limit is None for loss in test.losses):
        return None
    out = RecordGrade(test, fiber.EXPORTED)
    for loss in test.losses:
        p = PointGrade("optical_loss", place(loss), loss.db, loss.stated_limit, NOT_GRADED, step=loss.step)
        if loss.stated_limit is None:
            p.reason = "the export states no limit for it"
        elif loss.db < -tolerance("zero_db"):
            p.reason = BELOW_ZERO
        else:
            p.verdict = judged(loss.stated_limit - loss.db)
        out.points.append(p)
    out.notes.append("against the limit that the export states" + _as_rebuilt(test))
    return out


def _as_rebuilt(test: LossTest) -> str:
    """Which limits of the library have the very numbers that the export states; or that none has."""
    method, known = test.row["reference_method"], test.fiber_class
    parts = (test.row["connections"], test.row["splices"])
    if fiber.reference(method or "") is None or None in parts or not known:
        return ", which cannot be rebuilt: class, reference method, connections or splices are not stated"
    fits = None
    for loss in test.losses:
        length = test.length(loss.fiber)
        if loss.stated_limit is None or loss.nm is None or length is None:
            continue
        room = max(tolerance("limit_db"), (loss.stated_limit_step or 0.0) / 2) + 1e-9
        here = set()
        for limit_id in fiber.limit_ids():
            limit = fiber.get(limit_id)
            if isinstance(limit, OpticalLimit) and limit.fiber == known:
                found = limit.loss(loss.nm, length, parts[0], parts[1], method)
                if isinstance(found, LossLimit) and abs(found.db - loss.stated_limit) <= room:
                    here.add(limit_id)
        fits = here if fits is None else fits & here
    if fits is None:
        return ""
    listed = ", ".join(i for i in fiber.limit_ids() if i in fits)
    return (
        f"; rebuilt from its parts it is that of {listed}"
        if listed
        else "; rebuilt from its parts it fits no edition here"
    )


def grade_application(test: LossTest, application: OpticalApplication, named: bool = False) -> RecordGrade:
    """Whether the fibers of a record carry an application: its loss and its length, both."""
    out = RecordGrade(test, application.id, own_verdict=named)
    known = test.fiber_class
    bounds = application.over(known) if known else None
    if bounds is None:
        why = f"no bounds for {known.upper()} are known" if known else "the class of fibre is not known"
        out.missing.append(f"{why}; it has them for {', '.join(f.upper() for f in application.fibers)}")
        return out
    method = test.row["reference_method"]
    reference = fiber.reference(method or "")
    channel = test.row["configuration"] == "channel"
    if reference is None and not channel:
        out.missing.append(NO_METHOD)
        return out
    left_out = 0 if channel or reference is None else 2 - reference.ends
    added = left_out * fiber.event_limits().connection.db
    if left_out:
        ends = f"{left_out} end connection{'s' * (left_out > 1)}"
        out.notes.append(f"{added:.2f} dB added for {ends} that the reference method leaves out")
    if any(loss.db < -tolerance("zero_db") for loss in test.losses):
        out.missing.append(BELOW_ZERO)  # at whatever wavelength: the others have the same reference
    used = [loss for loss in test.losses if loss.nm is not None and _same_window(loss.nm, bounds.nm, known)]
    if not used:
        out.missing.append(f"nothing measured at {bounds.nm:g} nm")
    for loss in used:
        p = PointGrade(
            "optical_loss", place(loss), round(loss.db + added, 9), bounds.most_db, NOT_GRADED, step=loss.step
        )
        p.confidence, p.doubts = bounds.loss_confidence, remembered(bounds.loss_confidence)
        if loss.db < -tolerance("zero_db"):
            p.reason = BELOW_ZERO
        else:
            p.verdict = judged(p.margin or 0.0)
        out.points.append(p)
    for name in test.fibers or [""]:
        _length(test, name, bounds, out)
    _remarks(test, application, bounds, out)
    return out


def _same_window(nm: float, wanted: float, known: str) -> bool:
    return fiber.nominal(nm, known) == fiber.nominal(wanted, known)


def _length(test: LossTest, name: str, bounds: ApplicationBounds, out: RecordGrade) -> None:
    length = test.length(name)
    if length is None:
        out.missing.append("the length is not stated")
        return
    where: dict[str, Any] = {"pairing": name or None}
    p = PointGrade("length", where, length, bounds.most_m, NOT_GRADED, confidence=bounds.length_confidence)
    p.verdict, p.doubts = judged(bounds.most_m - length), remembered(bounds.length_confidence)
    out.points.append(p)


def _remarks(test: LossTest, application: OpticalApplication, bounds: ApplicationBounds, out: RecordGrade) -> None:
    needed = application.table.fibers
    if len(test.fibers) < needed:
        have = len(test.fibers)
        out.notes.append(
            f"it takes {needed} fibres; this record has {have}, and speaks of {'it' if have == 1 else 'these'} alone"
        )
    if test.row["configuration"] != "channel":
        each = fiber.event_limits().connection.db
        out.notes.append(
            "of the link as measured: equipment cords lose what their fibre loses, "
            f"further connections {each:g} dB each"
        )
    if (rests := fiber.needed(test.fiber_class, bounds.nm)) is not None:
        out.notes.append(
            f"its length holds for {test.fiber_class.upper()} of at least {rests.text}, "
            "which no test of losses measures"
        )
    if application.table.note:
        out.notes.append(application.table.note)
