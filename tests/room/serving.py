"""A real room on a real archive: a process of the command, on a port of its own."""

from __future__ import annotations

import http.client
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from archive import formats
from tests.grading.making import CAT6A, batch, record

ROOT = Path(__file__).resolve().parents[2]
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "../../etc/passwd",
    "a'b;DROP TABLE records--",
    "{{7*7}}",
    "turned\u202etxt.exe",
    "%2e%2e/%00",
)
"""Labels as no person writes them."""

LABELS = ("1A-A01", "1A-A02", "2B-C17", *HOSTILE)


def muniment(*words: str, env: dict[str, str]) -> None:
    """Runs a command; it has to end with 0 or 1."""
    code = "from archive.cli import main; main()"
    run = subprocess.run([sys.executable, "-c", code, *words], env=env, capture_output=True, text=True, check=False)
    assert run.returncode in (0, 1), run.stderr


def environment(folder: Path) -> dict[str, str]:
    """Environment of a user of his own."""
    paths = os.pathsep.join((str(ROOT), str(ROOT / "archive" / "public")))
    own = {"MUNIMENT_CACHE": str(folder / "cache"), "MUNIMENT_CONFIG": str(folder / "config"), "PYTHONPATH": paths}
    return {**os.environ, **own, "MUNIMENT_TRACEBACK": os.environ.get("ROOM_TRACEBACK", "")}


def archive_of(folder: Path) -> Path:
    """An archive with one invented job: links that pass, one that fails, labels that bite."""
    env, export = environment(folder), folder / "export.xml"
    parts = [
        record(CAT6A, margin=-1.0 if n == 1 else 4.0, record_id=f"re-{n}", link=label, job_id="HARBOUR-2019-04")
        for n, label in enumerate(LABELS)
    ]
    for part in parts:
        part["records"][0] |= {"tested_local": "2019-05-02T10:15", "reported_verdict": "pass"}
    parts[0]["jobs"] = [{"job_id": "HARBOUR-2019-04", "site": "Lantern Quay 4"}]
    formats.write([batch(*parts)], export, "xml")
    place = folder / "archive"
    muniment("init", str(place), env=env)
    muniment("me", "R. Ostrander", env=env)
    muniment("deposit", str(export), "--into", str(place), "--job", "HARBOUR-2019-04", "--new", env=env)
    return place


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: str


class Room:
    """A room that runs. address: as printed, with its token."""

    def __init__(self, archive: Path, folder: Path, *words: str, before: tuple[str, ...] = ()) -> None:
        """words: further ones of the command, such as --desk. before: put before all else in PYTHONPATH."""
        code = "from archive.cli import main; main()"
        self.archive, self.env, self.log = archive, environment(folder), folder / "room.log"
        self.env["PYTHONPATH"] = os.pathsep.join((*before, self.env["PYTHONPATH"]))
        self._err = self.log.open("w")
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, "room", str(archive), *words],
            env=self.env,
            stdout=subprocess.PIPE,
            stderr=self._err,
            text=True,
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        parts = urlsplit(self.address)
        assert parts.port is not None, self.log.read_text()
        self.port, self.token = parts.port, parts.query.removeprefix("t=")
        self.host = f"127.0.0.1:{self.port}"

    def close(self) -> None:
        """Ends it as Ctrl-C does."""
        self.process.send_signal(signal.SIGINT)
        self.process.wait(20)
        self._err.close()

    def ask(self, target: str, method: str = "GET", body: bytes = b"", patience: float = 60, **headers: str) -> Answer:
        """One request with just these headers; underscores in their names are hyphens. patience: seconds."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=patience)
        link.putrequest(method, target, skip_host=True, skip_accept_encoding=True)
        given = {"host": self.host, **{name.replace("_", "-"): value for name, value in headers.items()}}
        if body:
            given.setdefault("content-length", str(len(body)))
        for name, value in given.items():
            for each in value.split("\n"):
                link.putheader(name, each)
        link.endheaders(body or None)
        answer = link.getresponse()
        found = Answer(
            answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read().decode("utf-8", "replace")
        )
        link.close()
        return found

    def command(self, *words: str) -> str:
        """What a command of the same user prints."""
        run = subprocess.run(
            [sys.executable, "-c", "from archive.cli import main; main()", *words],
            env=self.env,
            capture_output=True,
            text=True,
            check=False,
        )
        assert run.returncode in (0, 1), run.stderr
        return run.stdout

    def sign_in(self) -> tuple[str, str]:
        """Spends a new token: the secret path, and the cookie."""
        token = self.command("room", str(self.archive), "--again").strip().rpartition("=")[2]
        opened = self.ask(f"/open?t={token}")
        assert opened.status == 303
        found = re.match(r"([^=]+=[^;]+);", opened.headers["set-cookie"])
        assert found is not None
        return opened.headers["location"].rstrip("/"), found[1]
