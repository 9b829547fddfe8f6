"""A job of 1,000 links and 270 MB handed in at a desk: sent file by file, surveyed, planned, confirmed; the page is
closed while the deposit runs and opened again, and the server killed and started anew. Invented data."""

from __future__ import annotations

import json
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive.demo.simulator import simulate
from tests.benchmarks._exports import relabelled, write
from tests.room.clerk import Clerk, query, text_of
from tests.room.serving import Room, environment, muniment

_PARTS = 10
_HOUR = 3600.0


def desk(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """A row for each step, with what the page said of it meanwhile."""
    place, links = folder / "desk", 20 if quick else 1_000
    files = _exports(place, links)
    env = environment(place)
    muniment("init", str(place / "archive"), env=env)
    muniment("me", "R. Ostrander", env=env)
    muniment("mapping", "confirm", str(place / "archive"), str(place / "mapping.toml"), env=env)
    room = Room(place / "archive", place, "--desk")
    try:
        clerk = Clerk.at(room)
        began, tray = time.monotonic(), ""
        for path in files:
            tray = json.loads(clerk.send_file(f"week 1/{path.name}", path.read_bytes(), tray).body)["tray"]
        megabytes = sum(p.stat().st_size for p in files) / 1e6
        yield {"what": f"{len(files)} files of {megabytes:.0f} MB sent", "s": round(time.monotonic() - began, 1)}
        clerk.send("/hand-in/arrived", {"tray": tray})
        began = time.monotonic()
        assert f"{links:,} records" in text_of(clerk.surveyed(tray, _HOUR))
        yield {"what": "surveyed", "s": round(time.monotonic() - began, 1)}
        number = query(clerk.send("/hand-in/dry-run", {"tray": tray, "job": "HARBOUR-2019-04"}), "id")
        yield _followed(clerk, number, "dry run")
        plan = clerk.see(f"/hand-in/plan?id={number}")
        form = {n: re.search(rf'name="{n}" value="(\w+)"', plan.body) for n in ("plan", "head")}
        given = {"id": number, **{n: found[1] for n, found in form.items() if found}}
        work = query(clerk.send("/hand-in/confirm", given), "id")
        time.sleep(0 if quick else 10)  # nobody looks meanwhile
        room.process.send_signal(signal.SIGKILL)
        room.process.wait(20)
        room = Room(place / "archive", place, "--desk")
        yield _followed(Clerk.at(room), work, "deposit, its page closed, its server killed and started again")
        found = json.loads(room.command("progress", str(room.archive), "--job", "HARBOUR-2019-04", "--json"))["tested"]
        assert found == links, found
        assert json.loads(room.command("fixity", str(room.archive), "--json"))["sound"]
        yield {"what": "records in the archive afterwards, every byte sound", "count": found}
    finally:
        room.close()


def _followed(clerk: Clerk, number: str, what: str) -> dict[str, Any]:
    """Asks once a second, as the page does, until it has ended."""
    began, said = time.monotonic(), dict[str, None]()
    left = False
    while True:
        answer = clerk.see(f"/running/one?id={number}", hx_request="true")
        told = text_of(answer)
        assert answer.status == 200, told
        left = left or "left" in told
        said.setdefault(re.sub(r"\d[\d.,]*", "#", told))
        if 'hx-trigger="every' not in answer.body:
            break
        time.sleep(1)
    assert told.startswith("done") and ("Nothing was written" in told or "Archived as deposit" in told), told
    return {"what": what, "s": round(time.monotonic() - began, 1), "sentences": len(said), "time_left_told": left}


def _exports(place: Path, links: int) -> list[Path]:
    """Ten exports of an invented layout that the archive will know, and its mapping."""
    place.mkdir(parents=True)
    found = []
    for part in range(_PARTS):
        made = place / f"made-{part}"
        made.mkdir()
        path, mapping = write(relabelled(simulate(links // _PARTS, seed=10 + part), f"{part:03d}-"), made, "curves")
        found.append(path.rename(place / f"part-{part}.csv"))
        mapping.replace(place / "mapping.toml")
    return found
