"""Long runs of the archive: programs killed at random instants, many writers at once, bits flipped in a large archive.

Each run gives figures and asserts the promises: before or after, healed by itself, no committed record lost, nothing
doubled, no half seen, every damage named.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
import signal
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from archive import store
from archive.errors import Trouble
from archive.store import Archive
from archive.store.copies import export, repair
from archive.store.fixity import fixity
from archive.store.heads import not_continued, read_heads, sound_chain
from tests.endurance.store_work import WORK, Task, started


@dataclass
class Acknowledged:
    """What programs were told is done: deposits with their number of records, numbers of entries, and heads (size and
    root) that a witness remembers."""

    deposits: dict[str, int] = field(default_factory=dict)
    entries: set[int] = field(default_factory=set)
    heads: list[tuple[int, str]] = field(default_factory=list)

    def take(self, text: str) -> None:
        """Reads a program's lines; the last may be cut off."""
        for line in text.split("\n")[:-1]:
            word, *rest = line.split()
            if word == "deposit":
                self.deposits[rest[0]] = int(rest[1])
            elif word == "witness":
                self.heads.append((int(rest[0]), rest[1]))
            elif word not in ("ready", "export", "reindex", "repair"):
                self.entries.add(int(rest[0]))

    def missing(self, archive: Archive) -> list[str]:
        """What was acknowledged and is not in the archive."""
        there = {e["deposit"]: int(e["records"]) for e in archive.entries() if e.kind == "deposit"}
        numbers = {e.number for e in archive.entries()}
        lost = [d for d, n in self.deposits.items() if there.get(d) != n]
        return lost + [str(n) for n in sorted(self.entries - numbers)]


_PROCESSES = multiprocessing.get_context("forkserver")
_PROCESSES.set_forkserver_preload(["__main__", "tests.endurance.store_work"])


class Program:
    """A process that works until it is killed. It is forked from one that has read the modules already, so that most of
    its time is spent on the archive. warm: it says that it is ready once one piece of work is done; disk: on what kind
    of disk it believes the archive to be (store_disks.DISKS)."""

    def __init__(self, kind: str, root: Path, seed: object, *, warm: bool = False, disk: str = "links") -> None:
        pipes = [_PROCESSES.Pipe(duplex=False) for _ in range(2)]
        user = {name: value for name, value in os.environ.items() if name.startswith("MUNIMENT_")}
        its = [theirs for _, theirs in pipes]
        task = Task(kind, str(root), str(seed), warm, disk, user)
        self._process = _PROCESSES.Process(target=started, args=(its, task))
        self._process.start()
        for pipe in its:
            pipe.close()
        self.stdout, self._stderr = (os.fdopen(os.dup(ours.fileno()), encoding="utf-8") for ours, _ in pipes)

    def send_signal(self, number: signal.Signals) -> None:
        """Sends a signal to it."""
        assert self._process.pid is not None
        os.kill(self._process.pid, number)

    def communicate(self) -> tuple[str, str]:
        """Waits for its end; what it wrote to its standard output and standard error."""
        with self.stdout as out, self._stderr as err:
            told = out.read(), err.read()
        self._process.join()
        return told


def sound(archive: Archive, depth: str = "digest") -> None:
    """Asserts that everything is as it should be, and nothing is doubled."""
    report = fixity(store.open(archive.root), depth)
    assert report.sound, report.damaged
    again = store.open(archive.root)
    again.catch_up()
    doubled = again.db.execute(
        "SELECT content, count(*) FROM records WHERE kind NOT IN ('same_file', 'same_content') "
        "GROUP BY content HAVING count(*) > 1"
    ).fetchall()
    assert doubled == [], "a record is there twice"
    entries = list(again.entries())
    assert [e.number for e in entries] == list(range(len(entries)))


def kills(folder: Path, kind: str, count: int, seed: int, disk: str = "links") -> dict[str, Any]:
    """SIGKILL at random instants of one kind of work; a new program each time, which heals what the last one left."""
    draw = random.Random(f"{kind}{seed}")
    archive = store.create(folder / f"kills-{kind}")
    told = Acknowledged()
    for n in range(3):
        told.take(WORK["deposit"](archive, random.Random(f"base {n} {seed}")) + "\n")
    between = 0
    for n in range(count):
        before = len(list(archive.entries()))
        # Half of them are killed while they heal and begin, half while they repeat what they have done.
        program = Program(kind, archive.root, f"{kind} {n} {seed}", warm=n % 2 == 1, disk=disk)
        while (line := program.stdout.readline()) != "ready\n":
            assert line, program.communicate()
            told.take(line)
        time.sleep(draw.random() * 0.4)
        program.send_signal(signal.SIGKILL)
        out, err = program.communicate()
        assert err == "", err
        told.take(out)
        between += _left(archive) > 0 or (kind == "export" and _behind(folder / "copy", archive))
        assert len(list(store.open(archive.root).entries())) >= before
        assert told.missing(store.open(archive.root)) == []
        assert _forgotten(folder / "witness", archive, told.heads) == []
    if kind == "repair" and (folder / "copy").is_dir():
        assert repair(archive, folder / "copy").left == []
    last = store.open(archive.root)
    told.take(WORK["deposit"](last, random.Random(f"last {seed}")) + "\n")
    assert _left(last) == 0, "the next command heals what was left"
    sound(last)
    assert fixity(last).uncommitted == []
    if kind == "export":
        export(last, folder / "copy")
        sound(store.open(folder / "copy"))
    where = "" if disk == "links" else f", disk: {disk}"
    made = {"run": f"SIGKILL, {kind}{where}", "kills": count, "stopped in the middle": between}
    entries = len(list(last.entries()))
    shutil.rmtree(archive.root)
    shutil.rmtree(folder / "copy", ignore_errors=True)
    shutil.rmtree(folder / "witness", ignore_errors=True)
    return {**made, "entries": entries, "acknowledged and lost": 0, "doubled": 0, "damaged": 0}


def _forgotten(folder: Path, archive: Archive, heads: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Heads that a witness acknowledged and does not remember. What it remembers can be read, and is continued."""
    if not folder.is_dir():
        return heads
    seen = read_heads(folder / archive.id / "heads.txt", archive.id)
    assert not_continued(sound_chain(archive.root, archive.id), seen) == []
    return sorted(set(heads) - {(head.size, head.root) for head in seen})


def _behind(copy: Path, archive: Archive) -> bool:
    """Whether a second copy is there and does not hold all of the archive yet."""
    if not copy.is_dir():
        return False
    try:
        return len(list(store.open(copy).entries())) < len(list(archive.entries()))
    except Trouble:
        return True


def _left(archive: Archive) -> int:
    """Folders that stopped programs left aside, and what is in its place without an entry. What a repair set apart
    stays there on purpose; a single part of a file is taken away once it is old."""
    aside = [path for path in (archive.root / "aside").iterdir() if path.is_dir() and path.name != "damaged"]
    return len(aside) + len(fixity(archive, "count").uncommitted)


def writers(folder: Path, count: int, seconds: float, readers: int = 2, disk: str = "links") -> dict[str, Any]:
    """Many writers at once, with readers that look at what is committed while they write. disk: of DISKS."""
    archive = store.create(folder / "writers")
    WORK["deposit"](archive, random.Random("first"))
    kinds = ["deposit", "deposit", "deposit", "amendment", "deposit", "deposit", "withdrawal", "assessment"]
    running = [Program(kinds[n % len(kinds)], archive.root, f"writer {n}", disk=disk) for n in range(count)]
    for program in running:
        assert program.stdout.readline() == "ready\n", program.communicate()
    looks = seen = 0
    until = time.monotonic() + seconds
    reader = store.open(archive.root)
    while time.monotonic() < until:
        for _ in range(readers):
            entries = list(store.open(archive.root).entries())
            assert len(entries) >= seen, "a reader saw fewer entries than before"
            seen = len(entries)
            latest = next(e for e in reversed(entries) if e.kind == "deposit")
            assert len(reader.tables(latest["deposit"]).record(0)) == 1, "a committed record could not be read"
            looks += 1
    told = Acknowledged()
    for program in running:
        program.send_signal(signal.SIGTERM)
        out, err = program.communicate()
        assert "Traceback" not in err or "KeyboardInterrupt" in err, err
        told.take(out)
    last = store.open(archive.root)
    assert told.missing(last) == []
    WORK["deposit"](last, random.Random("last"))
    sound(last, "deep" if seconds < 20 else "digest")
    entries = len(list(last.entries()))
    shutil.rmtree(archive.root)
    acknowledged = len(told.deposits) + len(told.entries)
    return {
        "run": f"{count} writers for {seconds:g} s, disk: {disk}",
        "entries": entries,
        "acknowledged": acknowledged,
        "looks": looks,
    }


def flips(folder: Path, count: int, links: int) -> dict[str, Any]:
    """Random single bits flipped in a large archive: each is named by digest, in the right file."""
    from archive.demo.simulator import simulate
    from archive.store.deposits import Deposit, DepositFacts

    archive = store.create(folder / "flips")
    for part in range(4):
        making = Deposit(archive, DepositFacts(job=f"JOB-{part}", by="R. Ostrander"))
        for one in simulate(links // 4, seed=part + 1):
            making.add(one)
        making.commit()
    draw = random.Random(11)
    every = sorted(p for p in archive.root.rglob("*") if p.is_file())
    weights = [p.stat().st_size for p in every]
    size, unnamed = sum(weights), []
    for _ in range(count):
        path = draw.choices(every, weights if draw.random() < 0.5 else None)[0]
        before = path.stat()
        at, bit = draw.randrange(before.st_size), draw.randrange(8)
        _flip(path, at, bit)
        if not _named(archive, path):
            unnamed.append(path.name)
        _flip(path, at, bit)
    assert unnamed == []
    sound(archive, "digest")
    shutil.rmtree(archive.root)
    return {"run": "bit flips", "flips": count, "archive bytes": size, "not named": 0}


def _flip(path: Path, at: int, bit: int) -> None:
    path.chmod(0o644)
    with path.open("r+b") as file:
        file.seek(at)
        byte = file.read(1)[0]
        file.seek(at)
        file.write(bytes([byte ^ 1 << bit]))


def _named(archive: Archive, path: Path) -> bool:
    """Whether fixity by digest names the file. Only what the file belongs to is looked at, to be quick."""
    from archive.store.fixity import bags
    from archive.store.fixity.chain import walk

    name = path.relative_to(archive.root).as_posix()
    chain = walk(archive.root, archive.id)
    found = [d.path for d in chain.damage]
    for entry in chain.entries:
        if any(name.startswith(p.rsplit("/", 1)[0] if "/" in p else p) for p in entry.files):
            found += [d.path for d in bags.look(archive.root, entry, {}, bytes_too=True)]
    return name in found


def with_own_cache(folder: Path) -> None:
    """No run uses the cache of the user who starts it."""
    os.environ["MUNIMENT_CACHE"] = str(folder / "cache")
    os.environ["MUNIMENT_CONFIG"] = str(folder / "config")
