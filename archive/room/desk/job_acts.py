"""Acts on jobs and what belongs to them: terms, acceptance, holds, documents, what was set aside."""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import Any

from archive import vocabulary
from archive.answers import setaside
from archive.answers.jobs import facts as job_facts
from archive.answers.jobs import state as state_facts
from archive.answers.known_names import check_job, check_link
from archive.answers.known_names import jobs as known_jobs
from archive.answers.progress import progress
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.desk.acts import Act, ActChoice, ActField, ActRow, Meant, back, command_for
from archive.room.desk.tray import open_tray
from archive.store.catalogue.apply_event import JOB_FACTS
from archive.store.documents import DocumentFacts, attach, programs
from archive.store.events import hold
from archive.store.events.accept import accept_job
from archive.store.events.hold import held, holds

_DAYS = ("work_start", "work_end", "warranty_start", "warranty_end", "retain_until")


def _job_field(asked: PageRequest) -> ActField:
    options = [("", asked.words("choose one")), *((name, name) for name in known_jobs(asked.look.archive))]
    return ActField("job", asked.words("Job"), "select", options, asked.text("job") or "")


def _job(asked: PageRequest) -> str:
    job = asked.text("job")
    if job is None:
        raise Trouble("which job?", code="desk.nothing-chosen", remedy="choose one")
    check_job(asked.look.archive, job)
    return job


def _who(asked: PageRequest) -> dict[str, Any]:
    return {"by": asked.made_by or None, "reason": asked.text("reason"), "sign": asked.sign(asked.look.archive)}


def _terms_choice(asked: PageRequest) -> ActChoice:
    words, job = asked.words, asked.text("job")
    names = {
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
    }
    if job is None:
        return ActChoice([words("Terms of a job: site, zone, limit, warranty.")], [_job_field(asked)], ready=False)
    found = job_facts(asked.look.archive, job)
    now = {name: found.get(name) or words("not stated") for name in JOB_FACTS}
    fields = [
        ActField(
            f"set_{name}",
            words("{what}; now: {value}", what=names[name], value=now[name]),
            "date" if name in _DAYS else "text",
        )
        for name in JOB_FACTS
    ]
    lead = [words("What is left empty is left as it is. The former value stays in the ledger.")]
    return ActChoice(lead, [_job_field(asked)], fields=fields, hidden={"job": job})


def _terms_meant(asked: PageRequest) -> Meant:
    archive, words, job = asked.look.archive, asked.words, _job(asked)
    stated = {name: value for name in JOB_FACTS if (value := asked.text(f"set_{name}")) is not None}
    if not stated:
        raise Trouble("everything is left as it is", code="desk.nothing-chosen", remedy="state what is otherwise")
    found = job_facts(archive, job)
    lines = [
        f"{name.replace('_', ' ')}: {found.get(name) or words('not stated')} \u2192 {value}"
        for name, value in stated.items()
    ]

    def do() -> int | None:
        state_facts(archive, job, [f"{name}={value}" for name, value in stated.items()], **_who(asked))
        return archive.head().size - 1

    return Meant(
        words.counted(len(stated), "{count} term of {job} is stated.", "{count} terms of {job} are stated.", job=job),
        lines,
        words("Progress, claims and warranty days of the job are told by it from then on."),
        do,
        words("Stating the former values again counters it."),
        back(asked, "/look-after/terms", "job"),
    )


def _accept_choice(asked: PageRequest) -> ActChoice:
    words, job = asked.words, asked.text("job")
    lead = [words("A job is accepted as it stood on a day: the latest complete test of each link on or before it.")]
    if job is None:
        return ActChoice(lead, [_job_field(asked)], ready=False)
    lead += progress(asked.look.archive, job).plain()["sums"]
    fields = [ActField("on", words("Day"), "date", value=date.today().isoformat(), required=True)]
    return ActChoice(lead, [_job_field(asked)], fields=fields, hidden={"job": job})


def _accept_meant(asked: PageRequest) -> Meant:
    archive, words, job = asked.look.archive, asked.words, _job(asked)
    try:
        on = date.fromisoformat(asked.text("on") or "")
    except ValueError:
        raise Trouble("not a day", code="desk.nothing-chosen", found=asked.text("on") or "nothing") from None
    if on > date.today():
        raise Trouble(
            "a job cannot be accepted as of a day that is still to come", code="desk.nothing-chosen", found=str(on)
        )
    state = progress(archive, job)
    lines = [f"{name}: {state.counts[name]}" for name in ("tested", "passing", "failing", "not_graded", "missing")]
    return Meant(
        words("{job} is accepted as it stood on {day}.", job=job, day=words.day(on.isoformat())),
        lines,
        words("The accepted records are those of that day; later tests change nothing of it. Counts are of today."),
        lambda: accept_job(archive, job, on, **_who(asked)).number,
        words("Accepting the job as of another day counters it; the latest acceptance counts."),
        back(asked, "/look-after/accept", "job"),
    )


def _hold_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    lead = [words("Nothing of a job under a hold can be redacted or disposed of, until the hold is released.")]
    there = {h["job"] for h in holds(asked.look.archive)}
    rows = [
        ActRow(job, [job, words("under a hold") if job in there else words("not held")], asked.address("/job", job=job))
        for job in known_jobs(asked.look.archive)
    ]
    options = [("", words("leave it as it is")), ("hold", words("put under a hold")), ("release", words("release"))]
    fields = [ActField("action", words("What is done"), "select", options)]
    heads = [words("Job"), words("State")]
    return ActChoice(lead, (), heads, "job", rows, len(rows), fields, ready=bool(rows))


def _hold_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    jobs, action = asked.all("job"), asked.text("action")
    if action not in ("hold", "release") or len(jobs) != 1:
        raise Trouble("one job, and what is done", code="desk.nothing-chosen", remedy="tick one job, and choose")
    job, release = jobs[0], action == "release"
    check_job(archive, job)
    if held(archive, job) != release:
        raise Trouble("it is so already", code="desk.nothing-chosen", found=job)
    return Meant(
        words("The hold on {job} is released.", job=job) if release else words("{job} is put under a hold.", job=job),
        [job],
        words("It can be redacted or disposed of from then on.")
        if release
        else words("Nothing of it can be redacted or disposed of from then on."),
        lambda: hold(archive, job, release=release, **_who(asked)).number,
        words("Putting it under a hold again counters it.") if release else words("Releasing the hold counters it."),
        "/look-after/hold",
    )


def _aside_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    rows = []
    for _, members in setaside.by_cause(
        [r for r in setaside.set_aside(asked.look.archive, asked.text("job")) if not r["settled"]]
    ):
        for r in members:
            at = ", ".join(x for x in (r["path"], r["place"], r["link_label"]) if x)
            why = "; ".join(x for x in (r["reason"], r["found"]) if x)
            rows.append(ActRow(r["key"], [at, why, r["remedy"] or "", r["job"] or "", r["deposit"]]))
    lead = [
        words("What could not be read and is not settled. A thing that is not ticked is left as it is."),
        words("What is a test after all is read again by a better mapping, or handed in anew, and is settled then."),
    ]
    heads = [words("What"), words("Why"), words("What to do"), words("Job"), words("Deposit")]
    return ActChoice(lead, [_job_field(asked)], heads, "key", rows, len(rows), ready=bool(rows))


def _aside_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    keys = asked.all("key")
    rows = {r["key"]: r for r in setaside.set_aside(archive) if not r["settled"]}
    if not keys or any(key not in rows for key in keys):
        raise Trouble("nothing was chosen that is open", code="desk.nothing-chosen", remedy="tick what is no test")
    return Meant(
        words.counted(len(keys), "{count} thing is settled as no test.", "{count} things are settled as no tests."),
        [", ".join(str(x) for x in (rows[k]["path"], rows[k]["place"], rows[k]["link_label"]) if x) for k in keys],
        words("The originals stay in the archive, and it is listed as open no more."),
        lambda: setaside.keep(archive, keys, **_who(asked))[0].number,
        words("Reading it again by a mapping, or handing it in anew, counters it."),
        back(asked, "/look-after/set-aside", "job"),
    )


def _documents_choice(asked: PageRequest) -> ActChoice:
    words, number = asked.words, asked.text("tray")
    lead = [words("Certificates, drawings, photographs and letters are kept with the records of their job.")]
    if number is None:
        return ActChoice(lead, ready=False)
    tray = open_tray(asked.at_desk.trays, number, asked.sign_in.name)
    files = tray.files()
    rows = [ActRow(f.id, [f.name, words.number(f.bytes, 0)]) for f in files]
    kinds = [("", words("choose one")), *((k, words.term(k)) for k in sorted(vocabulary.words("document_kind")))]
    fields = [
        _job_field(asked),
        ActField("link", words("Link, where it is of one"), value=asked.text("link") or ""),
        ActField("kind", words("Kind"), "select", kinds),
        ActField("serial", words("Serial number of the unit that a calibration certificate is of")),
        ActField("title", words("Title"), size=40),
        ActField("valid_from", words("First day for which it speaks"), "date"),
        ActField("valid_until", words("Last day for which it speaks"), "date"),
    ]
    heads = [words("File"), words("Bytes")]
    return ActChoice(lead, (), heads, "file", rows, len(rows), fields, {"tray": tray.id}, ready=bool(rows))


def _documents_meant(asked: PageRequest) -> Meant:
    archive, words, job = asked.look.archive, asked.words, _job(asked)
    tray = open_tray(asked.at_desk.trays, asked.text("tray"), asked.sign_in.name)
    chosen = [tray.file(number) for number in asked.all("file")]
    if not chosen:
        raise Trouble("no file was chosen", code="desk.nothing-chosen", remedy="tick the files that are meant")
    link, kind = asked.text("link"), asked.text("kind") or ""
    if kind not in vocabulary.words("document_kind"):
        raise Trouble("of which kind are they?", code="desk.nothing-chosen", remedy="choose one")
    if link is not None:
        check_link(archive, job, link)
    said = partial(DocumentFacts, job, kind, link, asked.text("serial"), asked.text("title"))
    facts = said(asked.text("valid_from"), asked.text("valid_until"))

    def do() -> int | None:
        with tray.laid_out() as out:
            made = attach(archive, [out.paths[f.id] for f in chosen], facts, **_who(asked))
        for file in chosen:
            tray.remove(file.id)
        if not tray.files():
            tray.empty()
        return None if made.entry is None else made.entry.number

    with tray.laid_out() as out:
        warn = [f"{p}: a program" for p in programs([out.paths[f.id] for f in chosen])]
    return Meant(
        words.counted(
            len(chosen), "{count} document is kept with {job}.", "{count} documents are kept with {job}.", job=job
        ),
        [f"{f.name}, {words.number(f.bytes, 0)} bytes, SHA-256 {f.sha256}" for f in chosen] + warn,
        words("They are handed out as files only, and stand in claim files and books of the job."),
        do,
        words("A document that is kept by mistake is redacted at a terminal, with its reason."),
        "",
    )


def job_acts() -> list[Act]:
    """The acts of this module."""
    return [
        Act(
            "set-aside",
            lambda w: w("Settle what was set aside"),
            "deposit",
            _aside_choice,
            _aside_meant,
            lambda a: command_for("setaside", a.root, "--keep", "PATTERN", "--reason", "TEXT"),
        ),
        Act(
            "terms",
            lambda w: w("State terms of a job"),
            "deposit",
            _terms_choice,
            _terms_meant,
            lambda a: command_for("job", a.root, a.text("job") or "J", "--set", "FIELD=VALUE"),
            reason=False,
        ),
        Act(
            "documents",
            lambda w: w("Keep documents"),
            "deposit",
            _documents_choice,
            _documents_meant,
            lambda a: command_for("attach", a.root, "FILE", "--job", a.text("job") or "J", "--kind", "KIND"),
            reason=False,
        ),
        Act(
            "accept",
            lambda w: w("Accept a job"),
            "manage",
            _accept_choice,
            _accept_meant,
            lambda a: command_for("accept", a.root, "--job", a.text("job") or "J", "--on", "DAY", "--reason", "TEXT"),
        ),
        Act(
            "hold",
            lambda w: w("Hold a job, or release it"),
            "manage",
            _hold_choice,
            _hold_meant,
            lambda a: command_for("hold", a.root, "--job", "J", "--reason", "TEXT"),
        ),
    ]
