"""The room in Debian's Chromium: tasks by keyboard, axe-core for WCAG 2.2 AA, no error, no policy violation, no request
to anywhere else."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.room.serving import Room

CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine (.ci/run installs it)")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM)
        yield found
        found.close()


@pytest.fixture(scope="module")
def key(inside: tuple[str, str]) -> tuple[str, str]:
    return inside


def opened(browser: Browser, room: Room, key: tuple[str, str], **how: object) -> tuple[Page, list[str]]:
    """A page that is signed in, and the list of everything that goes wrong on it."""
    base, cookie = key
    context = browser.new_context(**how)  # type: ignore[arg-type]
    name, _, value = cookie.partition("=")
    context.add_cookies(
        [{"name": name, "value": value, "domain": "127.0.0.1", "path": base + "/", "sameSite": "Strict"}]
    )
    page, wrong = context.new_page(), list[str]()
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    ours = f"http://127.0.0.1:{room.port}/"
    page.on("request", lambda request: None if request.url.startswith(ours) else wrong.append(request.url))
    return page, wrong


PAGES = (
    "/",
    "/link?label=1A-A02",
    "/jobs",
    "/job?job=HARBOUR-2019-04",
    "/rates?by=job",
    "/trends",
    "/ready?application=10gbase-t",
    "/limits",
    "/help",
    "/claim?label=1A-A01",
    "/?since=2019&order=least+margin&col=verdict&col=building&col=margin:next&tests=all",
    "/find/values?name=limit",
    "/recall?serial=40-00317",
    "/copies?job=HARBOUR-2019-04",
    "/health?look=count",
    "/sign-ins",
)


@pytest.mark.parametrize("look", ["wide", "phone", "dark", "huge"])
def test_pages_are_accessible_and_fit(browser, room, key, look):
    how = {
        "wide": {"viewport": {"width": 1366, "height": 900}},
        "phone": {"viewport": {"width": 400, "height": 800}, "locale": "de-DE"},
        "dark": {"viewport": {"width": 1366, "height": 900}, "color_scheme": "dark", "locale": "fr-FR"},
        "huge": {"viewport": {"width": 2560, "height": 1300}, "locale": "es-ES"},
    }[look]
    page, wrong = opened(browser, room, key, **how)
    for path in PAGES:
        page.goto(f"http://{room.host}{key[0]}{path}")
        page.wait_for_load_state("networkidle")
        assert page.evaluate("document.documentElement.lang") == str(how.get("locale", "en"))[:2]
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": TAGS}})
        assert found.violations_count == 0, f"{path} {look}: {found.generate_report()}"
        wide = page.evaluate(
            "[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1 "
            "&& !e.closest('.scroll')).map(e => e.outerHTML.slice(0, 80))"
        )
        assert not wide, f"{path} {look} scrolls sideways: {wide[:3]}"
    assert not wrong
    page.context.close()


def test_the_language_is_chosen_and_stays(browser, room, key):
    page, wrong = opened(browser, room, key)
    page.goto(f"http://{room.host}{key[0]}/?q=a02")
    page.get_by_role("button", name="Deutsch").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Eine Strecke suchen")
    assert page.url.endswith("/?q=a02")
    page.get_by_role("link", name="1A-A02").click()
    expect(page.get_by_role("heading", name="Alles, was geschah")).to_be_visible()
    expect(page.locator("#value")).to_contain_text("engste Stelle, Reserve \u22121,0 dB")
    page.get_by_role("button", name="English").click()
    expect(page.get_by_role("heading", name="Everything that happened")).to_be_visible()
    assert not wrong
    page.context.close()


def test_a_reader_hears_what_a_page_shows(browser, room, key):
    """The tree that Chromium gives to a screen reader: landmarks, headings, names of what can be used."""
    page, wrong = opened(browser, room, key)
    page.goto(f"http://{room.host}{key[0]}/?q=a02")
    told = page.locator("body").aria_snapshot()
    for part in ("banner:", 'navigation "Pages":', "main:", 'heading "Find a link" [level=1]', "contentinfo:"):
        assert part in told, part
    assert "status: 1 link." in told and 'rowheader "1A-A02 part of the label"' in told and 'cell "fail"' in told
    page.goto(f"http://{room.host}{key[0]}/link?label=1A-A02")
    expect(page.locator("#value")).to_contain_text("tightest")
    told = page.locator("main").aria_snapshot()
    assert 'application "Curves over frequency"' in told and told.count("checkbox") == 4  # pairs
    assert 'button "Tightest point"' in told and 'combobox "Against the limit"' in told
    assert told.index("every step that was looked at holds") < told.index("application")
    assert not wrong
    page.context.close()


def test_a_link_is_found_and_read_by_keyboard_alone(browser, room, key):
    page, wrong = opened(browser, room, key)
    page.goto(f"http://{room.host}{key[0]}/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.get_by_role("searchbox").focus()
    page.keyboard.type("a02", delay=20)
    expect(page.get_by_role("status")).to_have_text("1 link.")
    expect(page.get_by_role("complementary", name="Narrow by")).to_be_visible()  # it follows by itself
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("q=a02"))
    page.get_by_role("link", name="1A-A02").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("1A-A02")
    plot, said = page.get_by_role("application", name="Curves over frequency"), page.locator("#value")
    expect(said).to_contain_text("tightest point")
    plot.focus()
    page.keyboard.press("Home")
    expect(said).to_contain_text("at 1 MHz")
    page.keyboard.press("End")
    expect(said).to_contain_text("at 500 MHz")
    first = said.inner_text()
    page.keyboard.press("ArrowDown")
    expect(said).not_to_have_text(first)
    page.keyboard.press("t")
    expect(said).to_contain_text("its tightest point, margin \u22121.0 dB")
    assert not wrong
    page.context.close()


def test_curves_are_turned_off_and_graded_against_another_limit_at_once(browser, room, key):
    page, wrong = opened(browser, room, key)
    page.goto(f"http://{room.host}{key[0]}/link?label=1A-A01")
    said = page.locator("#value")
    expect(said).to_contain_text("tightest point")
    expect(page.locator("#proof")).to_contain_text("every step that was looked at holds")
    first = page.get_by_role("checkbox").first
    first.focus()
    page.keyboard.press("Space")
    expect(first).not_to_be_checked()
    page.get_by_role("button", name="This curve alone").click()
    assert page.get_by_role("checkbox", checked=True).count() == 1
    page.get_by_role("button", name="All curves", exact=True).click()
    before = page.locator("#graded").inner_text()
    page.get_by_label("Against the limit").select_option("iso-11801-1/class-ea/permanent-link-2")
    expect(page.locator("#graded")).to_contain_text("Worst points against iso-11801-1/class-ea/permanent-link-2")
    assert page.locator("#graded").inner_text() != before
    page.get_by_role("application").focus()
    for key_name in ("+", "+", "ArrowRight", "-", "Escape", "End"):
        page.keyboard.press(key_name)
    expect(said).to_contain_text("at 500 MHz")
    assert not wrong
    page.context.close()


def test_it_works_without_javascript(browser, room, key):
    page, wrong = opened(browser, room, key, java_script_enabled=False)
    page.goto(f"http://{room.host}{key[0]}/")
    page.get_by_role("searchbox").fill("a02")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="1A-A02").click()
    expect(page.get_by_role("table").first).to_be_visible()
    assert not wrong
    page.context.close()


def test_another_page_on_this_machine_gets_nothing(browser, room, key, tmp_path):
    """A page of another origin that frames, links to and posts to the room."""
    hostile = tmp_path / "page.html"
    address = f"http://{room.host}{key[0]}/"
    hostile.write_text(
        f'<a id="go" href="{address}">go</a><iframe src="{address}"></iframe>'
        f'<form id="send" method="post" action="{address}claim.zip"><input name="label" value="1A-A01"></form>'
    )
    context = browser.new_context()
    name, _, value = key[1].partition("=")
    context.add_cookies(
        [{"name": name, "value": value, "domain": "127.0.0.1", "path": key[0] + "/", "sameSite": "Strict"}]
    )
    page = context.new_page()
    page.goto(hostile.as_uri())
    page.click("#go")
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile("not open to this browser|Another page"))
    page.goto(hostile.as_uri())
    page.evaluate("document.getElementById('send').submit()")
    expect(page.get_by_role("heading", level=1)).to_have_text("Another page sent this")
    context.close()
