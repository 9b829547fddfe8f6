"""Whose curves were looked for in the whole archive, and what the fresh test of a complaint equals there."""

from __future__ import annotations

from archive.answers.claim.claim_facts import CurveSearch, FreshEqual, TestedRecord
from archive.answers.link import ArchivedLink
from archive.store import Archive
from archive.store.deposits import index

_BY_CURVES = ("new", "retests", "copied_curves", "relabelled")
"""Decisions of a deposit that nothing but the comparison of curves with all others led to."""


def compared(archive: Archive, link: ArchivedLink, new: TestedRecord | None) -> CurveSearch:
    """Looks for the curves of the fresh test among all records of the archive, withdrawn ones too.

    Those of the record that is shown were looked for when it was deposited. That record is left out, for it is
    compared with the fresh test curve by curve.
    """
    stands = None if link.standing is None else link.standing["row"]
    told = archive.db.execute(
        f"SELECT 1 FROM records WHERE row = ? AND curves IS NOT NULL AND kind IN ({', '.join('?' * len(_BY_CURVES))})",
        (stands, *_BY_CURVES),
    ).fetchone()
    if new is None:
        return CurveSearch(told is not None)
    here = index.rows(new.batch, 0, [new.digest], job=None, site=None).to_pylist()[0]
    found = archive.db.execute(
        "SELECT link_label, tested_local, record_id, digest = :digest OR content = :content FROM records "
        "WHERE (curves = :curves OR digest = :digest OR content = :content) AND row IS NOT :stands ORDER BY row",
        {**{n: here[n] for n in ("digest", "content", "curves")}, "stands": stands},
    )
    equal = [FreshEqual(str(r[0] or ""), str(r[1] or ""), str(r[2]), bool(r[3])) for r in found]
    return CurveSearch(told is not None, here["curves"] is not None, equal)
