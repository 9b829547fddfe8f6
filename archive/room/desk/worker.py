"""The child process of a piece of work: takes its turn, does what was asked, and writes down how it went."""

from __future__ import annotations

import secrets
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from archive import file_lock, store
from archive.errors import Caveat, Trouble
from archive.isolation import in_one_line
from archive.room.desk.files import read_json
from archive.room.desk.ordered import Ordered
from archive.room.desk.report import StopAsked, WorkReport
from archive.room.desk.work import WorkRequest
from archive.store import Archive
from archive.store.ledger.entry import Sign

AT_ONCE = 2
"""Pieces of work of one desk that run at once; others wait their turn."""

_TURN = 0.3


def run(folder: Path, signs: Callable[[Archive], Sign | None]) -> None:
    """Does the work of a folder. signs: gives what signs for whoever runs this."""
    held = file_lock.lock(folder / "held")
    report = WorkReport(folder)
    asked = read_json(folder / "request.json")
    if asked is None:
        return
    asked.pop("began", None)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever ends the server with Ctrl-C ends the server
    try:
        report.stage("beginning")
        with _turn(folder.parent, report):
            word, more = _done(folder, WorkRequest(**asked), signs, report)
            report.end(word, **more)
    except StopAsked:
        report.end("stopped", archived=False)
    finally:
        held.close()


def _done(
    folder: Path, request: WorkRequest, signs: Callable[[Archive], Sign | None], report: WorkReport
) -> tuple[str, dict[str, Any]]:
    from archive.room.desk.tasks import TASKS

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Caveat)
            archive = store.open(Path(request.root))
            sign = signs(archive) if request.signs else None
            return TASKS[request.kind](Ordered(folder.parent.parent, folder, request, archive, sign, report))
    except StopAsked:
        return "stopped", {"archived": False}
    except Trouble as trouble:
        told = {n: getattr(trouble, n) for n in ("message", "where", "found", "expected", "remedy")}
        return "failed", {"trouble": {**told, "where": _bare(trouble.where, request.root)}}
    except OSError as error:
        message = f"the system refused: {error.strerror or error}"
        return "failed", {
            "trouble": {"message": message, "remedy": "free some space, or ask for the right; run it again"}
        }
    except Exception as fault:  # noqa: BLE001 - whatever else goes wrong is a bug; the archive is as it was
        number = secrets.token_hex(4)
        sys.stderr.write(f"fault {number}\n{traceback.format_exc()}")
        return "failed", {"fault": number, "trouble": {"message": in_one_line(fault)}}


def _bare(where: str, root: str) -> str:
    """A place without the folders of this machine."""
    return "" if where == root else where


class _turn:  # noqa: N801 - used as a function
    """One of AT_ONCE turns."""

    def __init__(self, works: Path, report: WorkReport) -> None:
        self._works, self._report = works, report
        self._held: IO[bytes] | None = None

    def __enter__(self) -> None:
        waited = False
        while self._held is None:
            for number in range(AT_ONCE):
                try:
                    self._held = file_lock.lock(self._works / f"turn-{number}")
                    return
                except BlockingIOError:
                    continue
            if not waited:
                self._report.wait()
                waited = True
            self._report.check()
            time.sleep(_TURN)

    def __exit__(self, *_: object) -> None:
        if self._held is not None:
            self._held.close()
