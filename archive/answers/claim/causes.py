"""What the change of a parameter usually means, as the trade knows it, and what to test next. Without blame.

The texts stand in schemas/causes.toml, each with its confidence: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from archive import schemas
from archive.answers.claim.claim_facts import Row, TestedRecord
from archive.answers.documents import Block, DocumentSection, Para, TableBlock
from archive.answers.wording import Wording

_WORSE_DB = 1.0
"""A smaller loss of margin between two tests is repeatability (common practice, no source)."""


def causes(old: TestedRecord, new: TestedRecord, words: Wording) -> list[DocumentSection]:
    """One section with a row for each parameter that fails now and did not, or whose margin became smaller by a decibel
    or more; and what failed as much when it was certified, which is no change."""
    limit = (old.verdict() or {}).get("limit_id")
    declared: Mapping[str, Mapping[str, Any]] = schemas.load("causes.toml")["causes"]
    rows = []
    for name, texts in declared.items():
        ends = [end for end in ("local", "remote", None) if _worse(old, new, name, end, limit)]
        if ends:
            where = words(texts["one_end"]) if len(ends) == 1 and ends[0] is not None else words(texts["where"])
            at = ", ".join(words.end(e) for e in ends if e)
            rows.append(
                [
                    ", ".join(x for x in (words.parameter(name), at) if x),
                    words(texts["means"]),
                    where,
                    words(texts["next"]),
                ]
            )
    same = [p for p in declared if any(_failed_alike(old, new, p, end, limit) for end in ("local", "remote", None))]
    alike = words(
        "Failing in both tests, with less than {least} dB between them, and so no change since certification: {names}.",
        least=words.number(_WORSE_DB, 0),
        names=", ".join(words.parameter(p) for p in same),
    )
    if not rows:
        title = words("What failed already when it was certified")
        return [DocumentSection(title, [Para(alike)], level=2)] if same else []
    intro = words(
        "What such a change usually means, as the trade knows it: common practice, no source. It names no one, and a "
        "cause is known only when it is found. Listed is what fails now and did not, or lost {least} dB of margin or "
        "more.",
        least=words.number(_WORSE_DB, 0),
    )
    head = [words(h) for h in ("parameter", "usually means", "where along the link", "what to test next")]
    table = TableBlock(head, rows, weights=(1, 2, 2, 2))
    blocks: list[Block] = [Para(intro, "small"), table, *([Para(alike)] if same else [])]
    return [DocumentSection(words("What the change may mean"), blocks, level=2)]


def _worse(old: TestedRecord, new: TestedRecord, parameter: str, end: str | None, limit: str | None) -> bool:
    before, after = (_least(t, parameter, end, limit) for t in (old, new))
    if after is None:
        return False
    if before is None:
        return bool(after["verdict"] == "fail")
    failed_anew = after["verdict"] == "fail" and before["verdict"] != "fail"
    return bool(failed_anew or before["margin"] - after["margin"] >= _WORSE_DB)


def _failed_alike(old: TestedRecord, new: TestedRecord, parameter: str, end: str | None, limit: str | None) -> bool:
    """Whether it fails in both tests, and lost less than a change is."""
    before, after = (_least(t, parameter, end, limit) for t in (old, new))
    both = before is not None and after is not None and before["verdict"] == after["verdict"] == "fail"
    return both and not _worse(old, new, parameter, end, limit)


def _least(t: TestedRecord, parameter: str, end: str | None, limit: str | None) -> Row | None:
    grades: Sequence[Row] = [g for s in t.stated[:1] for g in s.grades if g["limit_id"] == limit]
    rows = [g for g in grades if (g["parameter"], g["end"], g["kind"]) == (parameter, end, "worst_margin")]
    return min((g for g in rows if g["margin"] is not None), key=lambda g: g["margin"], default=None)
