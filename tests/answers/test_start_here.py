"""START-HERE.html in a real browser, from file://, driven over the DevTools protocol on pipes, without a network."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from answers_making import CONFLICT
from test_seal import (  # noqa: F401 - fixtures
    Issued,
    archive,
    as_one_user,
    claim,
    copy,
    issued,
    manifests_anew,
    put,
    seal_anew,
)

from archive import store
from archive.answers.sealing.start_here import START_HERE, WINDOWS, start_here
from archive.answers.verifying.verify_folder import verify_folder
from archive.store.seals import SEAL
from archive.version import __version__

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


class Browser:
    """A headless browser that speaks the DevTools protocol over pipes."""

    def __init__(self, profile: Path) -> None:
        assert CHROMIUM is not None
        to_read, self._to = os.pipe()
        self._from, from_write = os.pipe()
        command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe"]
        command += [f"--user-data-dir={profile}", "--host-resolver-rules=MAP * ~NOTFOUND", "about:blank"]
        self._process = subprocess.Popen(
            ["bash", "-c", f'exec 3<&{to_read} 4>&{from_write}; exec "$@"', "bash", *command],
            pass_fds=(to_read, from_write),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(from_write)
        self._rest, self._number, self._session, self.requests = b"", 0, None, []  # type: ignore[var-annotated]
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for name in ("Page", "DOM", "Runtime", "Network"):
            self.call(f"{name}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its result; addresses that the page asks for in between are kept in `requests`."""
        self._number += 1
        said = {"id": self._number, "method": method, "params": params}
        if self._session is not None:
            said["sessionId"] = self._session
        os.write(self._to, json.dumps(said).encode() + b"\0")
        while True:
            got = self._message()
            if got.get("method") == "Network.requestWillBeSent":
                self.requests.append(got["params"]["request"]["url"])
            if got.get("id") == self._number:
                assert "error" not in got, got
                return dict(got["result"])

    def value(self, expression: str) -> Any:
        """What a JavaScript expression comes to."""
        made = self.call("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in made, made
        return made["result"].get("value")

    def open(self, path: Path) -> None:
        """Opens a page."""
        self.call("Page.navigate", url="about:blank")
        self.call("Page.navigate", url=path.as_uri())
        here = f"location.href === {json.dumps(path.as_uri())} && document.readyState === 'complete'"
        for _ in range(400):
            if self.value(here):
                return
        raise AssertionError("the page did not open")

    def check(self, folder: Path, head: str = "") -> tuple[str, list[str]]:
        """Chooses a folder, types a head, presses the button: the result, and the steps."""
        found = self.call("DOM.getDocument")["root"]["nodeId"]
        chooser = self.call("DOM.querySelector", nodeId=found, selector="#folder")["nodeId"]
        self.value("document.getElementById('folder').value = ''")
        self.value(f"document.getElementById('head').value = {json.dumps(head)}")
        self.call("DOM.setFileInputFiles", nodeId=chooser, files=[str(folder)])
        for _ in range(200):
            if self.value("document.getElementById('folder').files.length"):
                break
        self.value("run()")
        rows = self.value("Array.from(document.querySelectorAll('#steps tr'), (r) => r.innerText)")
        return str(self.value("document.getElementById('result').textContent")), list(rows)

    def close(self) -> None:
        """Ends the browser."""
        self._process.terminate()
        self._process.wait(10)
        os.close(self._to)
        os.close(self._from)

    def _message(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = os.read(self._from, 1 << 20)
            assert more, "the browser ended"
            self._rest += more
        one, _, self._rest = self._rest.partition(b"\0")
        return dict(json.loads(one))


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    made = Browser(tmp_path_factory.mktemp("profile"))
    yield made
    made.close()


def test_the_page_finds_an_issued_folder_sound_and_asks_nothing_of_anybody(browser: Browser, copy: Issued) -> None:  # noqa: F811
    browser.requests.clear()
    browser.open(copy.folder / START_HERE)
    assert browser.value("document.getElementById('result').textContent") == "not checked"
    said, steps = browser.check(copy.folder)
    assert said == "Sound against itself only: no head from elsewhere was typed", steps
    assert len(steps) > 12 and all(s.startswith("holds") for s in steps), steps
    assert any("is signed with key" in s for s in steps) and any("record.xml holds that text" in s for s in steps)
    said, steps = browser.check(copy.folder, copy.head)
    assert said == "Sound, checked against the head that you typed"
    grouped = " ".join(copy.head[i : i + 8].upper() for i in range(0, 64, 8))
    assert browser.check(copy.folder, grouped)[0] == "Sound, checked against the head that you typed"
    assert browser.check(copy.folder, "0" * 64)[0].startswith("NOT SOUND")
    assert {u.split(":")[0] for u in browser.requests} == {"file"}, browser.requests


def test_the_page_proves_each_of_two_records_in_conflict(
    browser: Browser,
    archive: store.Archive,  # noqa: F811
    tmp_path: Path,
) -> None:
    with as_one_user(archive.root.parent):
        issued(archive, CONFLICT, tmp_path / "claim", None)
    browser.open(tmp_path / "claim" / START_HERE)
    said, steps = browser.check(tmp_path / "claim")
    assert said == "Sound against itself only: no head from elsewhere was typed", steps
    for name in ("proof-A.json", "proof-B.json"):
        assert any(f"{name}: other-tests.xml holds that text" in s and s.startswith("holds") for s in steps), steps


def test_the_page_tells_what_was_changed_added_and_forged(browser: Browser, copy: Issued) -> None:  # noqa: F811
    browser.open(copy.folder / START_HERE)
    put("claim.html", "pass", "fail")(copy.folder)
    (copy.folder / "data" / "more.txt").write_text("more")
    said, steps = browser.check(copy.folder)
    wrong = [s for s in steps if s.startswith("DOES NOT HOLD")]
    assert said.startswith("NOT SOUND") and len(wrong) == 3, steps
    assert all("changed: data/claim.html" in s and "added: data/more.txt" in s for s in wrong)
    manifests_anew(copy.folder)
    assert browser.check(copy.folder, copy.head)[0].startswith("NOT SOUND")
    seal_anew(copy.folder)
    said, steps = browser.check(copy.folder, copy.head)
    assert said.startswith("NOT SOUND") and any("a ledger entry names this seal" in s for s in steps)
    (copy.folder / SEAL).unlink()
    assert any("not sealed" in s for s in browser.check(copy.folder)[1])


def test_without_webcrypto_nothing_is_said_to_hold(browser: Browser, copy: Issued) -> None:  # noqa: F811
    browser.open(copy.folder / START_HERE)
    browser.value("Object.defineProperty(window, 'crypto', { value: undefined }); null")
    said, steps = browser.check(copy.folder)
    assert said.startswith("not checked") and steps == []


def test_the_page_is_the_same_in_every_folder_and_names_no_address(copy: Issued) -> None:  # noqa: F811
    page = (copy.folder / START_HERE).read_bytes()
    assert page == start_here()
    notes = (Path(__file__).parents[2] / "schemas" / "releases.md").read_text(encoding="utf-8")
    assert hashlib.sha256(page).hexdigest() in notes.partition(f"## {__version__}")[2].partition("\n## ")[0]
    assert not re.search(rb"https?://|src=|@import|url\(", page)
    assert WINDOWS.encode() in page and WINDOWS in (copy.folder / "data/READ-ME.txt").read_text(encoding="utf-8")
    assert page.index(b"can have forged the page too") < page.index(b"<input")
    (copy.folder / START_HERE).write_bytes(page.replace(b"Sound, checked", b"Sound, judged"))
    manifests_anew(copy.folder)
    seal_anew(copy.folder, copy.pair)
    broken = [d.what for d in verify_folder(copy.folder).broken if d.path == START_HERE]
    assert any("is not the page that muniment" in what for what in broken), broken
