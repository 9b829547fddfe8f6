"""The reading room under people who type, and its pages one at a time: whole answers over HTTP.

A room runs as a process, as a person starts it; the load comes from a second one (_typing): 20 people, each a key every
0.2 to 0.3 seconds, labels that are there, a quarter of them typed from the middle. Both share the machine. With --large
a million records in 5,000 bags, and a job of fully swept links whose pages are asked for; MUNIMENT_BENCH_ROOM names a
folder in which that archive stays for the next run. cpu_ms: processor time of the room for an answer; share: what
part of a core a busy loop got meanwhile, 1 on a machine that does nothing else. Invented data.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from archive import store
from tests.benchmarks._archive import JOB, with_job
from tests.benchmarks._tiled import tiled
from tests.room.serving import ROOT, Room

PEOPLE, SECONDS, TIMES = 20, 30, 40
RECORDS_PER_BAG = 200
WHOLE = 40
"""Links whose pages are asked for."""


def run(sizes: tuple[int, ...], quick: bool) -> list[dict[str, Any]]:
    """Rows on typing, on pages, and on memory."""
    records = 2_000 if quick else 1_000_000 if max(sizes) >= 1_000_000 else 100_000
    kept = os.environ.get("MUNIMENT_BENCH_ROOM")
    if kept and not quick:
        return measured(Path(kept), records, quick)
    with tempfile.TemporaryDirectory(prefix="muniment-bench-") as name:
        return measured(Path(name), records, quick)


def measured(folder: Path, records: int, quick: bool) -> list[dict[str, Any]]:
    """Builds the archive in a folder where it is not there, and measures."""
    path = folder / "archive"
    if not path.exists():
        tiled(path, records, records // RECORDS_PER_BAG)
        with_job(path, WHOLE)
    room = Room(path, folder)
    try:
        base, cookie = room.sign_in()
        labels = _labels(path, folder, "row % 97 = 1")
        waited = _until_ready(room, base, cookie)
        rows = [_typing(room, base, cookie, labels, 2 if quick else SECONDS)]
        rows += _pages(room, base, cookie, _labels(path, folder, f"job_id = '{JOB}'"), 3 if quick else TIMES)
        rows.append(
            {"what": "memory", "peak_mb": _peak(room.process.pid), "ready_s": round(waited, 1), "target": "1000 MB"}
        )
    finally:
        room.close()
    return [{"records": records, **row} for row in rows]


def _labels(path: Path, folder: Path, which: str) -> list[str]:
    os.environ["MUNIMENT_CACHE"] = str(folder / "cache")
    archive = store.open(path)
    listed = archive.db.execute(f"SELECT DISTINCT link_label FROM records WHERE {which} LIMIT 5000").fetchall()
    return [r[0] for r in listed]


def _until_ready(room: Room, base: str, cookie: str) -> float:
    """Seconds until everything that a search may need is in place."""
    began = time.monotonic()
    while True:
        answer = room.ask(f"{base}/", cookie=cookie, patience=1200)
        assert answer.status == 200, answer.body
        if "still being worked out" not in answer.body:
            return time.monotonic() - began
        time.sleep(1)


def _typing(room: Room, base: str, cookie: str, labels: list[str], seconds: float) -> dict[str, Any]:
    share, spent = _share(), _processor(room.process.pid)
    words = ["127.0.0.1", str(room.port), base, cookie, str(PEOPLE), str(seconds)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks._typing", *words],
        input="\n".join(labels),
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    if done.returncode:
        raise RuntimeError(done.stderr)
    told = json.loads(done.stdout)
    return {
        "what": f"typing, {PEOPLE} people",
        "asked": len(told["ms"]),
        "a_second": round(len(told["ms"]) / seconds, 1),
        **_spread(told["ms"]),
        "cpu_ms": round((_processor(room.process.pid) - spent) * 1e3 / len(told["ms"]), 1),
        "share": round((share + _share()) / 2, 2),
        "target": "p95 100 ms",
        "agree": told["named"] == len(told["ms"]),
    }


def _pages(room: Room, base: str, cookie: str, labels: list[str], times: int) -> list[dict[str, Any]]:
    from urllib.parse import quote

    asked = {
        "first page": (lambda n: "/", "200 kB"),
        "a link": (lambda n: f"/link?label={quote(labels[n * 7 % len(labels)])}", "200 ms"),
        "one site, narrowed": (lambda n: f"/?site={quote(f'Site {n % 60:02d}')}", ""),
    }
    out = []
    for what, (address, target) in asked.items():
        ms, size = [], 0
        for n in range(times + 1):
            began = time.monotonic()
            answer = room.ask(base + address(n), cookie=cookie)
            ms.append((time.monotonic() - began) * 1e3)
            size = max(size, len(answer.body.encode()))
            assert answer.status == 200, answer.body
        out.append({"what": what, "asked": times, **_spread(ms[1:]), "kb": round(size / 1e3, 1), "target": target})
    scripts = sum(
        (ROOT / "archive" / "room" / "static" / n).stat().st_size for n in ("room.css", "htmx.min.js", "icon.svg")
    )
    out[0]["kb"] = round(out[0]["kb"] + scripts / 1e3, 1)  # a first visit
    return out


def _spread(ms: list[float]) -> dict[str, float]:
    cuts = statistics.quantiles(ms, n=20) if len(ms) > 1 else [ms[0]] * 19
    return {"p50_ms": round(statistics.median(ms), 1), "p95_ms": round(cuts[18], 1), "worst_ms": round(max(ms), 1)}


def _share() -> float:
    """Part of a core that a busy loop gets here and now: 1 on a machine that does nothing else."""
    began, spent = time.perf_counter(), time.process_time()
    while time.process_time() - spent < 0.3:
        pass
    return 0.3 / (time.perf_counter() - began)


def _processor(pid: int) -> float:
    """Seconds of processor time that a process has used (proc(5), utime and stime)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _peak(pid: int) -> float:
    """Largest resident memory of a process so far, MB."""
    status = Path(f"/proc/{pid}/status").read_text()
    return round(int(status.partition("VmHWM:")[2].split()[0]) / 1e3, 1)
