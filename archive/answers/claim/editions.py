"""The limit of a record's day, and the same limit in the newest edition."""

from __future__ import annotations

from dataclasses import dataclass

from archive import grading
from archive.answers.claim.claim_facts import NEWEST, NOW, StatedVerdict
from archive.grading.fiber import BOTH_ENDS, BOTH_WAYS
from archive.limits.any_kind import all_ids, is_established
from archive.tables import Batch

_FAMILY = {"tsb": "tia", "en": "en"}


@dataclass(frozen=True)
class Newest:
    """limit_id: the newest edition with lines, None where that is the one asked about. named: a newer edition that
    the library names and holds no lines of, "" for none."""

    limit_id: str | None = None
    named: str = ""


def newest(limit_id: str | None) -> Newest:
    """The same category or class and configuration in the newest edition of the same body's family."""
    parts = (limit_id or "").split("/")
    if len(parts) != 3:
        return Newest()
    # The library lists the editions of a body from the oldest to the newest.
    same = [i for i in all_ids() if i.split("/")[1:] == parts[1:] and _body(i) == _body(parts[0])]
    if limit_id not in same:
        return Newest()
    later = same[same.index(limit_id) + 1 :]
    established = [i for i in later if is_established(i)]
    named = [i for i in later if not is_established(i)]
    last = established[-1] if established else None
    beyond = [i for i in named if last is None or same.index(i) > same.index(last)]
    return Newest(last, beyond[-1] if beyond else "")


def again(batch: Batch, archived: list[StatedVerdict]) -> list[StatedVerdict]:
    """What the library of today says: of the limit of the day where that differs from what is archived, and of the
    newest edition."""
    first = archived[0].verdict if archived else None
    limit_id = first["limit_id"] if first else None
    if first and any(mark in (first["reason"] or "") for mark in (BOTH_ENDS, BOTH_WAYS)):
        return []  # graded with the record of the other end, which is not in this batch
    made = []
    now = grading.grade(batch, against=[limit_id] if limit_id and limit_id in all_ids() else None)
    verdict = next(iter(now["verdicts"].to_pylist()), None)
    if verdict is not None and (first is None or any(verdict[k] != first[k] for k in _COMPARED)):
        made.append(StatedVerdict(NOW, "", "", verdict, now["grades"].to_pylist()))
    newer = newest(limit_id or (verdict["limit_id"] if verdict else None)).limit_id
    if newer is not None and newer not in [s.verdict["limit_id"] for s in archived]:
        graded = grading.grade(batch, against=[newer])
        made.append(StatedVerdict(NEWEST, "", "", graded["verdicts"].to_pylist()[0], graded["grades"].to_pylist()))
    return made


_COMPARED = (
    *("limit_id", "verdict", "provisional", "parameter", "pairing", "end", "direction", "wavelength_nm"),
    *("frequency_mhz", "margin", "reason"),
)


def _body(name: str) -> str:
    body = name.split("-")[0]
    return _FAMILY.get(body, body)
