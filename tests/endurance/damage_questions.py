"""An archive with some of everything that an answer is made of, and the questions that are asked after a damage."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from archive import store
from archive.answers import cables
from archive.answers.book.gather import gather as gather_book
from archive.answers.claim.gather import gather
from archive.answers.copies import copies
from archive.answers.health.calibrations import units
from archive.answers.health.checks import checks
from archive.answers.history import history
from archive.answers.jobs import facts, state
from archive.answers.link import open_link
from archive.answers.progress import progress
from archive.answers.rates.distributions import CurveChoice, distribution
from archive.answers.rates.rates import rates
from archive.answers.rates.readiness import readiness
from archive.answers.regrade import regrade
from archive.answers.setaside import set_aside
from archive.answers.views import Query
from archive.errors import Caveat
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.store.deposits import receipt
from archive.store.disposal import approve, disposals, due, propose
from archive.store.documents import DocumentFacts, attach, of_job
from archive.store.events import Correction, amend, hold, holds, withdraw
from archive.store.events.accept import accept_job, decide_identity
from archive.store.events.cables import Settlement, settle_cables
from archive.store.events.calibrations import keep_calibrations
from archive.store.events.cases import NOTE, add_step, cases, one_case, open_case
from archive.store.events.redact import of_file, of_name, redact
from archive.store.events.shelve import confirm_mapping
from archive.store.proofs import prove
from archive.store.shelf import shelved
from tests.store.store_making import batch, deposit, rows

JOB, LINK = "HARBOUR-2019-04", "1A-A01"
OTHER_JOB, OTHER_LINK = "MOLE-2020-01", "B-1"
OLD_JOB, TODAY = "OLD-2009", datetime(2026, 12, 1, tzinfo=UTC)

Answer = Callable[[Archive], Any]


def made(folder: Path) -> Archive:
    """An archive with some of everything that an answer is made of."""
    archive = store.create(folder / "archive")
    export, letter, crew = folder / "export.csv", folder / "letter.txt", folder / "crew.txt"
    export.write_text("invented,cells\n")
    letter.write_text("An invented letter.\n")
    crew.write_text("Invented names of a crew.\n")
    originals = [(export, export.name), (crew, crew.name)]
    tests = batch(rows(LINK), rows("1A-A02", place="row 3", shift=1), rows("1A-A03", place="row 4", shift=4))
    one = deposit(archive, tests, originals=originals)
    two = deposit(archive, batch(rows(LINK, time="2019-03-06T09:00", source="b" * 64, shift=2)), by="S. Wexcombe")
    assert one.entry is not None
    assert two.entry is not None
    first, second = one.entry["deposit"], two.entry["deposit"]
    deposit(archive, batch(rows(OTHER_LINK, source="c" * 64, shift=3)), job=OTHER_JOB, site="Mole End")
    amend(archive, [Correction(f"{first}/1", "site", "West")], by="R. Ostrander", reason="renamed")
    state(archive, JOB, ["warranty_end=2044-04-30", "contractor=Tern Cabling"], by="R. Ostrander")
    attach(archive, [letter], DocumentFacts(JOB, "letter"), by="R. Ostrander")
    regrade(archive, Filters(), against=["tia-568.2-d/cat6/permanent-link"], by="R. Ostrander", reason="asked")
    redact(archive, of_name(archive, "S. Wexcombe"), by="R. Ostrander", reason="asked for")
    redact(archive, of_file(archive, f"{one.entry['path']}/data/originals.zip: crew.txt"), by=None, reason="asked for")
    _later(archive, first, second)
    hold(archive, JOB, release=False, by="R. Ostrander", reason="claim")
    return archive


def _later(archive: Archive, first: str, second: str) -> None:
    """What happens to certified links over the years: decisions, cases, and the end of another job's retention."""
    accept_job(archive, OTHER_JOB, date(2020, 2, 1), by="R. Ostrander", reason="minutes")
    settle_cables(archive, [Settlement("drum 7", "cat6/u-utp/awg23/solid")], by="R. Ostrander", reason="read off")
    said = {"name": "C-1", "link_label": LINK, "job_id": JOB, "text": "an invented complaint"}
    open_case(archive, f"{first}/0", said, by="R. Ostrander", reason="a letter")
    add_step(archive, one_case(archive, "C-1"), NOTE, {"text": "looked at"}, by="R. Ostrander", reason="visit")
    told = [{"serial": "40-00317", "calibrated_on": "2019-01-07", "valid_until": "2020-01-07"}]
    keep_calibrations(archive, Path("units.csv"), b"invented\n", told, by="R. Ostrander", reason=None)
    confirm_mapping(archive, b'[mapping]\nlayout = "lines"\n', by="R. Ostrander", reason="compared")
    decide_identity(archive, [(f"{first}/0", f"{second}/0")], same=True, by="R. Ostrander", reason="looked at")
    withdraw(archive, records=[f"{first}/2"], by="R. Ostrander", reason="a typing error")
    deposit(archive, batch(rows("OLD-1", source="f" * 64, time="2009-03-06T09:00")), job=OLD_JOB)
    state(archive, OLD_JOB, ["retain_until=2019-12-31"], by="R. Ostrander")
    propose(archive, OLD_JOB, TODAY.date(), by="R. Ostrander", reason="its time is over")
    approve(archive, OLD_JOB, TODAY.date(), by="S. Wexcombe", reason="its time is over")


def _first(archive: Archive) -> str:
    return str(next(e["deposit"] for e in archive.entries() if e.kind == "deposit"))


def claim_facts(archive: Archive, link: str) -> Any:
    said, originals = gather(archive, link)
    for t in said.tests:
        if t.original.why == "damaged":  # the claim says so on its first page, and ends with 1
            warnings.warn(t.original.said, Caveat, stacklevel=1)
    tests = [(t.digest, t.state, t.deposited_by, [(s.by, s.verdict, s.grades) for s in t.stated]) for t in said.tests]
    return [tests, said.history, said.documents, said.job, said.why, said.cautions, sorted(originals.items())]


QUESTIONS: dict[str, Answer] = {
    "find": lambda a: [a.catch_up(), [dict(r) for r in find(a.db, Filters())]][1],
    "history": lambda a: [history(a, open_link(a, label)) for label in (LINK, "1A-A02", "1A-A03")],
    "job": lambda a: facts(a, JOB),
    "documents": lambda a: of_job(a, JOB),
    "holds": holds,
    "receipt": lambda a: [receipt(a, e["deposit"]).plain() for e in a.entries() if e.kind == "deposit"],
    "proof": lambda a: {k: v for k, v in prove(a, a.address(f"{_first(a)}/0")).items() if k != "made"},
    "claim": lambda a: claim_facts(a, LINK),
    "progress": lambda a: progress(a, JOB).plain(),
    "set aside": set_aside,
    "rates": lambda a: rates(a, ["job"]).plain(),
    "curves": lambda a: [s.records for s in distribution(a, CurveChoice("next")).spreads],
    "sql": lambda a: _rows(a, "SELECT deposit, position, link_label FROM records ORDER BY ALL"),
    "sql of curves": lambda a: _rows(a, "SELECT * EXCLUDE deposit FROM sweeps ORDER BY ALL"),
    "cases": lambda a: [c.plain() for c in cases(a)],
    "calibrations": lambda a: [u.plain() for u in units(a, TODAY.date(), 30)],
    "mappings": lambda a: [vars(m) for m in shelved(a)],
    "cables": cables.listed,
    "copies": lambda a: [vars(p) for p in copies(a, Filters()).pairs],
    "ready": lambda a: readiness(a, ["10gbase-t"], ["job"]).rows,
    "due": lambda a: [j.plain() for j in due(a, TODAY.date())],
    "disposals": lambda a: [(d.job, d.proposed_by, d.approved_by, d.approved_reason) for d in disposals(a)],
    "health": lambda a: [c.plain() for c in checks(a, TODAY)],
    "book": lambda a: _book(a, JOB),
    "the other book": lambda a: _book(a, OTHER_JOB),
    "the other link": lambda a: history(a, open_link(a, OTHER_LINK)),
    "the other job": lambda a: [facts(a, OTHER_JOB), progress(a, OTHER_JOB).plain()],
    "the other claim": lambda a: claim_facts(a, OTHER_LINK),
}
OF_ALL = (
    *("find", "set aside", "rates", "curves", "sql", "sql of curves", "cases", "calibrations"),
    *("cables", "copies", "ready", "due", "health"),
)
"""What is asked of the whole archive: answered, and named, whatever one bag or event lacks."""


def _book(archive: Archive, job: str) -> Any:
    """All that a book says but its name of the archive, with each link's verdicts and curves."""
    told = dict(vars(gather_book(archive, job)))
    links, verdicts, read = (told.pop(name) for name in ("links", "result", "records"))
    made = [{**vars(x), "link": x.label, "record": dict(x.record), **vars(verdicts(x))} for x in links]
    held = [(x.label, t.digest, t.state, t.deposited_by, t.original) for x, t in read(links)]
    return [told, made, held]


def _rows(archive: Archive, sql: str) -> list[Any]:
    with Query(archive, sql) as query:
        return list(query.rows())
