"""Every kind of damage over every file of an archive, and after each all questions by a fresh cache and a warm one.

None may answer falsely: an answer is the one of the undamaged archive, or another with a caveat (exit 1), or a refusal
that a person can act on. What is damaged of one job's bags and events costs no answer about another job.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from archive import store
from archive.errors import Caveat, Remark, Trouble
from archive.store.fixity import fixity
from tests.endurance.damage_questions import JOB, OF_ALL, QUESTIONS, Answer, made


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


def damages(folder: Path, most: int | None = None, seed: int = 1, part: tuple[int, int] = (0, 1)) -> dict[str, Any]:
    """Damages one file at a time; most: so many at random, by default every kind on every file. part: which share of
    the cases, and of how many. A promise that is broken is printed at once."""
    warnings.simplefilter("ignore", Remark)
    folder.mkdir(parents=True, exist_ok=True)
    template = made(folder).root
    os.environ["MUNIMENT_CACHE"] = str(folder / "undamaged")
    truth = {name: _said(template, ask) for name, ask in QUESTIONS.items()}
    assert {kind for kind, _ in truth.values()} == {"answer"}, [said for said in truth.values() if said[0] != "answer"]
    names = sorted(p.relative_to(template).as_posix() for p in template.rglob("*") if p.is_file())
    listed = [e for e in store.open(template).entries() if e.get("job") == JOB or e.get("jobs") == [JOB]]
    first = tuple(str(e["path"] if e.kind == "deposit" else f"events/{e['id']}") for e in listed)
    cases = [(name, kind) for name in names for kind in DAMAGES if kind != "stray" or _leads(name, names)]
    cases = random.Random(seed).sample(cases, most or len(cases))[part[0] :: part[1]]
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    for number, (name, kind) in enumerate(cases):
        root, caches = folder / f"case-{number}", [str(folder / f"{which}-{number}") for which in ("warm", "fresh")]
        shutil.copytree(template, root)
        os.environ["MUNIMENT_CACHE"] = caches[0]
        store.open(root).catch_up()
        touched = _damage(root, name, kind, random.Random(f"{seed} {name} {kind}"))
        counts["tried"] += bool(touched)
        # That the last entry is gone shows only against a head held elsewhere: a machine that never saw it cannot know.
        unknowable = kind == "delete" and name == max(n for n in names if n.startswith("ledger/"))
        for asked, what, found in _asked(root, caches[:1] if unknowable else caches, truth) if touched else ():
            counts[what] += 1
            elsewhere = asked.startswith("the other") and all(p.startswith(first) for p in touched)
            whole = asked in OF_ALL and all(p.startswith(("deposits", "events")) for p in touched)
            if what in ("false", "fault") or (what == "refused" and (elsewhere or whole)):
                wrong.append(f"{kind} of {name}: {asked} is {what}: {found}")
                print(wrong[-1], flush=True)
        os.environ["MUNIMENT_CACHE"] = caches[0]
        if touched and fixity(store.open_damaged(root)).sound:
            wrong.append(f"{kind} of {name}: not named by fixity")
            print(wrong[-1], flush=True)
        for left in (root, *map(Path, caches)):
            shutil.rmtree(left, ignore_errors=True)
    assert wrong == [], "\n".join(wrong)
    shutil.rmtree(template)
    kinds = ("tried", "refused", "unaffected", "named", "false", "fault")
    return {"run": "damages", **{kind: counts[kind] for kind in kinds}, "not named": 0}


def _leads(name: str, names: list[str]) -> bool:
    """Whether a file is the first of its folder: a stray file beside the second is the same one again."""
    folder = name.rpartition("/")[0]
    return name == min(n for n in names if n.rpartition("/")[0] == folder)


def _damage(root: Path, name: str, kind: str, draw: random.Random) -> list[str]:
    """Does it; the paths that are touched: none where equal files were swapped."""
    path = root / name
    path.chmod(0o644)
    before = {p: p.read_bytes() for p in root.rglob("*") if p.is_file()}
    DAMAGES[kind](path, draw, [p for p in before if p != path])
    after = {p: p.read_bytes() for p in root.rglob("*") if p.is_file()}
    return [p.relative_to(root).as_posix() for p in before | after if before.get(p) != after.get(p)]


def every_damage(folder: Path) -> dict[str, Any]:
    """Every kind of damage on every file, by as many processes as the machine has cores."""
    parts = os.cpu_count() or 1
    with ProcessPoolExecutor(parts, multiprocessing.get_context("spawn")) as pool:
        runs = [pool.submit(damages, folder / f"part-{n}", part=(n, parts)) for n in range(parts)]
        found = [run.result() for run in runs]
    return {"run": "damages", **{k: sum(one[k] for one in found) for k in found[0] if k != "run"}}


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
        named = any(not issubclass(c.category, Remark) for c in caveats)  # a remark changes no exit code
        return ("named" if named else "answer"), said
    except Trouble as trouble:
        return "refused", str(trouble)
    except Exception as fault:  # noqa: BLE001 - counted
        return "fault", repr(fault)
