"""Pages as others see them: Chromium, poppler, a grey printer; labels that try to be something else."""

import csv
import io
import json
import re
import shutil
import subprocess
import zipfile
from xml.etree import ElementTree

import pytest
from answers_making import HOSTILE, STANDS, optical
from test_claim import ON

from archive import store
from archive.answers.claim import claim_facts as claimed
from archive.answers.claim.claim_folder import write
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.claim.optics import events, loss
from archive.answers.documents import html, pdf
from archive.answers.documents.text import visible
from archive.answers.wording import ENGLISH

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def needs(tool):
    """Skips where a program of the machine is not there."""
    return pytest.mark.skipif(shutil.which(tool) is None, reason=f"{tool} is not installed")


@pytest.fixture(scope="module")
def pages(troubles_place, tmp_path_factory):
    """PDF and HTML of one claim file."""
    place = tmp_path_factory.mktemp("pages")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(place / "cache"))
        facts, originals = gather(store.open(troubles_place), STANDS, on=ON)
        write(facts, originals, place / "out")
    return place / "out" / "data"


def run(*command, **more):
    """What a program prints."""
    return subprocess.run([*map(str, command)], capture_output=True, text=True, check=True, **more).stdout


# Paper


@needs("pdfinfo")
def test_the_pdf_is_made_as_pdf_a_3_tagged_with_its_fonts_inside(pages):
    # No validator of PDF/A could be installed here from PyPI, Debian or npm; poppler tells what the file claims.
    told = dict(re.findall(r"^(\S[^:]*):\s+(.*)$", run("pdfinfo", pages / "claim.pdf"), re.M))
    assert told["Tagged"] == "yes" and told["JavaScript"] == "no" and told["Encrypted"] == "no"
    made = (pages / "claim.pdf").read_bytes()
    assert b"<pdfaid:part>3</pdfaid:part>" in made and b"<pdfaid:conformance>A</pdfaid:conformance>" in made
    assert all(line.split()[-5] == "yes" for line in run("pdffonts", pages / "claim.pdf").splitlines()[2:])


@needs("pdfdetach")
def test_the_pdf_carries_the_record(pages, tmp_path):
    run("pdfdetach", "-saveall", "-o", tmp_path, pages / "claim.pdf")
    assert (tmp_path / "record.xml").read_bytes() == (pages / "record.xml").read_bytes()


@needs("pdftotext")
def test_the_pages_are_numbered_and_say_what_the_html_says(pages):
    text = run("pdftotext", "-layout", pages / "claim.pdf", "-")
    count = text.count("\f")
    assert count > 5 and f"page {count} of {count}" in text
    for words in ("Claim file", "Before you rely on this record", "Custody and proof", "A. Quillfeather"):
        assert words in text and words in (pages / "claim.html").read_text(encoding="utf-8")


@needs("pdftohtml")
def test_headings_are_bookmarks(pages):
    told = run("pdftohtml", "-xml", "-i", "-stdout", pages / "claim.pdf")
    titles = re.findall(r'<item page="\d+">([^<]+)</item>', told)
    assert titles[-2:] == ["Method, limits of evidence, cautions", "Before anybody works on the link"]
    assert "Curves" in titles


@needs("pdftoppm")
def test_a_grey_print_of_the_curves_has_ink_of_many_shades(pages, tmp_path):
    run("pdftoppm", "-gray", "-r", "40", "-f", "2", "-l", "2", pages / "claim.pdf", tmp_path / "page")
    (page,) = tmp_path.glob("page*.pgm")
    dots = page.read_bytes()[20:]
    assert min(dots) < 80 and max(dots) == 255 and len(set(dots)) > 20


# Browser


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
def test_a_browser_shows_the_page_and_sends_no_request(pages, tmp_path):
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--hide-scrollbars"]
    flags += [f"--user-data-dir={tmp_path / 'profile'}", "--disable-component-update", "--no-first-run"]
    log = tmp_path / "net.json"
    shot = tmp_path / "page.png"
    page = (pages / "claim.html").as_uri()
    run(CHROMIUM, *flags, f"--log-net-log={log}", "--window-size=900,1400", f"--screenshot={shot}", page)
    told = log.read_text(encoding="utf-8", errors="replace")
    asked = set(re.findall(r'"url":"(https?://[^"]+)"', told))
    assert not {u for u in asked if not _of_the_browser(u)}
    png = shot.read_bytes()
    assert png.startswith(b"\x89PNG") and len(png) > 30_000  # an empty page of this size packs to some 5 kB
    dom = run(CHROMIUM, *flags, "--dump-dom", page)
    assert "Before you rely on this record" in dom and dom.count("<svg") >= 8


def _of_the_browser(url):
    """Addresses that the browser itself asks for, whatever page it shows."""
    return bool(re.match(r"https?://([a-z0-9-]+\.)*(google|googleapis|gstatic|gvt1)\.com/", url))


def test_the_page_names_no_other_place(pages):
    text = (pages / "claim.html").read_text(encoding="utf-8")
    assert "default-src 'none'" in text and "<script" not in text.lower()
    assert not re.search(r"""(?:src|href|action)\s*=\s*["'](?!#)""", text)
    assert not re.search(r"url\((?!#)", text) and "@import" not in text
    assert set(re.findall(r'https?://[^\s"<]+', text)) <= {"http://www.w3.org/2000/svg"}


def test_the_page_is_well_formed_and_every_id_is_there_once(pages):
    text = (pages / "claim.html").read_text(encoding="utf-8")
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'href="#([^"]+)"', text)) | set(re.findall(r"url\(#([^)]+)\)", text)) <= set(ids)
    for svg in re.findall(r"<svg .*?</svg>", text, re.S):
        ElementTree.fromstring(svg)


# Labels


@pytest.mark.parametrize("number", range(len(HOSTILE)))
def test_hostile_labels_are_texts_in_both_forms(hostile, number, tmp_path):
    label = HOSTILE[number]
    facts, _ = gather(hostile, label, on=ON)
    doc = compose(facts)
    page = html(doc)
    assert "<script" not in page.lower() and "<img" not in page and "\u202e" not in page
    shown = visible(label).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&#34;")
    assert shown in page.replace("<wbr>", "")
    made = pdf(doc)
    if shutil.which("pdftotext"):
        (tmp_path / "d.pdf").write_bytes(made)
        text = run("pdftotext", "-raw", tmp_path / "d.pdf", "-").replace("\n", "").replace(" ", "")
        if label.isascii():
            assert label.replace(" ", "") in text
        else:
            assert "⟨U+" in text


def test_no_exported_cell_is_a_formula(hostile, tmp_path):
    facts, originals = gather(hostile, HOSTILE[1], on=ON)
    write(facts, originals, tmp_path / "out")
    with zipfile.ZipFile(tmp_path / "out" / "data" / "record-csv.zip") as packed:
        for name in packed.namelist():
            if name.endswith(".csv"):
                cells = [c for row in csv.reader(io.StringIO(packed.read(name).decode())) for c in row]
                # What spreadsheets take for a formula; numbers may begin with a sign. OWASP, CSV injection.
                assert not [c for c in cells if c[:1] in ("=", "@", "\t", "\r")], name
                assert not [c for c in cells if c[:1] in ("+", "-") and not re.fullmatch(r"[-+\d.eE ]+", c)], name
    info = (tmp_path / "out" / "bag-info.txt").read_text(encoding="utf-8")
    assert len(info.splitlines()) == 5


def test_a_label_leads_to_no_file_outside(hostile, tmp_path):
    facts, originals = gather(hostile, "A/17", on=ON)
    write(facts, originals, tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert json.loads((tmp_path / "out" / "data" / "proof.json").read_bytes())["link_label"] == "A/17"


# Fibre


def test_optical_loss_is_drawn_with_its_limit_and_a_fail_has_a_negative_margin():
    tested = claimed.TestedRecord(optical(), "")
    section = loss(tested, ENGLISH)
    picture = section.blocks[0].svg
    ElementTree.fromstring(picture)
    assert "1.42 dB, margin 0.58 dB" in picture and "2.30 dB, margin −0.30 dB" in picture
    assert "the export states" in section.blocks[0].caption


def test_the_events_of_a_trace_are_numbered_in_picture_and_table():
    from archive.answers.claim.curve_figures import figures, line_of

    tested = claimed.TestedRecord(optical(), "")
    (trace,) = figures(tested.batch, [], line_of(None), ENGLISH)
    assert all(f">{n}</text>" in trace.svg for n in (1, 2, 3)) and "distance, km" in trace.svg
    rows = events(tested, ENGLISH).blocks[0].rows
    assert [r[0] for r in rows] == ["1", "2", "3"] and rows[1][5] == "0.40"


# Paper against data


@needs("pdftotext")
def test_the_worst_margins_on_paper_are_those_of_the_data(troubles, pages):
    """Every parameter and end of the graded record: frequency, value, limit and margin in one row of the PDF."""
    from archive import vocabulary

    facts, _ = gather(troubles, STANDS, on=ON)
    text = " ".join(run("pdftotext", "-layout", pages / "claim.pdf", "-").split())
    rows = [g for g in facts.standing.grades(facts.standing.verdict()["limit_id"]) if g["kind"] == "worst_margin"]
    least = {}
    for g in rows:
        key = g["parameter"], g["end"]
        if g["margin"] is not None and (key not in least or g["margin"] < least[key]["margin"]):
            least[key] = g
    assert len(least) > 12
    for g in least.values():
        unit = vocabulary.parameter(g["parameter"]).unit
        shown = [ENGLISH.margin(g[k], unit) for k in ("value", "limit", "margin")]
        at = [ENGLISH.free(g["frequency_mhz"])] if g["frequency_mhz"] is not None else []
        assert " ".join([*at, *shown]) in text, g["parameter"]


@needs("pdftotext")
def test_letters_in_pictures_are_seven_points_or_more(pages):
    """Sizes as poppler reports them; texts of pictures are set in DejaVu Sans, smaller than the text around them."""
    told = run("pdftotext", "-bbox-layout", "-f", "2", "-l", "6", pages / "claim.pdf", "-")
    words = re.findall(r'yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)">([^<]+)</word>', told)
    axis = [float(bottom) - float(top) for top, bottom, word in words if word in ("100", "200", "300", "400")]
    # Poppler gives these words the height of their size: 10.4 dots of 680 on 470.6 pt are 7.20.
    assert len(axis) > 8 and min(axis) >= 7.0
