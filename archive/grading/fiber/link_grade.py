"""A loss test against the limit of its link, rebuilt from length, connections, splices and reference method."""

from __future__ import annotations

from archive.grading.coverage import rules
from archive.grading.fiber.graded_rows import (
    ABOUT_ZERO,
    FAIL,
    NOT_GRADED,
    PASS,
    PointGrade,
    RecordGrade,
    judged,
    place,
    remembered,
)
from archive.grading.fiber.loss_tests import LossTest, MeasuredLoss
from archive.limits import fiber
from archive.limits.fiber import LossLimit, OpticalLimit

BELOW_ZERO = "a loss below zero: the reference was lost, it is no measurement"
NO_METHOD = "the reference method is not stated, so that its limit cannot be known"


def tolerance(name: str) -> float:
    """A number of schemas/grading.toml, [optical], dB."""
    return float(rules()["optical"][name])


def grade_link(test: LossTest, limit: OpticalLimit, named: bool, reason: str = "") -> RecordGrade:
    """Every loss of a record against the limit at its wavelength.

    named: it is the limit that the record names, so that what its instrument said is compared. reason: what is odd
    about how it was found.
    """
    out = RecordGrade(test, limit.id, own_verdict=named, confirmed_by="; ".join(limit.confirmations))
    out.notes += [reason] if reason else []
    if not test.losses:
        out.missing.append("no measured optical loss")
        return out
    if not limit.established:
        out.missing.append(limit.closed or "limit not established")
        return out
    method = test.row["reference_method"]
    if fiber.reference(method or "") is None:
        out.missing.append(NO_METHOD)
    for loss in test.losses:
        out.points.append(_point(test, limit, loss, method, out))
    _means(out)
    _complete(test, limit, out)
    _counted(test, out)
    return out


def _point(test: LossTest, limit: OpticalLimit, loss: MeasuredLoss, method: str | None, out: RecordGrade) -> PointGrade:
    """One loss. What the instrument says of it goes into `out`."""
    p = PointGrade("optical_loss", place(loss), loss.db, None, NOT_GRADED, step=loss.step)
    if loss.stated_limit is not None:
        p.reported_margin = round(loss.stated_limit - loss.db, 9)
    found = _limit(test, limit, loss, method)
    if isinstance(found, str):
        p.reason = found
        return p
    p.limit, p.confidence, p.doubts = found.db, found.confidence, remembered(found.confidence)
    margin = p.margin
    assert margin is not None
    p.verdict = judged(margin)
    row = test.row
    unknown = [name for name in ("connections", "splices") if row[name] is None]
    if loss.db < -tolerance("zero_db"):
        p.verdict, p.reason = NOT_GRADED, BELOW_ZERO
    elif p.verdict == FAIL and unknown:
        p.verdict, p.reason = (
            NOT_GRADED,
            f"beyond the limit without {' and '.join(unknown)}, whose number is not stated",
        )
    elif loss.db <= tolerance("zero_db") and (row["connections"] or 0) >= 2:
        p.doubts = [*p.doubts, ABOUT_ZERO]
    _compare(limit, test, loss, p, out)
    return p


def _limit(test: LossTest, limit: OpticalLimit, loss: MeasuredLoss, method: str | None) -> LossLimit | str:
    reference = fiber.reference(method or "")
    if reference is None or method is None:
        return NO_METHOD
    if loss.nm is None:
        return "the wavelength is not stated"
    length = test.length(loss.fiber)
    if length is None:
        return "the length is not stated, so that its limit cannot be known"
    connections = test.row["connections"]
    return limit.loss(
        loss.nm, length, reference.ends if connections is None else connections, test.row["splices"] or 0, method
    )


def _compare(limit: OpticalLimit, test: LossTest, loss: MeasuredLoss, p: PointGrade, out: RecordGrade) -> None:
    """The instrument's limit and verdict of one loss against ours."""
    if not out.own_verdict or p.limit is None:
        return
    if loss.stated_limit is not None:
        room = max(tolerance("limit_db"), (loss.stated_limit_step or 0.0) / 2) + 1e-9
        p.agrees = abs(loss.stated_limit - p.limit) <= room
        if not p.agrees:
            out.differs = True
            nm = f" at {loss.nm:g} nm" if loss.nm is not None else ""
            text = f"the instrument's limit{nm} is {loss.stated_limit:.2f} dB, rebuilt it is {p.limit:.2f} dB"
            meant = explained(limit, test, loss)
            text += f" ({meant})" if meant else ""
            if text not in out.notes:
                out.notes.append(text)
    if loss.stated_verdict in (PASS, FAIL) and p.verdict != NOT_GRADED and loss.stated_verdict != p.verdict:
        if not p.within:
            p.agrees, out.differs = False, True
            out.notes.append(f"the instrument says {loss.stated_verdict} of {_named(loss)}")
    elif p.agrees is None and loss.stated_verdict == p.verdict:
        p.agrees = True


def _named(loss: MeasuredLoss) -> str:
    parts = [f"fibre {loss.fiber}" if loss.fiber else "", f"{loss.nm:g} nm" if loss.nm else "", loss.direction]
    return ", ".join(p for p in parts if p) or "the loss"


def explained(limit: OpticalLimit, test: LossTest, loss: MeasuredLoss) -> str:
    """What the limit that an export states is made of, where another edition or count of connections gives it; else "".

    At most one explanation: where several fit, none is chosen.
    """
    length, method = test.length(loss.fiber), test.row["reference_method"]
    if loss.stated_limit is None or length is None or loss.nm is None or method is None:
        return ""
    count = test.row["connections"] or 0
    fits = []
    for other_id in fiber.limit_ids():
        other = fiber.get(other_id)
        if not isinstance(other, OpticalLimit) or other.fiber != limit.fiber:
            continue
        for connections in dict.fromkeys((count, max(0, count - 2), count + 2)):
            found = other.loss(loss.nm, length, connections, test.row["splices"] or 0, method)
            if isinstance(found, LossLimit) and abs(found.db - loss.stated_limit) <= tolerance("limit_db"):
                fits.append((other.title, connections))
    same = [(title, n) for title, n in fits if n == count]
    if same:
        return "which is that of " + " or ".join(dict.fromkeys(title for title, _ in same))
    counts = list(dict.fromkeys(n for _, n in fits))
    return f"which would be right with {counts[0]} connections in the result" if len(counts) == 1 else ""


def _means(out: RecordGrade) -> None:
    """The mean of both directions, beside the points: it decides nothing."""
    both: dict[tuple[str, float | None], list[PointGrade]] = {}
    for p in out.points:
        if p.where["direction"] and p.limit is not None:
            both.setdefault((p.where["pairing"] or "", p.where["wavelength_nm"]), []).append(p)
    for points in both.values():
        if {p.where["direction"] for p in points} != {"local-remote", "remote-local"} or len(points) != 2:
            continue
        a, b = points
        mean = PointGrade(
            "optical_loss", {**a.where, "direction": None}, round((a.value + b.value) / 2, 9), a.limit, PASS
        )
        mean.kind, mean.confidence, mean.doubts = "average", a.confidence, list(a.doubts)
        margin = mean.margin
        mean.verdict = judged(margin) if margin is not None else NOT_GRADED
        out.points.append(mean)


def _complete(test: LossTest, limit: OpticalLimit, out: RecordGrade) -> None:
    """Wavelengths and directions that the edition asks for."""
    for name in test.fibers:
        mine = [loss for loss in test.losses if loss.fiber == name]
        which = f" of fibre {name}" if name and len(test.fibers) > 1 else ""
        have = {fiber.nominal(loss.nm, limit.fiber) for loss in mine if loss.nm is not None}
        gone = [f"{nm:g}" for nm in limit.required_nm if nm not in have]
        if gone:
            out.missing.append(f"nothing measured at {' and '.join(gone)} nm{which}")
        directions = {loss.direction for loss in mine if loss.direction}
        if limit.directions is None or len(directions) >= 2:
            continue
        if limit.directions.count >= 2:
            out.missing.append(f"measured in one direction{which}, both are asked for")
        elif limit.directions.confidence == "C":
            out.doubts += remembered("C")
            out.notes.append(f"one direction{which}; that one is enough is from memory")
    out.missing = list(dict.fromkeys(out.missing))
    out.notes = list(dict.fromkeys(out.notes))


def _counted(test: LossTest, out: RecordGrade) -> None:
    """What the limit was made of, where the record leaves it open."""
    reference = fiber.reference(test.row["reference_method"] or "")
    if reference is None:
        return
    if test.row["connections"] is None:
        out.notes.append(f"connections not stated: only the {reference.ends} end connections in the result are counted")
    elif test.row["connections"] < reference.ends:
        out.notes.append(
            f"{test.row['connections']} connections do not fit the reference method, which leaves {reference.ends} "
            "end connections in the result"
        )
    if test.row["splices"] is None:
        out.notes.append("splices not stated: none is counted")
    if test.row["connector_grade"] is None:
        out.notes.append("grade of the test cords' plugs not stated")
