"""What pieces of work do: the functions of the commands `survey` and `deposit`, on what lies in a tray."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from archive.answers import intake
from archive.answers.job_schedule import latest_schedule
from archive.answers.pace import ReadingPace
from archive.answers.progress import progress
from archive.answers.shelf import offered_by
from archive.errors import Trouble
from archive.formats.survey import survey as surveyed
from archive.limits.library import version as limits_version
from archive.room.desk.ordered import Ordered, Task
from archive.room.desk.plan import plan_of
from archive.room.desk.tray import LaidOut, Tray, open_tray
from archive.room.desk.work import work as work_of
from archive.store.deposits import DepositFacts, NotAsConfirmed, Receipt
from archive.tables import Batch
from archive.validation.look.scheduled_links import ScheduledLinks
from archive.version import PROGRAM
from archive.vocabulary.places import PLACE


@contextmanager
def _inputs(ordered: Ordered) -> Iterator[tuple[Tray, LaidOut, list[Path]]]:
    """The tray, where its files stand under their given names, and all that is handed in.

    Errors: Trouble where nothing lies in the tray.
    """
    tray = open_tray(ordered.desk / "trays", ordered.what["tray"], ordered.request.owner)
    chosen = [Path(path) for path in ordered.what.get("paths", [])]
    if not tray.files() and not chosen:
        raise Trouble("nothing lies in the tray", code="desk.no-file", remedy="put the files into it first")
    with tray.laid_out() as out:
        yield tray, out, [*([out.folder] if out.paths else []), *chosen]


def survey(ordered: Ordered) -> tuple[str, dict[str, Any]]:
    """What is in the tray, file by file. result: {"files": [...]}."""
    with _inputs(ordered) as (_, _, inputs):
        offered = offered_by(ordered.archive)
        watch = {"recognising": "recognising", "looking into": "looking"}
        found = []
        for one in surveyed(inputs, mapping=offered, watch=lambda items, s: ordered.report.through(items, watch[s])):
            found.append({**vars(one), "draft": bool(one.draft)})
            if len(found) % 20 == 0:
                ordered.report.result({"files": found})
    ordered.report.result({"files": found})
    look = any(f["unread"] or f["set_aside"] or f["errors"] for f in found)
    return ("look" if look else "done"), {"files": len(found), "records": sum(f["records"] for f in found)}


def plan(ordered: Ordered) -> tuple[str, dict[str, Any]]:
    """A dry run. result: the plan (see plan.plan_of)."""
    head = ordered.archive.head()
    seen = Handed(ordered)
    with _inputs(ordered) as (_, out, inputs):
        made = _ingested(ordered, out, inputs, seen, dry_run=True)
    found = plan_of(ordered.what, made, head, seen.told(made), _versions(ordered))
    ordered.report.result(found)
    return ("look" if made.look else "done"), {"plan": found["digest"]}


def deposit(ordered: Ordered) -> tuple[str, dict[str, Any]]:
    """The deposit of a plan that was confirmed. Where it comes to something else by now, nothing is deposited, and what
    it would come to is the result: a new plan, to be confirmed anew."""
    former = work_of(ordered.desk / "work", ordered.what["plan"]).result()
    seen, head = Handed(ordered), ordered.archive.head()
    with _inputs(ordered) as (tray, out, inputs):
        if former["versions"] != _versions(ordered):
            made, differs = _ingested(ordered, out, inputs, seen, dry_run=True), True
        else:
            try:
                made = _ingested(ordered, out, inputs, seen, confirmed=former["decided"])
                differs = made.entry is None and made.details.get("decided") != former["decided"]
            except NotAsConfirmed as other:
                made, differs = other.receipt, True
        if differs:
            found = plan_of(ordered.what["former"], made, ordered.archive.head(), seen.told(made), _versions(ordered))
            ordered.report.result(found)
            return "look", {"differs": True, "plan": found["digest"]}
        if made.entry is not None:
            tray.empty()  # its bytes are in the archive
    moved = head.size - former["head"]["size"]
    told = {"deposit": made.entry["deposit"] if made.entry else None, "moved": moved, "counts": made.counts}
    stopped = (ordered.folder / "stop").exists()
    return ("look" if made.look else "done"), {**told, "late_stop": stopped, "archived": made.entry is not None}


def _ingested(
    ordered: Ordered,
    out: LaidOut,
    inputs: list[Path],
    seen: Handed,
    *,
    dry_run: bool = False,
    confirmed: str | None = None,
) -> Receipt:
    what = ordered.what
    facts = DepositFacts(
        job=what["job"], site=what.get("site"), zone=what.get("zone"), by=ordered.request.by, reason=what.get("reason")
    )
    schedule = _schedule(out, what.get("schedule"))
    choices = intake.Choices(
        schedule=schedule,
        schedule_columns=what.get("schedule_columns") or None,
        whole_schedule=bool(what.get("whole_schedule")),
        sign=ordered.sign,
        dry_run=dry_run,
        new=bool(what.get("new")),
        accept_draft=bool(what.get("accept_draft")),
        confirmed=confirmed,
        watch=lambda batches: seen.through(batches, inputs),
    )
    ordered.report.stage("keeping")
    if schedule is not None and len(out.paths) == 1 and len(inputs) == 1:
        inputs = []  # the list of links is all that was handed in
    return intake.ingest(ordered.archive, inputs, facts, choices)


def _schedule(out: LaidOut, number: str | None) -> Path | None:
    """Where the list of links stands. Errors: Trouble where the tray does not hold it."""
    if not number:
        return None
    if number not in out.paths:
        raise Trouble("the list of links lies in the tray no more", code="desk.no-file", remedy="choose it again")
    return out.paths[number]


class Handed:
    """What passes by while a deposit is read: how far it is, links, lines of schedules."""

    def __init__(self, ordered: Ordered) -> None:
        self._ordered = ordered
        self._labels = set[str]()
        self._listed = set[str]()

    def through(self, batches: Iterable[Batch], inputs: list[Path]) -> Iterator[Batch]:
        """Passes the batches on; each is a safe point."""
        report = self._ordered.report
        pace = ReadingPace(inputs)
        report.stage("reading", pace.files, "records")
        for batch in batches:
            self._labels |= {x for x in batch["records"]["link_label"].to_pylist() if x}
            self._listed |= {x for x in batch["schedule"]["link_label"].to_pylist() if x}
            pace.step(batch)
            report.at(pace.records, pace.share or None, files=len(pace.seen))
            yield batch
            report.check()
        report.stage("comparing", pace.records, "records")

    def told(self, made: Receipt) -> dict[str, Any]:
        """Links of the schedule that stay without a test, as far as labels tell."""
        archive, job = self._ordered.archive, self._ordered.what["job"]
        tested = {x.label for x in progress(archive, job).links if x.result.tested} | self._labels
        labels = {row["link_label"] for row in latest_schedule(archive, job).values()}
        for change in made.details.get("schedules", []):
            labels = (labels | set(change["added"])) - set(change["removed"])
        labels |= self._listed
        listed = ScheduledLinks([{**dict.fromkeys(PLACE), "link_label": x, "version": ""} for x in labels])
        found = {listed.label_of(label) for label in tested}
        return {"links": len(self._labels), "scheduled": len(labels), "missing": sorted(labels - found)}


def _versions(ordered: Ordered) -> dict[str, Any]:
    """What a plan rests on beside its inputs and the ledger: program, limit library, mappings of the shelf."""
    offered = offered_by(ordered.archive)
    mappings = sorted(m.digest for m in offered.shelf)
    return {"program": PROGRAM, "limits": limits_version(), "mappings": mappings}


TASKS: Mapping[str, Task] = {"survey": survey, "plan": plan, "deposit": deposit}
"""By kind."""
