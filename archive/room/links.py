"""One link: which record counts and why, its verdicts against any limit, every test, document and event."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from starlette.responses import Response

from archive import vocabulary
from archive.answers.claim.timeline import over_time
from archive.answers.claim.timing import as_day
from archive.answers.claim.wiremap import drawing
from archive.answers.history import history, link_cautions
from archive.answers.link import ArchivedLink, open_link
from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.curves import sweep_parameters
from archive.room.records import graded, limits_for, record_batch
from archive.room.thumbnails import may_be_shown
from archive.store.documents import of_job
from archive.store.roles import Role
from archive.tables import Batch

_ROLES: Mapping[str, Role] = {"accepted": "accepted", "current": "current"}
_TRACE = "optical-trace"
_MOST_DAYS = 16
"""Days on the time line; the table beneath has all."""


def page(asked: PageRequest) -> Response:
    """The page of one link."""
    link = _link(asked)
    row = _shown(asked, link)
    words = asked.words
    found: dict[str, Any] = {"link": link, "row": row, "timeline": None, "kinds": _kinds(words)}
    found["entries"] = history(asked.look.archive, link)
    found["cautions"] = link_cautions(asked.look.archive, link, asked.look.cautions())
    found["beside"] = _beside(link, row)
    if row is not None:
        batch = record_batch(asked, row["address"])
        found |= graded(batch, asked.text("against"), words)
        found |= {"tables": _tables(batch), "sweeps": sweep_parameters(batch)}
        found |= _traced(asked, link, row)
        found["documents"] = [d for d in of_job(asked.look.archive, row["job_id"]) if _of_link(d, link, row)]
        found["picture"] = may_be_shown
        found["limit_ids"] = limits_for(row["medium"])
        timeline = _timeline(asked, link, found["entries"])
        found["timeline"] = timeline
    command = shlex.join(["muniment", "history", str(asked.root), link.label, *_options(asked, link)])
    return asked.page("link.html", link.label, command, **found)


def _traced(asked: PageRequest, link: ArchivedLink, row: dict[str, Any]) -> dict[str, Any]:
    """Records of the link that came with a trace, the shown one first and then the newest; events of the first."""
    found = [r for r in link.rows if r["evidence"] == _TRACE and not r["withdrawn"] and not r["replaced"]]
    found.sort(key=lambda r: r is not row)
    events = record_batch(asked, found[0]["address"])["trace_events"].to_pylist() if found else []
    return {"traced": found, "trace_events": events}


def graded_part(asked: PageRequest) -> Response:
    """Verdict and worst points of one record against a limit: the part of the page that changes with the limit."""
    batch = record_batch(asked, asked.needed("record"))
    return asked.part("graded.html", **graded(batch, asked.text("against"), asked.words))


def timeline(asked: PageRequest) -> Response:
    """The time line of a link as a picture."""
    link = _link(asked)
    found = _timeline(asked, link, history(asked.look.archive, link))
    if found is None:
        raise Trouble("fewer than two days are known", code="room.no-picture", remedy="see the table of the link")
    return Response(found.svg, media_type="image/svg+xml")


def wiremap(asked: PageRequest) -> Response:
    """The wire map of a record as a picture."""
    rows = record_batch(asked, asked.needed("record"))["wiremap"].to_pylist()
    svg, _ = drawing(rows, title=asked.words("Wire map"), words=asked.words)
    return Response(svg, media_type="image/svg+xml")


def _link(asked: PageRequest) -> ArchivedLink:
    role = _ROLES.get(asked.text("role") or "")
    given = {name: asked.text(name) for name in ("job", "site", "record")}
    return open_link(asked.look.archive, asked.needed("label"), role=role, **given)


def _options(asked: PageRequest, link: ArchivedLink) -> list[str]:
    given = {"job": asked.text("job"), "site": asked.text("site")}
    return [word for name, value in given.items() if value for word in (f"--{name}", value)]


def _shown(asked: PageRequest, link: ArchivedLink) -> dict[str, Any] | None:
    """The record that is shown: the one asked for, or the one in the role that is shown."""
    wanted = asked.text("show")
    return next((r for r in link.rows if r["record_id"] == wanted), link.standing)


def _beside(link: ArchivedLink, row: dict[str, Any] | None) -> list[tuple[str, dict[str, Any]]]:
    """Accepted and current record, and the shown one where it is neither: role and row."""
    found = [("accepted", link.accepted), ("current", link.current)]
    both = [(role, r) for role, r in found if r is not None]
    if len(both) == 2 and both[0][1] is both[1][1]:
        both = [("accepted and current", both[0][1])]
    if row is not None and all(r is not row for _, r in both):
        both.append(("shown", row))
    return both


def _timeline(asked: PageRequest, link: ArchivedLink, entries: list[dict[str, Any]]) -> Any:
    facts = dict(
        asked.look.archive.db.execute(
            "SELECT field, value FROM jobs WHERE job_id = ?", (link.home["job_id"],)
        ).fetchall()
    )
    first, last = (as_day(facts.get(f"warranty_{end}") or "") for end in ("start", "end"))
    days = list(_days(asked, link, entries, facts))
    return over_time(sorted(days)[:_MOST_DAYS], first, last, asked.words)


def _days(
    asked: PageRequest, link: ArchivedLink, entries: list[dict[str, Any]], facts: Mapping[str, str]
) -> Iterator[tuple[date, str]]:
    words = asked.words
    stated = [(facts.get("work_start"), words("work began")), (facts.get("work_end"), words("work ended"))]
    for r in link.rows:
        told = words("tested, job {job}", job=r["job_id"]) if r["job_id"] else words("tested")
        if r is link.accepted:
            told = words("tested: the accepted record")
        elif r is link.current:
            told = words("tested: the current record")
        stated.append((r["tested_local"] or r["tested_at"], told))
    kinds = _kinds(words)
    events = (e for e in entries if e["record"] is None or e["kind"] == "amendment")
    stated += [(e["when"], kinds.get(e["kind"], e["kind"])) for e in events]
    seen = set()
    for day, what in stated:
        found = as_day(day or "")
        if found is not None and (found, what) not in seen:
            seen.add((found, what))
            yield found, what


def _kinds(words: Wording) -> dict[str, str]:
    """Kinds of entries of a history, in words."""
    return {
        "test": words("test"),
        "retest": words("retest"),
        "rendition": words("rendition"),
        "re-reading": words("re-reading"),
        "conflict": words("conflict"),
        "relabelled": words("relabelled"),
        "copied curves": words("copied curves"),
        "deposit": words("archived"),
        "assessment": words("graded again"),
        "amendment": words("correction"),
        "attach": words("document filed"),
        "withdraw": words("withdrawn"),
        "hold": words("legal hold"),
        "release": words("hold released"),
        "job": words("facts of the job stated"),
        "claim issued": words("claim file issued"),
        "book issued": words("hand-over book issued"),
        "accept": words("accepted"),
        "identity": words("identity decided"),
        "redact": words("redacted"),
        "case": words("case"),
        "cable settled": words("cable settled"),
    }


def _of_link(document: Mapping[str, Any], link: ArchivedLink, row: Mapping[str, Any]) -> bool:
    serials = (row["local_serial"], row["remote_serial"])
    return document["link_label"] in (None, link.label) and document["serial"] in (None, *serials)


def _tables(batch: Batch) -> dict[str, list[dict[str, Any]]]:
    names = ("readings", "reported", "wiremap", "instruments", "places", "trace_events", "extras")
    found = {name: batch[name].to_pylist() for name in names}
    for row in found["readings"]:
        row["unit"] = vocabulary.parameter(row["quantity"]).unit
    found["findings"] = batch["findings"].to_pylist()
    found["facts"] = batch["records"].to_pylist()
    return found
