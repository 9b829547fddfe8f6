"""Labels of which it is in doubt whether their tests are of one link, and what a person decides of them."""

from __future__ import annotations

from itertools import combinations, groupby
from typing import Any

from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.label_search import labels
from archive.store.events.accept import decide_identity
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.store.records import COUNTED


def doubts(
    archive: Archive, label: str | None = None, *, job: str | None = None, site: str | None = None
) -> list[dict[str, Any]]:
    """Labels in doubt, in their order: link, site, why, and the sides with their tests and what is known of each.

    job: those of which a test in this job is in doubt.
    """
    archive.catch_up()
    where, values = "doubt IS NOT NULL", list[Any]()
    if label is not None:
        found = labels(archive.db, label, job=job, site=site)
        where, values = f"{where} AND link_label IN ({', '.join('?' * len(found))})", [*values, *found]
    if job is not None:
        where, values = f"{where} AND job_id = ?", [*values, job]
    if site is not None:
        where, values = f"{where} AND site = ? COLLATE NOCASE", [*values, site]
    rows = archive.db.execute(
        "SELECT link_key, link, doubt, link_label, site, job_id, building, floor, space, cable_type, length_m, "
        "configuration, tested_local, tested_at, record_id, deposit || '/' || position AS address FROM records "
        f"WHERE link_key IN (SELECT link_key FROM records WHERE {where}) AND {COUNTED} "
        "ORDER BY link_label, link_key, link, row",
        values,
    ).fetchall()
    made = []
    for _, members in groupby(rows, key=lambda r: r["link_key"]):
        listed = list(members)
        sides = [list(side) for _, side in groupby(listed, key=lambda r: r["link"])]
        made.append(
            {
                "link": listed[0]["link_label"],
                "site": listed[0]["site"],
                "why": next(r["doubt"] for r in listed if r["doubt"]),
                "sides": [_side(side) for side in sides],
            }
        )
    return made


def settle(
    archive: Archive,
    chosen: Filters,
    *,
    same: bool,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> LedgerEntry:
    """Commits a person's word on all sides of a label, chosen by link, job and site.

    Errors: Trouble where not exactly one label in doubt fits.
    """
    found = doubts(archive, chosen.link, job=chosen.job, site=chosen.site)
    if len(found) != 1:
        raise Trouble(
            "no label in doubt fits" if not found else f"{len(found)} labels in doubt fit",
            code="identity.not-one",
            found=chosen.link or "",
            expected="one of those that `muniment identity` lists",
            remedy="a test that may be of several scheduled places gets its place with `muniment amend --set floor=...`"
            if not found
            else "give the whole label, and --site or --job",
        )
    sides = [side["records"] for side in found[0]["sides"]]
    pairs = [(a[0], b[0]) for a, b in combinations(sides, 2)]
    return decide_identity(archive, pairs, same=same, by=by, reason=reason, sign=sign)


def _side(rows: list[Any]) -> dict[str, Any]:
    """One side: its tests, and what is known of place, cable and length."""
    known = [f"{name} {rows[-1][name]}" for name in ("building", "floor", "space") if rows[-1][name]]
    known += [r for r in (rows[-1]["cable_type"], rows[-1]["configuration"]) if r]
    known += [f"{rows[-1]['length_m']:.1f} m"] if rows[-1]["length_m"] is not None else []
    return {
        "records": [r["record_id"] for r in rows],
        "jobs": list(dict.fromkeys(r["job_id"] for r in rows if r["job_id"])),
        "tested": [r["tested_local"] or r["tested_at"] or "time unknown" for r in rows],
        "what": ", ".join([*known, *(f"job {j}" for j in dict.fromkeys(r["job_id"] for r in rows) if j)]),
    }
