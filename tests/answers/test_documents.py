"""Documents: hostile texts are shown as texts, both forms carry the same words, the same input gives the same bytes."""

import shutil
import subprocess

import pytest
from fontTools import ttLib

from archive.answers.documents import (
    Attachment,
    Code,
    Document,
    DocumentSection,
    FactsBlock,
    Listing,
    Notice,
    Para,
    TableBlock,
    html,
    pdf,
)
from archive.answers.documents.text import fonts, printable, visible

HOSTILE = "<script>alert(1)</script> #pagebreak() $x$ \\ @a `b` \u202eevil *bold* =1+1"


def test_letters_that_the_font_lacks_are_written_out():
    """The letters of the font are those that an independent reader of fonts finds; any other is written as its code."""
    with ttLib.TTFont(fonts() / "DejaVuSans.ttf", lazy=True) as font:
        there = sorted(font.getBestCmap())
    letters = "".join(map(chr, there)).translate(dict.fromkeys(range(32)) | {0xAD: None})
    assert len(letters) > 5000 and [c for c in letters if printable(c) != c and visible(c) == c] == []
    assert printable("\u6f22") == "⟨U+6F22⟩" and 0x6F22 not in there


def document(text=HOSTILE):
    return Document(
        f"Title {text}",
        f"Sub {text}",
        "kicker",
        "2026-11-25",
        [
            DocumentSection(
                f"Head {text}",
                [
                    Para(f"Para {text}"),
                    FactsBlock([("name", text)], columns=2),
                    Notice("Mind", [text]),
                    TableBlock(["a", "b"], [["1", text]], align="rl", code=frozenset({1})),
                    Listing([text], numbered=True),
                    Code(text),
                ],
            )
        ],
        footer="foot",
        attachments=[Attachment("record.xml", b"<a/>", "application/xml", "the record")],
    )


def test_html_shows_hostile_text_as_text_and_asks_nothing_of_the_net():
    page = html(document())
    assert "<script" not in page.lower()
    assert page.count("&lt;script&gt;") == 10  # the title stands twice
    assert "default-src 'none'" in page and "http://" not in page and "https://" not in page


def test_the_pdf_is_the_same_every_time_and_carries_its_attachment(tmp_path):
    made = pdf(document())
    assert made == pdf(document())
    assert made.startswith(b"%PDF-1.7") and b"pdfaid" in made
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "d.pdf").write_bytes(made)
    text = subprocess.run(["pdftotext", tmp_path / "d.pdf", "-"], capture_output=True, text=True, check=True).stdout
    assert "<script>alert(1)</script> #pagebreak() $x$" in text.replace("\n", " ")
    listed = subprocess.run(["pdfdetach", "-list", tmp_path / "d.pdf"], capture_output=True, text=True, check=True)
    assert "record.xml" in listed.stdout
    fonts = subprocess.run(["pdffonts", tmp_path / "d.pdf"], capture_output=True, text=True, check=True).stdout
    assert all(line.split()[-5] == "yes" for line in fonts.splitlines()[2:])  # every font is inside


def test_a_long_digest_breaks_on_paper_but_is_copied_whole(tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    digest = "0123456789abcdef" * 8
    (tmp_path / "d.pdf").write_bytes(pdf(document(digest)))
    text = subprocess.run(
        ["pdftotext", "-raw", tmp_path / "d.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    assert digest in text.replace("\n", "") and "\u200b" not in text


def test_of_a_table_no_fewer_than_three_rows_stand_on_a_page(tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    for before in range(24, 34):  # wherever on a page the table begins
        rows = [[f"row-{n}", "text"] for n in range(14)]
        blocks = [Para(f"Paragraph {n}.") for n in range(before)] + [TableBlock(["a", "b"], rows)]
        made = Document("Title", "", "kicker", "2026-11-25", [DocumentSection("Head", blocks)])
        (tmp_path / "d.pdf").write_bytes(pdf(made))
        text = subprocess.run(["pdftotext", tmp_path / "d.pdf", "-"], capture_output=True, text=True, check=True).stdout
        counts = [page.count("row-") for page in text.split("\f")]
        assert sum(counts) == 14 and all(n == 0 or n >= 3 for n in counts), (before, counts)


def test_a_label_in_a_table_does_not_break_at_its_hyphen():
    made = html(
        Document("T", "", "k", "2026-11-25", [DocumentSection("H", [TableBlock(["a"], [["1A-A01"], ["a b-c"]])])])
    )
    assert '<td class="l word">1A-A01</td>' in made and '<td class="l">a b-c</td>' in made
