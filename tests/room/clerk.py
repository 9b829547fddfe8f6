"""A clerk at a desk, by requests alone: what a browser without script would send."""

from __future__ import annotations

import re
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, quote, urlencode, urlsplit

from archive import formats
from tests.grading.making import CAT6A, batch, record
from tests.room.serving import Answer, Room

OURS = {"sec_fetch_site": "same-origin"}


def export(folder: Path, job: str, *labels: str) -> bytes:
    """An invented export of some links, each with curves and a time of its own."""
    parts = []
    for label in labels:
        own = int.from_bytes(label.encode()[-5:], "big")
        part = record(CAT6A, margin=3.0 + own % 97 / 31, record_id=f"re-{label}", link=label, job_id=job)
        at = f"2026-03-02T{8 + own % 11:02d}:{own % 59:02d}:{own % 53:02d}"
        part["records"][0] |= {"tested_local": at, "reported_verdict": "pass"}
        parts.append(part)
    out = folder / f"{'-'.join(labels)}.xml"
    formats.write([batch(*parts)], out, "xml")
    return out.read_bytes()


@dataclass
class Clerk:
    """Signed in at a room with a desk. token: of the forms."""

    room: Room
    base: str
    cookie: str
    token: str

    @classmethod
    def at(cls, room: Room) -> Clerk:
        """Spends a new token of the room."""
        base, cookie = room.sign_in()
        page = room.ask(base + "/hand-in", cookie=cookie)
        assert page.status == 200, page.body
        found = re.search(r'name="form_token" value="([^"]+)"', page.body)
        assert found is not None
        return cls(room, base, cookie, found[1])

    def see(self, path: str, **headers: str) -> Answer:
        """A page by its address within the room."""
        return self.room.ask(self.base + path, cookie=self.cookie, **headers)

    def send(self, path: str, form: Mapping[str, str | list[str]], status: int = 303) -> Answer:
        """Sends a form; where it leads to another page, that one is given, with its address in header `at`."""
        body = urlencode({"form_token": self.token, **form}, doseq=True).encode()
        kind = "application/x-www-form-urlencoded"
        answer = self.room.ask(self.base + path, "POST", body, cookie=self.cookie, content_type=kind, **OURS)
        assert answer.status == status, (answer.status, answer.body)
        return self._followed(answer)

    def upload(self, files: Mapping[str, bytes], tray: str = "", status: int = 303, **texts: str) -> Answer:
        """Sends files as a form of several."""
        edge = secrets.token_hex(16)
        parts = []
        for name, value in {"form_token": self.token, "tray": tray, "purpose": "", **texts}.items():
            parts.append(f'--{edge}\r\ncontent-disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode())
        for name, data in files.items():
            shown = name.replace('"', "%22").replace("\r", "%0D").replace("\n", "%0A")
            head = f'--{edge}\r\ncontent-disposition: form-data; name="files"; filename="{shown}"\r\n'
            parts.append(head.encode("utf-8", "surrogatepass") + b"content-type: text/plain\r\n\r\n" + data + b"\r\n")
        body = b"".join(parts) + f"--{edge}--\r\n".encode()
        kind = f"multipart/form-data; boundary={edge}"
        answer = self.room.ask(
            self.base + "/hand-in/files", "POST", body, cookie=self.cookie, content_type=kind, **OURS
        )
        assert answer.status == status, (answer.status, answer.body)
        return self._followed(answer)

    def send_file(self, name: str, data: bytes, tray: str = "", **headers: str) -> Answer:
        """Sends one file as the page's script does."""
        given = {"x_form_token": self.token, "x_tray": tray, "x_name": quote(name, safe=""), "hx_request": "true"}
        return self.room.ask(
            self.base + "/hand-in/file",
            "POST",
            data,
            cookie=self.cookie,
            **{"content_length": str(len(data)), **given, **headers},
            **OURS,
        )

    def ended(self, number: str, patience: float = 120) -> Answer:
        """The page of a piece of work once it has ended."""
        until = time.monotonic() + patience
        while True:
            answer = self.see(f"/running/one?id={number}")
            assert answer.status == 200, answer.body
            if 'hx-trigger="every' not in answer.body:
                return answer
            assert time.monotonic() < until, answer.body
            time.sleep(0.1)

    def surveyed(self, tray: str, patience: float = 120) -> Answer:
        """The survey of a tray once it has ended."""
        until = time.monotonic() + patience
        while True:
            answer = self.see(f"/hand-in/tray?tray={tray}", hx_request="true")
            assert answer.status == 200, answer.body
            if 'hx-trigger="every' not in answer.body:
                return answer
            assert time.monotonic() < until, answer.body
            time.sleep(0.1)

    def _followed(self, answer: Answer) -> Answer:
        if answer.status != 303:
            return answer
        place = answer.headers["location"]
        found = self.room.ask(place, cookie=self.cookie)
        found.headers["at"] = place.removeprefix(self.base)
        return found


def query(answer: Answer, name: str) -> str:
    """A part of the address that a form led to."""
    return parse_qs(urlsplit(answer.headers["at"]).query)[name][0]


def text_of(answer: Answer) -> str:
    """The words of a page's main part, without its marks."""
    main = answer.body.partition("<main")[2].partition("</main>")[0] or answer.body
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())
