"""Rows of grades and verdicts of one optical record against one limit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive import limits
from archive.grading.arithmetic import EXACT
from archive.grading.decision import NOT_STATED
from archive.grading.fiber.loss_tests import LossTest, MeasuredLoss
from archive.grading.graded_columns import REMEMBERED
from archive.version import PROGRAM

PASS, FAIL, NOT_GRADED = "pass", "fail", "not graded"
ONE_SIDE = "losses of events seen from one side alone are apparent"
ABOUT_ZERO = "a loss about zero: its reference is doubtful"
OLD_FORM = "trace files of format 1 are known from descriptions alone"


@dataclass
class PointGrade:
    """One value against its limit. where: fiber, end, direction, nm as the columns of grades have them."""

    parameter: str
    where: dict[str, Any]
    value: float
    limit: float | None
    verdict: str
    reason: str = ""
    confidence: str = ""
    doubts: list[str] = field(default_factory=list)
    step: float | None = None
    reported_margin: float | None = None
    agrees: bool | None = None
    kind: str = "worst_margin"

    @property
    def margin(self) -> float | None:
        """Distance to the limit, the largest that is allowed; negative fails."""
        return None if self.limit is None else round(self.limit - self.value, 9)

    @property
    def within(self) -> bool | None:
        """Whether the margin is smaller than half a step of the source's numbers; None where that is not known."""
        return None if self.margin is None or self.step is None else abs(self.margin) < self.step / 2


def judged(margin: float) -> str:
    """The verdict of a margin."""
    return PASS if margin >= -EXACT else FAIL


@dataclass
class RecordGrade:
    """What came of one record against one limit. missing: what a pass lacks. notes: what else is said; differs: the
    instrument said something else of a parameter. fault: of polarity, which no loss test makes good. rests_on_other:
    the losses of another record are among its points, of which its own instrument's verdict says nothing."""

    test: LossTest
    limit_id: str | None
    points: list[PointGrade] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    differs: bool = False
    own_verdict: bool = True
    confirmed_by: str = ""
    fault: str = ""
    fault_doubts: list[str] = field(default_factory=list)
    rests_on_other: bool = False

    @property
    def deciding(self) -> list[PointGrade]:
        """Points that decide: means of two directions only stand beside."""
        return [p for p in self.points if p.kind != "average"]

    @property
    def verdict(self) -> str:
        """fail where anything fails; not graded where anything is missing or could not be graded; else pass."""
        words = {p.verdict for p in self.deciding}
        if FAIL in words or self.fault:
            return FAIL
        return NOT_GRADED if self.missing or NOT_GRADED in words or not words else PASS

    @property
    def all_doubts(self) -> list[str]:
        """Why the verdict is provisional, each once."""
        if self.verdict == NOT_GRADED:
            return []
        points = [p for p in self.deciding if p.verdict == self.verdict] if self.verdict == FAIL else self.deciding
        if self.fault and not any(p.verdict == FAIL for p in points):
            return self.fault_doubts
        sure = self.verdict == FAIL and any(p.verdict == FAIL and not p.doubts for p in points)
        sure = sure or (bool(self.fault) and not self.fault_doubts)
        found = [] if sure else [d for p in points for d in p.doubts]
        return list(dict.fromkeys([*found, *(self.doubts if self.verdict == PASS else [])]))

    @property
    def worst(self) -> PointGrade | None:
        """The deciding point: the smallest margin in dB, of those that fail where any does.

        None where polarity alone fails: no margin decided.
        """
        decided = [p for p in self.deciding if p.margin is not None and p.verdict != NOT_GRADED]
        failing = [p for p in decided if p.verdict == FAIL]
        listed = failing if failing or self.fault else decided
        decibels = [p for p in listed if p.parameter != "length"]
        return min(decibels or listed, key=lambda p: p.margin or 0.0, default=None)


def remembered(letter: str) -> list[str]:
    """The doubt that a letter brings."""
    return [REMEMBERED] if letter == "C" else []


def place(loss: MeasuredLoss) -> dict[str, Any]:
    """Columns that say which loss is meant."""
    return {"pairing": loss.fiber or None, "direction": loss.direction or None, "wavelength_nm": loss.nm}


def grade_rows(grade: RecordGrade) -> list[dict[str, Any]]:
    """Rows of grades: every point, and one for each parameter as a whole."""
    if grade.limit_id is None or not grade.points:
        return []
    rows = [_row(grade, p) for p in grade.points]
    for parameter in dict.fromkeys(p.parameter for p in grade.points):
        rows.append(_overall(grade, [p for p in grade.deciding if p.parameter == parameter], parameter))
    return rows


def _row(grade: RecordGrade, p: PointGrade) -> dict[str, Any]:
    return {
        "record_id": grade.test.row["record_id"],
        "limit_id": grade.limit_id,
        "parameter": p.parameter,
        "kind": p.kind,
        **p.where,
        "value": p.value,
        "limit": None if p.limit is None else round(p.limit, 9),
        "margin": p.margin,
        "verdict": p.verdict,
        "reason": p.reason or None,
        "provisional": bool(p.doubts),
        "confidence": p.confidence or None,
        "within_resolution": p.within,
        "reported_margin": p.reported_margin,
        "agrees": p.agrees,
        "derived": p.kind == "average",
        "provisional_because": "; ".join(p.doubts) or None,
    }


def _overall(grade: RecordGrade, points: Sequence[PointGrade], parameter: str) -> dict[str, Any]:
    words = {p.verdict for p in points}
    verdict = FAIL if FAIL in words else NOT_GRADED if NOT_GRADED in words or not words else PASS
    margins = [p.margin for p in points if p.margin is not None]
    reasons = list(dict.fromkeys(p.reason for p in points if p.reason and p.verdict == NOT_GRADED))
    doubts = list(dict.fromkeys(d for p in points if p.verdict == verdict for d in p.doubts))
    stated = [p.reported_margin for p in points if p.reported_margin is not None]
    said = [p.agrees for p in points if p.agrees is not None]
    return {
        "record_id": grade.test.row["record_id"],
        "limit_id": grade.limit_id,
        "parameter": parameter,
        "kind": "overall",
        "margin": min(margins, default=None),
        "verdict": verdict,
        "reason": "; ".join(reasons) or None,
        "provisional": bool(doubts),
        "confidence": max((p.confidence for p in points if p.confidence), default=None),
        "reported_margin": min(stated, default=None),
        "agrees": None if not said else all(said),
        "provisional_because": "; ".join(doubts) or None,
    }


def verdict_row(grade: RecordGrade) -> dict[str, Any]:
    """The row of verdicts."""
    row, worst, doubts = grade.test.row, grade.worst, grade.all_doubts
    agrees = _agrees(grade)
    point = {} if worst is None else _point(worst)
    return {
        "record_id": row["record_id"],
        "link_label": row["link_label"],
        "limit_id": grade.limit_id,
        "limit_found": row["limit_found"],
        "verdict": grade.verdict,
        "reason": "; ".join(_reasons(grade)) or None,
        "marginal": row["reported_marginal"] if grade.own_verdict else None,
        "marginal_basis": "as the instrument marked it" if grade.own_verdict and row["reported_marginal"] else None,
        "provisional": bool(doubts),
        "provisional_because": "; ".join(doubts) or None,
        "within_resolution": worst.within if worst else None,
        "agrees": agrees,
        **{k: v for k, v in point.items() if k not in ("wavelength_nm", "direction")},
        "wavelength_nm": point.get("wavelength_nm"),
        "direction": point.get("direction"),
        **{f"leading_{k}": v for k, v in point.items() if k not in ("wavelength_nm", "direction")},
        "confirmed_by": grade.confirmed_by or None,
        "decision": NOT_STATED if grade.verdict != NOT_GRADED else None,
        "limits_version": limits.version(),
        "program": PROGRAM,
    }


def _point(p: PointGrade) -> dict[str, Any]:
    return {
        "parameter": p.parameter,
        "pairing": p.where.get("pairing"),
        "end": p.where.get("end"),
        "value": p.value,
        "limit": None if p.limit is None else round(p.limit, 9),
        "margin": p.margin,
        "wavelength_nm": p.where.get("wavelength_nm"),
        "direction": p.where.get("direction"),
    }


def _agrees(grade: RecordGrade) -> bool | None:
    """Whether the instrument's verdict is ours; None where there is nothing to compare, or the margin is too near."""
    if not grade.own_verdict:
        return None
    if grade.differs:
        return False
    reported = grade.test.row["reported_verdict"]
    if reported not in (PASS, FAIL) or grade.verdict == NOT_GRADED:
        return None
    if reported == grade.verdict:
        return True
    if grade.rests_on_other:
        return None
    return None if grade.worst is not None and grade.worst.within else False


def _reasons(grade: RecordGrade) -> Iterable[str]:
    yield from [grade.fault] if grade.fault else ()
    yield from grade.missing
    yield from dict.fromkeys(p.reason for p in grade.deciding if p.reason and p.verdict == NOT_GRADED)
    reported = grade.test.row["reported_verdict"]
    said = reported in (PASS, FAIL) and reported != grade.verdict and not grade.rests_on_other
    if grade.own_verdict and grade.verdict in (PASS, FAIL) and said:
        yield f"the instrument says {reported}"
    yield from grade.notes
