"""Which links carry an application, which do not, and of which it cannot be told and why: from the stored records.

Nothing is committed: the records are graded against the application as `muniment grade --application` does it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import product
from typing import Any

import numpy as np

from archive import grading, limits
from archive.answers.archive_files import archive_names
from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import JobCounts
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.rates import about
from archive.answers.rates.regraded import answer_from_regrading
from archive.answers.rates.source import Choice, CountingSource, grouped
from archive.errors import Trouble
from archive.grading.resolve_limit import asked_for
from archive.limits import fiber
from archive.spread import Workforce
from archive.store import Archive
from archive.store.assessments import RecordsToGrade, graded, records_to_grade
from archive.store.checked_files import DamagedFile, tell_passed_over
from archive.store.counting.columns import BITS
from archive.store.kept_work import BagWork
from archive.store.records import split_address
from archive.tables import Batch
from archive.vocabulary.counted import counted

CARRY, DO_NOT, CANNOT = "carry", "do_not", "cannot_be_told"
_NEARLY_ALL = 0.9
_OUTCOMES = {"pass": CARRY, "fail": DO_NOT}
_NO_LIMIT = "limit not established"
_NOT_READ = "its deposit cannot be read"
_REMARKS = ("judged as", "limit not established for", "measured as")
"""Parts of a reason that say how an answer was reached, and do not stand in the way of one."""


@dataclass(frozen=True)
class Readiness:
    """What was found. rows: one per group and application: the fields, application, links (of the medium it is for),
    carry, do_not, cannot_be_told, provisional (answers that rest on lines from memory), reasons (of what cannot be
    told, with their numbers), low and high (shares that carry, if all that cannot be told did not, or did), rate_links,
    rate, rate_low, rate_high: of links with evidence of a kind by which nearly all can be told (by worst points alone
    only fails can), with the interval of the rate at which such jobs carry it. to_measure, not_known: by application,
    what would have to be measured to tell more, and what no measurement can tell, each with its links."""

    fields: Sequence[GroupField]
    rows: list[dict[str, Any]]
    to_measure: dict[str, list[str]]
    not_known: dict[str, list[str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    about: str = ""

    @property
    def columns(self) -> dict[str, Any]:
        """Of the table, also where it has no row, each with a value of its kind."""
        numbers = dict.fromkeys(("links", CARRY, DO_NOT, CANNOT, "provisional"), 0)
        shares = {"low": 0.0, "high": 0.0, "rate_links": 0, "rate": 0.0, "rate_low": 0.0, "rate_high": 0.0}
        return {f.name: f.example for f in self.fields} | {"application": ""} | numbers | {"reasons": [""]} | shares

    @property
    def table(self) -> list[dict[str, Any]]:
        """The rows with their reasons as a list of texts."""
        return [{**r, "reasons": [f"{n}: {w}" for w, n in r["reasons"].items()]} for r in self.rows]

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        lists = {"to_measure": self.to_measure, "not_known": self.not_known}
        return {"rows": self.rows, **lists, "notes": self.notes, "about": self.about}


@dataclass(frozen=True)
class _LinkTest:
    """The record that decides for a link, at an address of an archive. link: its number; key: of its group; day: of the
    test."""

    archive: str
    address: str
    link: str
    key: tuple[Any, ...]
    job: str
    medium: str
    evidence: str
    day: str


_Verdicts = dict[tuple[str, str, str], tuple[str, str, bool]]
"""Verdict, reason and whether it is provisional, by archive, address and application."""


def readiness(
    archives: Archive | Sequence[Archive],
    applications: Iterable[str],
    by: Iterable[str] = (),
    choice: Choice | None = None,
    *,
    cords: float | None = None,
    force: Workforce | None = None,
) -> Readiness:
    """Links that carry each application, by group; a link counts once, whatever limits it was tested to. Several
    archives are asked as one.

    cords: of both ends of a permanent link together, m; None: the standard's allowance. force: who grades the records.
    Errors: Trouble for an application, field or value that there is not, or a damaged archive.
    """
    choice = choice or Choice()
    asked = asked_for([], list(applications), {})
    ids = [limit.id for limit in (*asked.curves, *asked.optical)]
    fields = chosen(by, choice.length_edges)
    if any(f.name == "parameter" for f in fields):
        raise Trouble("readiness is of whole links", code="rates.not-a-filter", remedy="leave parameter out of --by")
    source = CountingSource.of(archives)
    regraded = answer_from_regrading(source, archives, choice)
    source.refuse_unknown(choice)
    tests = _tests(source, choice, fields)
    verdicts = _verdicts(archives, tests, _Applications(tuple(ids), cords), force or Workforce())
    rows = []
    for key in _keys(tests):
        here = [t for t in tests if t.key == key]
        for application in ids:
            of_medium = [t for t in here if (t.medium == "fiber") == fiber.known(application)]
            if of_medium:
                named = {f.name: f.shown(v) for f, v in zip(fields, key, strict=True)}
                rows.append({**named, **_row(application, of_medium, verdicts)})
    notes = [*(f"of the records chosen by --limit: {n}" for n in regraded), *_notes(tests, ids, rows)]
    advice = {_short(a): _advice([r for r in rows if r["application"] == _short(a)]) for a in ids}
    to_measure, not_known = ({a: lists[i] for a, lists in advice.items()} for i in (0, 1))
    return Readiness(fields, rows, to_measure, not_known, notes, about(source, choice))


def _short(application: str) -> str:
    return application.removeprefix("ieee-802.3/")


def _tests(source: CountingSource, choice: Choice, fields: Sequence[GroupField]) -> list[_LinkTest]:
    if not source.files.records:
        return []
    columns, _ = grouped(fields)
    where, values = choice.where()
    rows = source.rows(
        f"SELECT {columns}r.archive, r.deposit || '/' || r.position, "
        "r.archive || '/' || coalesce(r.link, CAST(r.unit AS VARCHAR)), "
        f"coalesce({source.job}, ''), coalesce(r.medium, 'copper'), coalesce(r.evidence, ''), "
        "coalesce(r.tested_local, r.tested_at, '') FROM "
        f"{source.records} r WHERE {where} AND {choice.state} & {BITS['current']} > 0 ORDER BY r.row",
        values,
    )
    n = len(fields)
    return [_LinkTest(r[n], r[n + 1], r[n + 2], tuple(r[:n]), *r[n + 3 :]) for r in rows]


def _keys(tests: Sequence[_LinkTest]) -> list[tuple[Any, ...]]:
    return sorted({t.key for t in tests}, key=lambda k: tuple((v is None, v) for v in k))


@dataclass(frozen=True)
class _Applications:
    """What the records are graded against."""

    applications: tuple[str, ...]
    cords_m: float | None


def _verdicts(
    archives: Archive | Sequence[Archive],
    tests: Sequence[_LinkTest],
    asked: _Applications,
    force: Workforce,
) -> _Verdicts:
    """What each test came to."""
    listed = [archives] if isinstance(archives, Archive) else list(archives)
    found: _Verdicts = {}
    for name, archive in zip(archive_names(listed), listed, strict=True):
        of: dict[str, list[str]] = {}
        for test in (t for t in tests if t.archive == name):
            of.setdefault(split_address(test.address)[0], []).append(test.address)
        damaged: dict[str, str] = {}
        pieces = []
        for deposit, addresses in of.items():
            try:
                pieces += records_to_grade(archive, addresses, asked)
            except DamagedFile as lost:
                damaged[deposit] = lost.path
        work = BagWork(archive.id, force, "ready", _graded, pieces, lambda piece: piece.deposit)
        for piece, rows in work.sure():
            if isinstance(rows, str):
                damaged[piece.deposit] = rows
                continue
            for address, limit, verdict, reason, provisional in rows:
                found[name, address, limit] = verdict, reason or "", bool(provisional)
        for deposit, path in damaged.items():
            tell_passed_over(deposit, path, "of its records it cannot be told")
            keys = product((name,), of[deposit], asked.applications)
            found.update(dict.fromkeys(keys, ("not graded", _NOT_READ, False)))
    return found


_WANTED = ["address", "limit_id", "verdict", "reason", "provisional"]


def _graded(piece: RecordsToGrade) -> list[tuple[Any, ...]] | str:
    """The columns _WANTED of the verdicts of a piece, wherever this runs; the path of a file that is damaged."""
    found: list[tuple[Any, ...]] = []
    try:
        for part in graded(piece, partial(_against, asked=piece.said)):
            found += zip(*(part["verdicts"][name].to_pylist() for name in _WANTED), strict=True)
    except DamagedFile as lost:
        return lost.path
    return found


def _against(batch: Batch, asked: _Applications) -> Batch:
    return grading.grade(batch, [], list(asked.applications), cords_m=asked.cords_m)


def _row(application: str, tests: Sequence[_LinkTest], verdicts: _Verdicts) -> dict[str, Any]:
    """One link by the latest of its records that tells, else by the latest."""
    nothing = ("not graded", "not graded", False)
    deciding: dict[str, tuple[_LinkTest, tuple[str, str, bool]]] = {}
    for test in sorted(tests, key=lambda t: t.day):
        said = verdicts.get((test.archive, test.address, application), nothing)
        if said[0] in _OUTCOMES or deciding.get(test.link, (test, nothing))[1][0] not in _OUTCOMES:
            deciding[test.link] = (test, said)
    outcome = {link: _OUTCOMES.get(said[0], CANNOT) for link, (_, said) in deciding.items()}
    number = Counter(outcome.values())
    known = _established(application)
    reasons = Counter(
        _why(said[1]) if known else _NO_LIMIT for link, (_, said) in deciding.items() if outcome[link] == CANNOT
    )
    links = len(deciding)
    rate = _rate([(t, outcome[link]) for link, (t, _) in deciding.items()])
    return {
        "application": _short(application),
        "links": links,
        CARRY: number[CARRY],
        DO_NOT: number[DO_NOT],
        CANNOT: number[CANNOT],
        "provisional": sum(said[2] and outcome[link] != CANNOT for link, (_, said) in deciding.items()),
        "reasons": dict(reasons.most_common()),
        "low": number[CARRY] / links,
        "high": (number[CARRY] + number[CANNOT]) / links,
        **rate,
    }


def _established(application: str) -> bool:
    """Whether anything can be told of it at all."""
    if fiber.known(application):
        return True
    limit = limits.get(application)
    return bool(limit.lines or limit.scalars)


def _rate(links: Sequence[tuple[_LinkTest, str]]) -> dict[str, Any]:
    """Share that carries, of links with evidence by which at least _NEARLY_ALL can be told."""
    told: list[tuple[str, bool]] = []
    for evidence in {t.evidence for t, _ in links}:
        here = [(t, outcome) for t, outcome in links if t.evidence == evidence]
        some = [(t.job, outcome == CARRY) for t, outcome in here if outcome != CANNOT]
        told += some if len(some) >= _NEARLY_ALL * len(here) else []
    if not told:
        return {"rate_links": 0, "rate": None, "rate_low": None, "rate_high": None}
    jobs = {job: i for i, job in enumerate(sorted({job for job, _ in told}))}
    at = np.array([jobs[job] for job, _ in told])
    n, x = np.bincount(at), np.bincount(at, [float(carries) for _, carries in told])
    made = of_jobs.intervals(JobCounts.of(np.zeros(len(n), np.int64), n, x, 1))
    ends = {"rate_low": float(made.low[0]), "rate_high": float(made.high[0])}
    return {"rate_links": len(told), "rate": float(x.sum() / n.sum()), **ends}


def _why(reason: str) -> str:
    """The part of a reason that stands in the way, with the parameters of one kind of it left together."""
    parts = [p.strip() for p in reason.split(";") if not p.strip().startswith(_REMARKS)]
    if any("worst points only" in p for p in parts):
        return "worst points only, no curves"
    absent = [p.removesuffix(": not there") for p in parts if p.endswith(": not there")]
    if absent:
        return f"not measured: {', '.join(absent)}"
    return parts[0] if parts else reason or "not graded"


_NEEDED = (
    ("worst points only", "whole curves: a test that stores every point"),
    ("verdict", "whole curves: a test that stores every point"),
    ("no measurements", "what the limits of the application ask for: the record holds nothing of it"),
    ("not measured", "what is named as not measured"),
    (_NOT_READ, "nothing again, but mend the archive: `muniment fixity` names what is damaged"),
    (r"covers|gap", "a sweep over the whole range of the application"),
    ("cords", "the channel, with its cords"),
    ("class of fibre is not known", "nothing again, but state the class of the fibre"),
)
_NOT_KNOWN = re.compile(rf"^{_NO_LIMIT}|^no bounds for .* are known$")
"""Reasons that no measurement takes away: the limits are not known here."""


def _advice(rows: Sequence[dict[str, Any]]) -> tuple[list[str], list[str]]:
    """What would have to be measured so that it can be told, and what no measurement can tell, by the number of links
    that it concerns."""
    to_measure: Counter[str] = Counter()
    not_known: Counter[str] = Counter()
    for row in rows:
        for reason, links in row["reasons"].items():
            if _NOT_KNOWN.search(reason):
                not_known[reason] += links
                continue
            other = f"again, so that this does not stand in the way: {reason}"
            to_measure[next((words for pattern, words in _NEEDED if re.search(pattern, reason)), other)] += links
    return _listed(to_measure), _listed(not_known)


def _listed(number: Counter[str]) -> list[str]:
    return [f"{words} ({links} link{'s' * (links != 1)})" for words, links in number.most_common()]


def _notes(tests: Sequence[_LinkTest], ids: Sequence[str], rows: Sequence[dict[str, Any]]) -> list[str]:
    out = []
    of = Counter(t.medium for t in {t.link: t for t in tests}.values())
    kinds = {"fiber" if fiber.known(a) else "copper" for a in ids}
    for medium, number in of.items():
        if medium not in kinds:
            out.append(f"{counted(number, 'link')} of {medium} left out: no application that was asked for is for it")
    memory = sum(r["provisional"] for r in rows)
    if memory:
        out.append(f"{counted(memory, 'answer')} provisional, resting on lines from memory or on gaps in a sweep")
    return out
