"""What the archive knows around a link: neighbours, copies, look-alikes, what was set aside, documents, the job."""

from __future__ import annotations

from typing import Any

from archive.answers.claim.claim_facts import Around, CopyOf, Neighbours, TestedRecord
from archive.answers.job_schedule import latest_schedule
from archive.answers.link import ArchivedLink
from archive.answers.setaside import set_aside
from archive.errors import Trouble
from archive.store import Archive, identity
from archive.store.documents import of_job
from archive.validation.look.scheduled_links import ScheduledLinks

_EACH_WAY = 4
_SHOWN = (
    "link_label AS link, record_id, tested_local, coalesce(limit_id, limit_found) AS limit_id, verdict, provisional, "
    "length_m, leading_margin, leading_parameter, "
    "local_serial, remote_serial, cable_found, deposit || '/' || position AS address"
)


def job_facts(archive: Archive, job: str | None, site: str | None) -> dict[str, Any]:
    """Facts of a job as they hold now."""
    rows = archive.db.execute("SELECT field, value FROM jobs WHERE job_id = ?", (job,))
    return {"job_id": job, "site": site, **{r[0]: r[1] for r in rows}}


def documents(archive: Archive, job: str | None, link: str | None = None) -> list[dict[str, Any]]:
    """Documents filed for a job, or for one of its links, from deposits and events."""
    return [d for d in of_job(archive, job) if link is None or d["link_label"] in (None, link)]


def around(archive: Archive, link: ArchivedLink) -> Around:
    """Copies, look-alikes, findings across records, and what was set aside."""
    first = link.home
    return Around(
        copies=_copies(archive, link),
        look_alikes=_look_alikes(archive, link),
        findings=_findings(archive, link),
        set_aside=_set_aside(archive, link),
        held=archive.db.execute("SELECT 1 FROM holds WHERE job_id = ?", (first["job_id"],)).fetchone() is not None,
    )


def neighbours(archive: Archive, link: ArchivedLink) -> Neighbours | None:
    """Standing records of links in the same bundle, else of the same panel, else near in the order of labels."""
    labels, basis, name = _bundle(archive, link)
    if not labels:
        labels, name = _panel(archive, link)
        basis = "panel" if labels else "order"
    job, site = link.home["job_id"], link.home["site"]
    found: list[Any] = []
    for sign, order, most in (("<", "DESC", _EACH_WAY), (">=", "ASC", _EACH_WAY + 1)):
        among = f"AND link_label IN ({', '.join('?' * len(labels))})" if labels else ""
        found += archive.db.execute(
            f"SELECT {_SHOWN} FROM records WHERE accepted_unit = row AND job_id IS ? AND site IS ? "
            f"AND link_label {sign} ? {among} ORDER BY link_label {order} LIMIT {most}",
            (job, site, link.label, *labels),
        ).fetchall()
    rows = sorted(({**n, **_crew_and_lot(archive, n["address"])} for n in found), key=lambda n: str(n["link"]))
    return Neighbours(basis, name, rows) if any(r["link"] != link.label for r in rows) else None


def _crew_and_lot(archive: Archive, address: str) -> dict[str, str | None]:
    """Who tested a record, "" where the name is not there any more, and the drum or lot of its cable. A record that
    cannot be read says neither, and that."""
    try:
        batch = archive.record(address)
    except Trouble:
        return {"crew": None, "lot": None, "unread": "yes"}
    near = TestedRecord(batch, "")
    return {"crew": near.operator, "lot": near.record["cable_lot"], "unread": None}


def _bundle(archive: Archive, link: ArchivedLink) -> tuple[list[str], str, str]:
    """Links of the same bundle, or else of the same panel, as the latest schedule has them."""
    job = link.home["job_id"]
    lines = latest_schedule(archive, job) if job else {}
    fitting = ScheduledLinks(list(lines.values())).candidates(link.label, identity.joined(link.rows))
    mine = lines[fitting[0]] if len(fitting) == 1 else None
    for basis, columns in (("bundle", ("bundle",)), ("panel", ("building", "floor", "space", "panel"))):
        if mine is not None and mine[columns[-1]]:
            same = [str(r["link_label"]) for r in lines.values() if all(r[c] == mine[c] for c in columns)]
            return sorted({*same, link.label}), basis, str(mine[columns[-1]])
    return [], "", ""


def _panel(archive: Archive, link: ArchivedLink) -> tuple[list[str], str]:
    """Links of the same panel, by the places in the deposit that holds the standing record."""
    stands = link.home
    tables = archive.tables(stands["deposit"])
    panels = {
        p["place_id"]: tuple(p[c] for c in ("site", "building", "floor", "space", "panel"))
        for p in tables.table("places").to_pylist()
        if p["panel"]
    }
    records = tables.table("records").select(["record_id", "link_label", "local_place_id"]).to_pylist()
    mine = next((panels.get(r["local_place_id"]) for r in records if r["record_id"] == stands["record_id"]), None)
    if mine is None:
        return [], ""
    same = {r["link_label"] for r in records if panels.get(r["local_place_id"]) == mine and r["link_label"]}
    return sorted({*same, link.label}), str(mine[-1])


def _copies(archive: Archive, link: ArchivedLink) -> list[CopyOf]:
    """Records of other links whose curves are those of this one's, and the other way round."""
    rows = [r["row"] for r in link.rows]
    marks = ", ".join("?" * len(rows))
    taken = archive.db.execute(
        "SELECT link_label, tested_local, record_id FROM records WHERE kind = 'copied_curves' AND withdrawn = 0 "
        f"AND former IN ({marks}) AND row NOT IN ({marks}) ORDER BY row",
        (*rows, *rows),
    )
    found = [CopyOf(str(r[0]), str(r[1] or ""), r[2], "the other's") for r in taken]
    formers = [r["former"] for r in link.rows if r["kind"] == "copied_curves" and r["former"] is not None]
    given = archive.db.execute(
        "SELECT link_label, tested_local, record_id FROM records "
        f"WHERE row IN ({', '.join('?' * len(formers))}) AND row NOT IN ({marks}) ORDER BY row",
        (*formers, *rows),
    )
    return [*(CopyOf(str(r[0]), str(r[1] or ""), r[2], "this link's") for r in given), *found]


def _look_alikes(archive: Archive, link: ArchivedLink) -> list[str]:
    r = link.home
    rows = archive.db.execute(
        "SELECT DISTINCT link_label FROM records WHERE folded = (SELECT folded FROM records WHERE row = ?) "
        "AND link_label IS NOT ? AND job_id IS ? AND site IS ? ORDER BY link_label",
        (r["row"], link.label, r["job_id"], r["site"]),
    )
    return [str(x[0]) for x in rows]


def _findings(archive: Archive, link: ArchivedLink) -> list[dict[str, Any]]:
    """Findings that were archived about the link, and about whole files, but about no single record."""
    found = []
    for deposit in sorted({r["deposit"] for r in link.rows}):
        for f in archive.tables(deposit).table("findings").to_pylist():
            of_a_file = f["link_label"] is None and f["status"] == "input changed"
            if f["record_id"] is None and (of_a_file or f["link_label"] == link.label):
                found.append(f)
    return found


def _set_aside(archive: Archive, link: ArchivedLink) -> list[dict[str, Any]]:
    """Parts that name the link, were set aside, and were read in no later deposit."""
    job = link.home["job_id"]
    return [s for s in set_aside(archive, job) if s["link_label"] == link.label and not s["settled"]]
