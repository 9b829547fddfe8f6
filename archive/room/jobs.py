"""Jobs: all of them, and how far one is: by floor, margins over all links, what is missing, failing, in doubt, set
aside; its book and acceptance report for download."""

from __future__ import annotations

import shlex
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from starlette.responses import Response

from archive import vocabulary
from archive.answers.job_terms import breaches, sentences
from archive.answers.jobs import facts
from archive.answers.progress import JobLink, progress
from archive.answers.setaside import set_aside
from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.room import child
from archive.room.app import PageRequest
from archive.room.downloads import download, zipped
from archive.room.multiples import Multiple, multiple

_FIRST = 40
"""Links of each kind that are listed at once."""

_MOST_FOR_BOOK = 400
"""Links of a job whose book is made while a page waits; a larger one is made at a terminal."""

_JOBS = 1_000
OUTCOMES = ("failing", "in_conflict", "in_doubt", "not_graded", "missing", "passing")


def listed(asked: PageRequest) -> Response:
    """All jobs, the last tested first."""
    rows = asked.look.archive.db.execute(
        "SELECT job_id, max(site) AS site, count(DISTINCT link) AS links, min(tested_local) AS first, "
        "max(tested_local) AS last FROM records WHERE job_id IS NOT NULL AND NOT withdrawn AND NOT replaced "
        f"GROUP BY job_id ORDER BY last DESC, job_id LIMIT {_JOBS + 1}"
    ).fetchall()
    command = shlex.join(["muniment", "sql", str(asked.root), "SELECT DISTINCT job_id FROM records"])
    values = {"rows": rows[:_JOBS], "more": len(rows) > _JOBS, "most": _JOBS}
    return asked.page("jobs.html", asked.words("Jobs"), command, exact=False, **values)


def page(asked: PageRequest) -> Response:
    """One job."""
    archive, job = asked.look.archive, asked.needed("job")
    role: Any = "current" if asked.text("role") == "current" else "accepted"
    found = progress(archive, job, role=role)
    by_outcome: dict[str, list[JobLink]] = {o: [] for o in OUTCOMES}
    floors: dict[str, Counter[str]] = {}
    for link in found.links:
        by_outcome.setdefault(link.result.outcome, []).append(link)
        place = link.place.get("floor") or (link.record or {}).get("floor") or ""
        floors.setdefault(str(place), Counter())[link.result.outcome] += 1
    by_outcome["failing"].sort(key=_leading)
    worst = sorted((x for x in found.links if x.record is not None), key=_leading)
    return asked.page(
        "job.html",
        job,
        shlex.join(["muniment", "progress", str(asked.root), "--job", job]),
        exact=role == "accepted",
        job=job,
        facts=facts(archive, job),
        found=found,
        sums=found.plain()["sums"],
        terms=sentences(breaches(archive, job, found.links), asked.words),
        outcomes=_outcomes(asked.words),
        fact_names=_facts(asked.words),
        by_outcome={o: links for o, links in by_outcome.items() if links},
        floors=dict(sorted(floors.items())),
        multiples=_multiples(asked, worst),
        worst=[x for x in worst if x.record and x.record["leading_margin"] is not None][:_FIRST],
        why=lambda link: _why(link, asked.words),
        aside=[row for row in set_aside(archive, job) if not row["settled"]],
        most=_FIRST,
        book_here=len(found.links) <= _MOST_FOR_BOOK,
    )


def acceptance(asked: PageRequest) -> Response:
    """The acceptance report of a job as PDF, made by the command that makes it."""
    job = asked.needed("job")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "acceptance.pdf"
        child.run(["check", str(asked.root), f"--job={job}", f"--report={out}", "--quiet"])
        return download(out.read_bytes(), f"acceptance-{job}.pdf", "application/pdf")


def book(asked: PageRequest) -> Response:
    """The hand-over book of a job as a zip of its folder; no entry is made in the ledger."""
    job = asked.needed("job")
    language = asked.text("language") or asked.words.locale
    paper = "letter" if asked.text("paper") == "letter" else "a4"
    if len(progress(asked.look.archive, job).links) > _MOST_FOR_BOOK:
        remedy = "make it at a terminal, with `muniment book`"
        raise Trouble("the job is too large for a page to wait", code="room.busy", found=job, remedy=remedy)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "book"
        words = [f"--job={job}", f"--out={out}", f"--paper={paper}", f"--locale={language}", "--no-record"]
        child.run(["book", str(asked.root), *words, *([f"--by={asked.made_by}"] if asked.made_by else []), "--quiet"])
        return download(zipped(out), f"book-{job}.zip", "application/zip")


def _outcomes(words: Wording) -> dict[str, str]:
    """What links come to, as headings."""
    return {
        "failing": words("failing"),
        "in_conflict": words("in conflict"),
        "in_doubt": words("in doubt"),
        "not_graded": words("not graded"),
        "missing": words("missing"),
        "passing": words("passing"),
    }


def _facts(words: Wording) -> dict[str, str]:
    """Facts of a job, as they are called."""
    return {
        "name": words("name"),
        "client": words("client"),
        "site": words("site"),
        "zone": words("time zone"),
        "contractor": words("contractor"),
        "crew": words("crew"),
        "required_limit": words("required limit"),
        "work_start": words("work began"),
        "work_end": words("work ended"),
        "cable": words("cable"),
        "warranty_start": words("warranty begins"),
        "warranty_end": words("warranty ends"),
        "retain_until": words("kept until"),
        "comment": words("comment"),
        "records": words("records"),
        "hold": words("on hold"),
        "retention": words("retention"),
    }


def _leading(link: JobLink) -> float:
    margin = link.record["leading_margin"] if link.record is not None else None
    return float("inf") if margin is None else float(margin)


def _multiples(asked: PageRequest, links: list[JobLink]) -> list[Multiple] | None:
    """Margins of each parameter over all links that have a record; None while they are being worked out."""
    archive, measured = asked.look.archive, asked.look.measured
    parameters = measured.parameters(archive)
    if parameters is None:
        return None
    labels = [x.label for x in links]
    rows = np.array([int(x.record["row"]) for x in links if x.record is not None], np.int64)
    out = []
    for name in parameters:
        values = measured.margins(archive, name)
        if values is None or not len(rows):
            continue
        inside = rows < len(values)
        mine = np.where(inside, values[np.minimum(rows, len(values) - 1)], np.nan)
        if np.isfinite(mine).any():
            out.append(multiple(name, mine, labels, asked.words))
    return sorted(out, key=lambda m: (m.unit != "dB", m.least))


def _why(link: JobLink, words: Wording) -> str:
    """Why a link comes to what it does, as far as the catalogue knows."""
    row = link.record
    if link.why or row is None or link.result.outcome == "passing":
        return link.why
    if link.result.by_instrument:
        return words("the instrument said so; no curves came along")
    named = words.parameter(row["parameter"]) if row["parameter"] in vocabulary.parameters() else ""
    place = " ".join(str(row[f"leading_{name}"] or "") for name in ("pairing", "end")).strip()
    if link.result.outcome == "failing" and named:
        return f"{named} {place}".strip() if row["parameter"] == row["leading_parameter"] else named
    return words("evidence: {evidence}", evidence=words.term(row["evidence"]) or words("not known"))
