"""The desk in Debian's Chromium: each task by mouse and by keyboard alone, the archive asked afterwards; axe-core."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

from tests.room.clerk import Clerk, export, query
from tests.room.serving import Room, environment, muniment
from tests.room.test_room_browser import CHROMIUM, TAGS, opened

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine (.ci/run installs it)")
JOB = "QUAY-2026-05"
PATIENCE = 120_000


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM)
        expect.set_options(timeout=60_000)  # of a busy machine; a page that is right answers at once
        yield found
        expect.set_options(timeout=5_000)
        found.close()


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    """A desk on an archive with one job of eight links, and two files that were set aside."""
    folder = tmp_path_factory.mktemp("desk-browser")
    env, handed = environment(folder), folder / "in"
    handed.mkdir()
    (handed / "tests.xml").write_bytes(export(folder, JOB, *(f"Q-0{n}" for n in range(1, 9))))
    for name in ("minutes.bin", "agenda.bin"):
        (handed / name).write_bytes(b"\0no test " + name.encode())
    muniment("init", str(folder / "archive"), env=env)
    muniment("me", "R. Ostrander", env=env)
    muniment("keys", "make", str(folder / "archive"), env=env)
    muniment("deposit", str(handed), "--into", str(folder / "archive"), "--job", JOB, "--site", "Quay 5", env=env)
    found = Room(folder / "archive", folder, "--desk")
    yield found
    found.close()


class Hands(Protocol):
    """How a person uses a page."""

    def use(self, thing: Locator) -> None: ...
    def say(self, thing: Locator, text: str) -> None: ...
    def choose(self, thing: Locator, text: str) -> None: ...


class Mouse:
    def use(self, thing: Locator) -> None:
        thing.click()

    def say(self, thing: Locator, text: str) -> None:
        thing.fill(text)

    def choose(self, thing: Locator, text: str) -> None:
        thing.select_option(label=text)


class Keys:
    """Tab, letters, space and Enter, and nothing else."""

    def _reach(self, thing: Locator) -> None:
        for _ in range(300):
            if thing.evaluate("e => e === document.activeElement"):
                return
            thing.page.keyboard.press("Tab")
        raise AssertionError(f"not reached by Tab: {thing}")

    def use(self, thing: Locator) -> None:
        self._reach(thing)
        box = thing.get_attribute("type") in ("checkbox", "file")
        thing.page.keyboard.press("Space" if box else "Enter")

    def say(self, thing: Locator, text: str) -> None:
        self._reach(thing)
        day = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)", text) if thing.get_attribute("type") == "date" else None
        thing.page.keyboard.type(f"{day[2]}{day[3]}{day[1]}" if day else text)  # en-US: month, day, year

    def choose(self, thing: Locator, text: str) -> None:
        self._reach(thing)
        thing.page.keyboard.type(text)


HANDS = {"mouse": Mouse(), "keys": Keys()}


def asked(desk: Room, *words: str) -> dict[str, object]:
    """What a command says of the archive."""
    return json.loads(desk.command(words[0], str(desk.archive), *words[1:], "--json"))  # type: ignore[no-any-return]


def at(desk: Room, base: str, path: str) -> str:
    return f"http://{desk.host}{base}{path}"


@pytest.mark.parametrize("how", HANDS)
def test_handing_in(browser: Browser, desk: Room, tmp_path: Path, how: str) -> None:
    hands, label = HANDS[how], {"mouse": "R-01", "keys": "R-02"}[how]
    clerk = Clerk.at(desk)
    page, wrong = opened(browser, desk, (clerk.base, clerk.cookie))
    place = tmp_path / "week 3.xml"
    place.write_bytes(export(tmp_path, JOB, label))
    page.goto(at(desk, clerk.base, "/hand-in"))
    with page.expect_file_chooser() as chooser:
        hands.use(page.get_by_label("Files, or zips"))
    chooser.value.set_files(place)
    hands.use(page.get_by_role("button", name="Put into the tray").first)
    page.wait_for_url(re.compile("/hand-in/tray"))
    expect(page.locator("#survey").get_by_role("status")).to_contain_text("Survey: done", timeout=PATIENCE)
    expect(page.locator("#survey")).to_contain_text("1 record")
    hands.say(page.get_by_label("Job", exact=True), JOB)
    expect(page.locator("#of-job")).to_contain_text("The archive knows this job")
    hands.use(page.get_by_role("button", name="Make the dry run"))
    hands.use(_there(page.get_by_role("link", name="Look over the plan")))
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Plan for {JOB}")
    hands.use(page.get_by_role("button", name="Confirm, and deposit just this"))
    hands.use(_there(page.get_by_role("link", name="The receipt")))
    expect(page.get_by_role("heading", level=1)).to_contain_text("Deposit ")
    found = asked(desk, "find", "--link", label)["records"]
    assert isinstance(found, list) and [r["job"] for r in found] == [JOB]
    assert not wrong
    page.context.close()


def _there(thing: Locator) -> Locator:
    expect(thing).to_be_visible(timeout=PATIENCE)
    return thing


def done(page: Page, hands: Hands) -> None:
    """From the form over what it comes to, to the end."""
    hands.use(page.get_by_role("button", name="Look at what it comes to"))
    hands.use(page.get_by_role("button", name="Do it"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Done")
    expect(page.locator("main")).to_contain_text("Ledger entry")


def tick(page: Page, hands: Hands, text: str) -> None:
    hands.use(page.get_by_role("row", name=text).get_by_role("checkbox"))


@pytest.mark.parametrize("how", HANDS)
def test_looking_after(browser: Browser, desk: Room, tmp_path: Path, how: str) -> None:
    """One act of each kind; the links differ, so that both ways find their own."""
    hands, n = HANDS[how], list(HANDS).index(how)
    clerk = Clerk.at(desk)
    page, wrong = opened(browser, desk, (clerk.base, clerk.cookie), locale="en-US")

    def to(act: str) -> None:
        page.goto(at(desk, clerk.base, "/look-after"))
        hands.use(page.get_by_role("link", name=act))

    def shown(**fields: str) -> None:
        for name, text in fields.items():
            field = page.get_by_label(name.capitalize(), exact=True)
            (hands.choose if field.evaluate("e => e.tagName") == "SELECT" else hands.say)(field, text)
        hands.use(page.get_by_role("button", name="Show"))

    def reason(text: str) -> None:
        hands.say(page.get_by_label("Reason"), text)

    to("Correct metadata, rename links")
    label = f"Q-0{1 + n}"
    shown(link=label, job=JOB)
    tick(page, hands, label)
    hands.choose(page.get_by_label("What is corrected"), "label of the link")
    hands.say(page.get_by_label("It is", exact=True), f"S-0{1 + n}")
    reason("the cabinet was renamed")
    done(page, hands)
    expect(page.locator("main")).to_contain_text(f"the former value ({label})")
    assert asked(desk, "find", "--link", f"S-0{1 + n}")["records"]

    to("Withdraw records")
    shown(link=f"Q-0{3 + n}")
    tick(page, hands, f"Q-0{3 + n}")
    reason("the wrong cord was used")
    done(page, hands)
    withdrawn = asked(desk, "history", f"Q-0{3 + n}")
    assert withdrawn["current"] is None and '"withdraw"' in json.dumps(withdrawn)

    to("Name accepted records")
    shown(link=f"Q-0{5 + n}")
    tick(page, hands, f"Q-0{5 + n}")
    reason("as handed over")
    done(page, hands)
    assert '"accept"' in json.dumps(asked(desk, "history", f"Q-0{5 + n}"))

    to("State terms of a job")
    shown(job=JOB)
    hands.say(page.get_by_label("crew"), f"Crew {n}")
    done(page, hands)
    assert asked(desk, "job", JOB)["crew"] == f"Crew {n}"

    to("Accept a job")
    shown(job=JOB)
    page.get_by_label("Day").evaluate("e => (e.value = '')")
    hands.say(page.get_by_label("Day"), f"2026-05-0{1 + n}")
    reason("minutes of the hand-over")
    done(page, hands)
    assert f"2026-05-0{1 + n}" in json.dumps(asked(desk, "history", f"Q-0{5 + n}"))

    for act, held in (("put under a hold", True), ("release", False)):
        to("Hold a job, or release it")
        tick(page, hands, JOB)
        hands.choose(page.get_by_label("What is done"), act)
        reason("claim 17")
        done(page, hands)
        assert asked(desk, "job", JOB)["hold"] is held

    to("Settle what was set aside")
    name = ("minutes.bin", "agenda.bin")[n]
    tick(page, hands, name)
    reason("no test")
    done(page, hands)
    rows = asked(desk, "setaside", "--job", JOB)["set_aside"]
    assert isinstance(rows, list) and name not in {r["path"] for r in rows if not r["settled"]}

    to("Keep documents")
    place = tmp_path / f"plan-{how}.txt"
    place.write_text(f"as built {how}")
    with page.expect_file_chooser() as chooser:
        hands.use(page.get_by_label("Files, or zips"))
    chooser.value.set_files(place)
    hands.use(page.get_by_role("button", name="Put into the tray"))
    page.wait_for_url(re.compile("look-after/documents.tray"))
    tick(page, hands, place.name)
    hands.choose(page.get_by_label("Job", exact=True), JOB)
    hands.choose(page.get_by_label("Kind"), "drawing")
    done(page, hands)
    again = desk.command("attach", str(desk.archive), str(place), "--job", JOB, "--kind", "drawing", "--json")
    assert json.loads(again)["filed_before"]

    to("Open a case")
    hands.say(page.get_by_label("Link"), f"Q-0{7 + n}")
    hands.say(page.get_by_label("Number that people call it by"), f"C-{how}")
    hands.say(page.get_by_label("What is complained of"), "drops to 1 Gbit/s")
    done(page, hands)
    to("Go on with a case")
    tick(page, hands, f"C-{how}")
    hands.choose(page.get_by_label("What is done"), "close it")
    done(page, hands)
    entries = sorted((desk.archive / "ledger").rglob("*.json"))[-3:]
    assert all('"ed25519"' in e.read_text() for e in entries)  # signed as the commands of this user sign
    cases = asked(desk, "case", "list")["cases"]
    assert isinstance(cases, list) and {c["case"]: c["state"] for c in cases}[f"C-{how}"] == "closed"
    assert not wrong
    page.context.close()


def test_pages_of_the_desk_are_accessible_and_fit(browser: Browser, desk: Room, tmp_path: Path) -> None:
    clerk = Clerk.at(desk)
    files = {"week/a.xml": export(tmp_path, JOB, "T-01"), "<b>.csv": b"a;b\n", "x" * 190 + ".csv": b"1"}
    tray = query(clerk.upload(files), "tray")
    clerk.surveyed(tray)
    plan = query(clerk.send("/hand-in/dry-run", {"tray": tray, "job": JOB}), "id")
    clerk.ended(plan)
    broken = query(clerk.send("/hand-in/dry-run", {"tray": tray, "job": JOB, "zone": "x/y"}), "id")
    clerk.ended(broken)
    deposit = json.loads(desk.command("receipt", str(desk.archive), "--json"))["deposits"][0]["deposit"]
    acts = [
        f"/look-after/{name}" for name in ("set-aside", f"terms?job={JOB}", "documents", f"accept?job={JOB}", "hold")
    ]
    acts += [f"/look-after/{name}" for name in (f"amend?job={JOB}", "withdraw", "case-open", "case-step")]
    paths = ["/hand-in", f"/hand-in/tray?tray={tray}", f"/hand-in/plan?id={plan}", "/running", "/look-after", *acts]
    paths += [f"/running/one?id={plan}", f"/running/one?id={broken}", f"/receipt?deposit={deposit}"]
    paths += [f"/look-after/schedule?job={JOB}"]
    looks = (
        {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
        {"viewport": {"width": 400, "height": 800}, "locale": "de-DE"},
    )
    for how in looks:
        page, wrong = opened(browser, desk, (clerk.base, clerk.cookie), **how)
        for path in paths:
            page.goto(at(desk, clerk.base, path))
            page.wait_for_load_state("networkidle")
            found = Axe().run(page, options={"runOnly": {"type": "tag", "values": TAGS}})
            assert found.violations_count == 0, f"{path}: {found.generate_report()}"
            wide = page.evaluate(
                "[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1 "
                "&& !e.closest('.scroll')).map(e => e.outerHTML.slice(0, 80))"
            )
            assert not wide, f"{path} scrolls sideways: {wide[:3]}"
        assert not wrong
        page.context.close()


def test_files_are_dropped_and_a_whole_deposit_needs_no_script(browser: Browser, desk: Room, tmp_path: Path) -> None:
    clerk = Clerk.at(desk)
    page, wrong = opened(browser, desk, (clerk.base, clerk.cookie))
    page.goto(at(desk, clerk.base, "/hand-in"))
    handle = page.evaluate_handle(
        "() => { const t = new DataTransfer(); t.items.add(new File(['a;b\\n1;2\\n'], 'ä b.csv')); "
        "t.items.add(new File([], 'empty.csv')); return t; }"
    )
    page.dispatch_event("form[data-drop]", "drop", {"dataTransfer": handle})
    page.wait_for_url(re.compile("/hand-in/tray"), timeout=PATIENCE)
    expect(page.locator("main")).to_contain_text("ä b.csv")
    expect(page.locator("main")).to_contain_text("2 files")
    assert not wrong
    page.context.close()
    page, wrong = opened(browser, desk, (clerk.base, clerk.cookie), java_script_enabled=False)
    page.goto(at(desk, clerk.base, "/hand-in"))
    place = tmp_path / "late.xml"
    place.write_bytes(export(tmp_path, JOB, "U-01"))
    page.get_by_label("Files, or zips").set_input_files(place)
    page.get_by_role("button", name="Put into the tray").first.click()
    page.get_by_label("Job", exact=True).fill(JOB)
    page.get_by_role("button", name="Make the dry run").click()
    _reloaded(page, "Look over the plan")
    page.get_by_role("button", name="Confirm, and deposit just this").click()
    _reloaded(page, "The receipt")
    assert asked(desk, "find", "--link", "U-01")["records"] and not wrong
    page.context.close()


def _reloaded(page: Page, link: str) -> None:
    """Without script a person loads the page anew until the work has ended."""
    for _ in range(240):
        if page.get_by_role("link", name=link).count():
            page.get_by_role("link", name=link).click()
            return
        page.wait_for_timeout(500)
        page.reload()
    raise AssertionError(page.inner_text("main"))
