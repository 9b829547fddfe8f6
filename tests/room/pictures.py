"""Makes the pictures of the room for the README: `python -m tests.room.pictures DEMO`, DEMO being a folder that
`muniment demo` made. Everything in them is invented."""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, Playwright, expect, sync_playwright

from tests.room.serving import ROOT, Room, environment, muniment

PICTURES = ROOT / "fixtures" / "pictures"


def make(demo: Path, out: Path = PICTURES) -> list[Path]:
    """A search as one types, the curves of a link that fails, the margins of a job. Gives the files."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        room = Room(demo / "archive", Path(folder))
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"))
        try:
            page = browser.new_page(viewport={"width": 1180, "height": 760})
            page.goto(room.address)
            page.get_by_role("searchbox").press_sequentially("a1")
            expect(page.get_by_role("status")).to_have_text("11 links.")
            made = [_taken(page, out / "room-find.png")]
            page.get_by_role("link", name="1A-A11").click()
            expect(page.locator("#value")).to_contain_text("tightest")
            expect(page.locator("#proof")).to_contain_text("holds")
            page.get_by_role("heading", name="Curves", exact=True).evaluate("e => e.scrollIntoView()")
            made.append(_taken(page, out / "room.png"))
            page.goto(page.url.partition("/link?")[0] + "/job?job=HARBOUR-2024-06")
            page.get_by_role("heading", name="Margins over all links").evaluate("e => e.scrollIntoView()")
            made.append(_taken(page, out / "room-job.png"))
        finally:
            browser.close()
            room.close()
        made.append(_desk(driver, demo, Path(folder), out))
    return made


def _desk(driver: Playwright, demo: Path, folder: Path, out: Path) -> Path:
    """The plan of a dry run at the desk: what is new, what is missing."""
    muniment("me", "R. Ostrander", env=environment(folder))
    muniment("init", str(folder / "certificates"), env=environment(folder))
    room = Room(folder / "certificates", folder, "--desk")
    browser = driver.chromium.launch(executable_path=shutil.which("chromium"))
    try:
        page = browser.new_page(viewport={"width": 1180, "height": 760})
        page.set_default_timeout(300_000)
        page.goto(room.address)
        page.get_by_role("link", name="Hand in").click()
        return _planned(page, demo, out / "desk.png")
    finally:
        browser.close()
        room.close()


def _planned(page: Page, demo: Path, path: Path) -> Path:
    files = [demo / "link-schedule.csv", demo / "exports" / "tern" / "floor-1.xml"]
    page.get_by_label("Files, or zips").set_input_files(files)
    page.get_by_role("button", name="Put into the tray").first.click()
    page.get_by_label("Job", exact=True).fill("HARBOUR-2026-11")
    page.get_by_label("Site, where the job is new").fill("Lantern Quay 9")
    page.get_by_role("button", name="Make the dry run").click()
    page.get_by_role("link", name="Look over the plan").click(timeout=300_000)
    return _taken(page, path)


def _taken(page: Page, path: Path) -> Path:
    """What the window shows, in few colours, so that it stays small."""
    from PIL import Image

    with Image.open(io.BytesIO(page.screenshot())) as shown:
        shown.convert("RGB").quantize(64, dither=Image.Dither.NONE).save(path, optimize=True)
    return path


if __name__ == "__main__":
    print(*make(Path(sys.argv[1])), sep="\n")
