"""Makes the pictures of the room for the README: `python -m tests.room.pictures DEMO`, DEMO being a folder that
`muniment demo` made. Everything in them is invented."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import expect, sync_playwright

from tests.room.serving import ROOT, Room

PICTURES = ROOT / "fixtures" / "pictures"


def make(demo: Path, out: Path = PICTURES) -> list[Path]:
    """The page of a link that fails, as it opens. Gives the files."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        room = Room(demo / "archive", Path(folder))
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"))
        try:
            page = browser.new_page(viewport={"width": 1180, "height": 900})
            page.goto(room.address)
            page.get_by_role("searchbox").fill("a11")
            page.get_by_role("link", name="1A-A11").click()
            page.get_by_role("application").scroll_into_view_if_needed()
            expect(page.locator("#value")).to_contain_text("tightest")
            made = out / "room.png"
            page.evaluate("scrollTo(0, 0)")
            page.screenshot(path=made)
        finally:
            browser.close()
            room.close()
    return [made]


if __name__ == "__main__":
    print(*make(Path(sys.argv[1])), sep="\n")
