"""Every kind of damage over every file of an archive, and after each all questions by a fresh cache and a warm one.

None may answer falsely: an answer is the one of the undamaged archive, or another with a caveat (exit 1), or a refusal
that a person can act on. What is damaged of one job's bags and events costs no answer about another job.
"""

from __future__ import annotations

import os
import random
import shutil
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from archive import store
from archive.answers.claim.gather import gather
from archive.answers.history import history
from archive.answers.jobs import facts, state
from archive.answers.link import open_link
from archive.answers.progress import progress
from archive.answers.rates.distributions import CurveChoice, distribution
from archive.answers.rates.rates import rates
from archive.answers.regrade import regrade
from archive.answers.setaside import set_aside
from archive.answers.views import Query
from archive.errors import Caveat, Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.store.deposits import receipt
from archive.store.documents import DocumentFacts, attach, of_job
from archive.store.events import Correction, amend, hold, holds
from archive.store.events.redact import of_name, redact
from archive.store.fixity import fixity
from archive.store.proofs import prove
from tests.store.store_making import batch, deposit, rows

JOB, LINK = "HARBOUR-2019-04", "1A-A01"
OTHER_JOB, OTHER_LINK = "MOLE-2020-01", "B-1"

Answer = Callable[[Archive], Any]


def made(folder: Path) -> Archive:
    """An archive with some of everything that an answer is made of."""
    archive = store.create(folder / "archive")
    export, letter = folder / "export.csv", folder / "letter.txt"
    export.write_text("invented,cells\n")
    letter.write_text("An invented letter.\n")
    one = deposit(archive, batch(rows(LINK), rows("1A-A02", place="row 3", shift=1)), originals=[(export, export.name)])
    deposit(archive, batch(rows(LINK, time="2019-03-06T09:00", source="b" * 64, shift=2)), by="S. Wexcombe")
    assert one.entry is not None
    deposit(archive, batch(rows(OTHER_LINK, source="c" * 64, shift=3)), job=OTHER_JOB, site="Mole End")
    amend(archive, [Correction(f"{one.entry['deposit']}/1", "site", "West")], by="R. Ostrander", reason="renamed")
    state(archive, JOB, ["warranty_end=2044-04-30", "contractor=Tern Cabling"], by="R. Ostrander")
    attach(archive, [letter], DocumentFacts(JOB, "letter"), by="R. Ostrander")
    regrade(archive, Filters(), against=["tia-568.2-d/cat6/permanent-link"], by="R. Ostrander", reason="asked")
    redact(archive, of_name(archive, "S. Wexcombe"), by="R. Ostrander", reason="asked for")
    hold(archive, JOB, release=False, by="R. Ostrander", reason="claim")
    return archive


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
    "history": lambda a: [history(a, open_link(a, label)) for label in (LINK, "1A-A02")],
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
    "the other link": lambda a: history(a, open_link(a, OTHER_LINK)),
    "the other job": lambda a: [facts(a, OTHER_JOB), progress(a, OTHER_JOB).plain()],
    "the other claim": lambda a: claim_facts(a, OTHER_LINK),
}
OF_ALL = ("find", "set aside", "rates", "curves", "sql", "sql of curves")
"""What is asked of the whole archive: answered, and named, whatever one bag or event lacks."""


def _rows(archive: Archive, sql: str) -> list[Any]:
    with Query(archive, sql) as query:
        return list(query.rows())


def _bit(path: Path, draw: random.Random, _others: list[Path]) -> None:
    data = bytearray(path.read_bytes())
    data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
    path.write_bytes(data)


def _byte(path: Path, draw: random.Random, _others: list[Path]) -> None:
    data = bytearray(path.read_bytes())
    at = draw.randrange(len(data))
    data[at] = (data[at] + draw.randrange(1, 256)) % 256
    path.write_bytes(data)


def _swap(path: Path, draw: random.Random, others: list[Path]) -> None:
    other = draw.choice([p for p in others if p.suffix == path.suffix and p != path] or others)
    one, two = path.read_bytes(), other.read_bytes()
    path.write_bytes(two)
    other.chmod(0o644)
    other.write_bytes(one)


def _zeros(path: Path, draw: random.Random, _others: list[Path]) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2] + bytes(len(data) - len(data) // 2))


DAMAGES: dict[str, Callable[[Path, random.Random, list[Path]], Any]] = {
    "bit": _bit,
    "byte": _byte,
    "cut": lambda path, draw, _: path.write_bytes(path.read_bytes()[: -draw.randrange(1, path.stat().st_size)]),
    "empty": lambda path, _draw, _: path.write_bytes(b""),
    "zeros": _zeros,
    "append": lambda path, _draw, _: path.write_bytes(path.read_bytes() + b"x"),
    "delete": lambda path, _draw, _: path.unlink(),
    "swap": _swap,
    "duplicate": lambda path, _draw, _: shutil.copy(path, path.with_name(f"{path.stem}-2{path.suffix}")),
    "stray": lambda path, _draw, _: path.with_name("stray.txt").write_text("x"),
}


def damages(folder: Path, most: int | None = None, seed: int = 1) -> dict[str, Any]:
    """Damages one file at a time; most: so many at random, by default every kind on every file."""
    draw = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    template = made(folder).root
    os.environ["MUNIMENT_CACHE"] = str(folder / "undamaged")
    truth = {name: _said(template, ask) for name, ask in QUESTIONS.items()}
    assert {kind for kind, _ in truth.values()} == {"answer"}, [said for said in truth.values() if said[0] != "answer"]
    names = sorted(p.relative_to(template).as_posix() for p in template.rglob("*") if p.is_file())
    listed = [e for e in store.open(template).entries() if e.get("job") == JOB or e.get("jobs") == [JOB]]
    first = tuple(str(e["path"] if e.kind == "deposit" else f"events/{e['id']}") for e in listed)
    last = max(name for name in names if name.startswith("ledger/"))
    cases = [(name, kind) for name in names for kind in DAMAGES]
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    for number, (name, kind) in enumerate(draw.sample(cases, most) if most else cases):
        root = folder / f"case-{number}"
        shutil.copytree(template, root)
        os.environ["MUNIMENT_CACHE"] = str(folder / f"warm-{number}")
        store.open(root).catch_up()
        path = root / name
        path.chmod(0o644)
        before = {p: p.read_bytes() for p in root.rglob("*") if p.is_file()}
        DAMAGES[kind](path, draw, [p for p in before if p != path])
        after = {p: p.read_bytes() for p in root.rglob("*") if p.is_file()}
        touched = [p.relative_to(root).as_posix() for p in before | after if before.get(p) != after.get(p)]
        if not touched:
            continue  # equal files were swapped
        counts["tried"] += 1
        warm, fresh = (str(folder / f"{which}-{number}") for which in ("warm", "fresh"))
        # That the last entry is gone shows only against a head held elsewhere: a machine that never saw it cannot know.
        unknowable = (name, kind) == (last, "delete")
        caches = [warm] if unknowable else [warm, fresh]
        for asked, what, found in _asked(root, caches, truth):
            counts[what] += 1
            elsewhere = asked.startswith("the other") and all(p.startswith(first) for p in touched)
            whole = asked in OF_ALL and all(p.startswith(("deposits", "events")) for p in touched)
            if what in ("false", "fault") or (what == "refused" and (elsewhere or whole)):
                wrong.append(f"{kind} of {name}: {asked} is {what}: {found}")
        os.environ["MUNIMENT_CACHE"] = warm
        if fixity(store.open_damaged(root)).sound:
            wrong.append(f"{kind} of {name}: not named by fixity")
        for left in (root, folder / f"warm-{number}", folder / f"fresh-{number}"):
            shutil.rmtree(left, ignore_errors=True)
    assert wrong == [], "\n".join(wrong)
    shutil.rmtree(template)
    kinds = ("tried", "refused", "unaffected", "named", "false", "fault")
    return {"run": "damages", **{kind: counts[kind] for kind in kinds}, "not named": 0}


def _asked(root: Path, caches: list[str], truth: dict[str, tuple[str, Any]]) -> Iterator[tuple[str, str, str]]:
    """For each question by each cache: unaffected, named (another answer, with a caveat), refused, false or fault, and
    what it said."""
    for cache in caches:
        os.environ["MUNIMENT_CACHE"] = cache
        for name, ask in QUESTIONS.items():
            kind, found = _said(root, ask)
            if kind in ("answer", "named") and found == truth[name][1]:
                kind = "unaffected"
            kind = "false" if kind == "answer" else kind
            yield name, kind, str(found)[:300]


def _said(root: Path, ask: Answer) -> tuple[str, Any]:
    try:
        with warnings.catch_warnings(record=True) as caveats:
            warnings.simplefilter("always", Caveat)
            said = ask(store.open(root))
        return ("named" if caveats else "answer"), said
    except Trouble as trouble:
        return "refused", str(trouble)
    except Exception as fault:  # noqa: BLE001 - counted
        return "fault", repr(fault)
