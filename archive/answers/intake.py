"""Taking in what is handed in: read, settle, check, grade, deposit."""

from __future__ import annotations

import shlex
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import pyarrow as pa

from archive import schemas
from archive.answers.folder_doubts import check_folders, folder_doubts, settle
from archive.answers.job_memory import remembered
from archive.answers.job_schedule import changes, latest_schedule, revised
from archive.answers.kept_calibrations import KeptCalibrations
from archive.answers.optical_links import OpticalLinks
from archive.answers.shelf import offered_by
from archive.answers.statements import looked_at, looked_at_elsewhere
from archive.answers.submission import Submission
from archive.answers.zone import in_utc, zone
from archive.errors import Trouble
from archive.formats import schedule
from archive.formats.folders import path_text, walk
from archive.formats.mapping.offered import Offered
from archive.formats.reading import Elsewhere, companions
from archive.formats.recognition import Entry
from archive.isolation import ProgramFault, attempt
from archive.limits.any_kind import files_of
from archive.parallel import prefetch
from archive.spread import Here, Workers
from archive.store import Archive, mapping_use
from archive.store.deposits import Deposit, DepositFacts, Receipt
from archive.store.names import plain
from archive.store.records import COUNTED
from archive.tables import Batch, with_id
from archive.tables import schema as columns
from archive.vocabulary.counted import counted

Made = TypeVar("Made")
Pass = Callable[[Iterable[Batch]], Iterable[Batch]]


@dataclass(frozen=True)
class Choices:
    """How to take something in. mapping: mapping files, each of which reads what it recognises; policy: severities and
    tolerances; sign: see store.keys; new: a new job or site is meant, though one that is known has nearly the same
    name; schedule_columns: heading by column of the schedule; whole_schedule: it is all that is to be built;
    accept_draft: what drafts give is accepted, and they go to the archive's shelf; draft: False sets layouts aside that
    nothing known reads; leave_out: files in the folders handed in that are none of it; rereading: what is handed in are
    originals of the archive, read again; confirmed: what a dry run came to, so that nothing else is deposited; folders:
    names of folders, and what each tells of the place of its links (see folder_doubts);
    workers: who reads the files, looks at what is read and grades it."""

    mapping: Path | Sequence[Path] | None = None
    schedule: Path | None = None
    schedule_columns: Mapping[str, str] | None = None
    policy: Any = None
    sign: Any = None
    whole_schedule: bool = False
    dry_run: bool = False
    new: bool = False
    accept_draft: bool = False
    keep_originals: bool = True
    draft: bool = True
    leave_out: Sequence[Path] = ()
    rereading: bool = False
    confirmed: str | None = None
    folders: Sequence[tuple[str, str]] = ()
    workers: Workers = field(default_factory=Here)
    watch: Pass = iter


def ingest(archive: Archive, inputs: Iterable[Path], facts: DepositFacts, choices: Choices | None = None) -> Receipt:
    """Deposits files, folders and zips; the one function that joins the rooms below.

    With dry_run everything is done but the commit, in a temporary folder. Errors: Trouble where nothing of the input
    can be read; nothing is left in the archive then.
    """
    listed, how = [Path(p) for p in inputs], choices or Choices()
    facts = remembered(archive, facts, new=how.new)
    before = latest_schedule(archive, facts.job) if facts.job is not None else {}
    offered = offered_by(archive, how.mapping)
    making = Deposit(archive, facts, how.sign, trial=how.dry_run)
    making.whole_schedule, making.rereading = how.whole_schedule, how.rereading
    making.confirmed = how.confirmed
    try:
        beside = [p for p in (archive.root, *offered.paths, how.schedule, *how.leave_out) if p is not None]
        elsewhere = Elsewhere(how.workers, making.aside.folder) if how.workers.elsewhere else None
        reading = Submission(listed, offered, beside, draft=how.draft, elsewhere=elsewhere)
        found = originals(listed, beside, companions=reading.beside().get)
        names = list(found) if how.keep_originals or how.folders else []
        check_folders(how.folders, (name for _, name in names))
        for path, name in names if how.keep_originals else ():
            making.original(path, name)
        if how.schedule is not None:
            making.original(how.schedule, how.schedule.name, schedule=True)
            making.add(schedule.read(how.schedule, how.schedule_columns, job_id=facts.job))
        ends, kept = OpticalLinks(archive), KeptCalibrations(archive)
        with closing(prefetch(statements(prefetch(reading), facts, how.policy, elsewhere, kept))) as batches:
            for batch in how.watch(batches):
                making.add(ends.add(batch))
        if (across := ends.findings()) is not None:
            making.add(across)
        making.known(reading.again)
        _used(making, offered, reading, accept_draft=how.accept_draft)
        _attach(making, offered, reading.mappings)
        made = making.commit()
    except BaseException:
        making.abandon()
        raise
    if ends.left_out:
        unseen = f"{counted(ends.left_out, 'optical record')} too many to be held against each other; `muniment check`"
        made.details["cautions"] = [*made.details.get("cautions", []), f"{unseen} with --job looks at rules across all"]
    if how.dry_run and making.lines:
        after = revised(before, making.lines, stored_whole=True, declared=how.whole_schedule)
        made.details["schedules"] = [told] if (told := changes(before, after)) else []
    if made.entry is not None:
        deposit, job = made.entry["deposit"], facts.job
        if how.folders:
            said = partial(settle, archive, how.folders, deposits=[deposit], by=facts.by, reason=facts.reason)
            settled_now = said_afterwards(made, lambda: said(sign=how.sign), "what was said of folders")
            made.details["notes"] = [*made.details.get("notes", []), *(settled_now or [])]
        doubts = said_afterwards(made, partial(folder_doubts, archive, deposit), "comparing folders with records")
        if doubts:
            made.details["doubts"] = [d.text for d in doubts]
            made.details["settling"] = doubts[0].settling()
        if facts.site is not None and job is not None:
            made.details["notes"] = [*made.details.get("notes", []), *_of_no_site(archive, job, facts.site)]
        if job is not None:
            changed = said_afterwards(made, lambda: changes(before, latest_schedule(archive, job)), "the schedule")
            made.details["schedules"] = [changed] if changed else []
    return made


def _of_no_site(archive: Archive, job: str, site: str) -> list[str]:
    """That records of a job came before its site was stated: they count as of another place until they have it."""
    (count,) = archive.db.execute(
        f"SELECT count(*) FROM records WHERE job_id = ? AND site IS NULL AND {COUNTED} AND NOT withdrawn", (job,)
    ).fetchone()
    if not count:
        return []
    told = shlex.join(["--job", job, "--set", f"site={site}"])
    return [
        f"{counted(count, 'record')} of this job came before its site was stated, and may be of another place; give it "
        f"with `muniment amend ARCHIVE {told}`"
    ]


def said_afterwards(made: Receipt, asked: Callable[[], Made], what: str) -> Made | None:
    """What is asked of an archive after a deposit was committed. The deposit stands: a failure is said on its receipt,
    and gives None."""
    try:
        found = attempt(asked, what)
    except (Trouble, OSError, sqlite3.Error) as error:
        found = ProgramFault(what, str(error))
    if not isinstance(found, ProgramFault):
        return found
    unsaid = f"the deposit stands; {what}: {found.what}"
    made.details["cautions"] = [*made.details.get("cautions", []), unsaid]
    return None


def statements(
    batches: Iterable[Batch],
    facts: DepositFacts,
    policy: Any = None,
    elsewhere: Elsewhere | None = None,
    kept: KeptCalibrations | None = None,
) -> Iterator[Batch]:
    """Batches settled into their job, with findings, grades and verdicts. elsewhere: who looks at them and grades them,
    if not this process; kept: calibrations that the rules are to look at as well."""
    site = zone(facts.zone) if facts.zone else None
    ready = (in_utc(settled(b, facts), site) if site is not None else settled(b, facts) for b in batches)
    if elsewhere is None:
        yield from (looked_at(batch, policy, kept) for batch in ready)
    else:
        yield from looked_at_elsewhere(ready, policy, elsewhere, kept)


def settled(batch: Batch, facts: DepositFacts) -> Batch:
    """The batch with its job: records that name none get it, and the job's own row is there."""
    if facts.job is None:
        return batch
    batch = _listed(batch, facts.job)
    records, jobs = batch["records"], batch["jobs"]
    filled = records["job_id"].fill_null(facts.job)
    records = records.set_column(records.column_names.index("job_id"), records.schema.field("job_id"), filled)
    row = {"job_id": facts.job, "site": facts.site, "zone": facts.zone}
    if not any(all(j[k] == v for k, v in row.items() if v is not None) for j in jobs.to_pylist()):
        more = pa.table({f.name: pa.array([row.get(f.name)], f.type) for f in columns("jobs")}, schema=columns("jobs"))
        jobs = pa.concat_tables([jobs, more])
    return batch.replace(records=records, jobs=jobs)


def _listed(batch: Batch, job: str) -> Batch:
    """The batch whose lines of a schedule that name no job are of this one."""
    if not batch["schedule"].num_rows or not batch["schedule"]["job_id"].null_count:
        return batch
    rows = [r if r["job_id"] else with_id("schedule", {**r, "job_id": job}) for r in batch["schedule"].to_pylist()]
    return batch.replace(schedule=Batch.from_rows({"schedule": rows})["schedule"])


def originals(
    inputs: Iterable[Path],
    leave_out: Iterable[Path] = (),
    companions: Callable[[Path], list[Path] | None] = companions,
) -> Iterator[tuple[Path, str]]:
    """Every file of the inputs with its path inside what was handed in. leave_out: as for formats.folders.walk.
    companions: tells the files beside a file that are read with it."""
    passed_over = list(leave_out)
    for path in inputs:
        if path.is_dir():
            for unit in walk(path, leave_out=passed_over):
                if isinstance(unit, Entry):
                    yield unit.path, unit.name
        elif path.is_file():  # what is not there, or is a pipe, is reported where it is read
            yield path, path_text(path.name)
            for companion in companions(path) or ():
                yield companion, path_text(companion.relative_to(path.parent).as_posix())


def _used(making: Deposit, offered: Offered, reading: Submission, *, accept_draft: bool) -> None:
    """Says in a deposit how each file was read, and how each mapping came to read it."""
    for file in reading.files:
        told = {k: v for k, v in vars(file).items() if v and k != "path"}
        making.read_files.append({"name": file.path, **told})
    named, shelf = ({m.digest for m in some} for some in (offered.named, offered.shelf))
    drafted = {file.mapping for file in reading.files if file.drafted}
    for digest in reading.mappings:  # those, too, of files that are here already
        making.mapping_use[digest] = (
            mapping_use.NAMED
            if digest in named
            else mapping_use.FROM_SHELF
            if digest in shelf
            else (mapping_use.ACCEPTED if accept_draft else mapping_use.DRAFT)
            if digest in drafted
            else mapping_use.OWN
        )


def _attach(making: Deposit, offered: Offered, read: Mapping[str, bytes]) -> None:
    """What was used goes into the bag as bytes: mappings, and the files of the limits that verdicts name."""
    own_names: dict[str, str] = {}
    for mapping in offered.named:
        own_names.setdefault(mapping.digest, plain(Path(mapping.path).name) if mapping.path else "")
    taken = set[str]()
    for digest in sorted(making.mappings & read.keys()):
        name = own_names.get(digest) or f"{digest[:16]}.toml"
        name = f"{digest[:16]}-{name}" if name.casefold() in taken else name  # one name, where names have no case
        taken.add(name.casefold())
        making.attach(f"mappings/{name}", read[digest])
    if offered.port_map is not None:
        making.attach(f"mappings/port-map-{plain(offered.port_map.name)}", offered.port_map.read_bytes())
    lines = {file for limit in sorted(making.limits) for file in files_of(limit)}
    for line in sorted(lines):
        making.attach(f"limits/{plain(Path(line).name)}", (schemas.root() / "limits" / line).read_bytes())
