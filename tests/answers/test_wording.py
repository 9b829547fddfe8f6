"""Words, numbers, dates and lengths by language and place; the list of all texts is kept current."""

import ast
import string
from pathlib import Path

import pytest
from answers_making import STANDS
from babel.messages.pofile import read_po
from hypothesis import given
from hypothesis import strategies as st
from test_claim import ON

from archive import schemas, vocabulary
from archive.answers import messages
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.claim.timing import span_text
from archive.answers.documents import html
from archive.answers.wording import ENGLISH, Wording, decimals_of
from archive.errors import Trouble
from archive.store.counting.columns import counted_parameters


def backwards(text):
    """An invented language: every word of a text reversed, what is in braces kept."""
    parts = list(string.Formatter().parse(text))
    return "".join(lit[::-1] + (f"{{{name}}}" if name is not None else "") for lit, name, _, _ in parts)


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory):
    """A translation of all texts into the invented language."""
    path = tmp_path_factory.mktemp("words") / "xx.po"
    head = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n\n'
    quoted = [f'msgid "{_escaped(t)}"\nmsgstr "{_escaped(backwards(t))}"\n' for t in messages.texts() if "{{" not in t]
    path.write_text(head + "\n".join(quoted), encoding="utf-8")
    return path


def _escaped(text):
    return text.replace("\\", "\\\\").replace('"', '\\"')


def test_the_list_of_texts_is_current():
    assert (schemas.root() / messages.POT).read_bytes() == messages.catalogue(), (
        "run python -m archive.answers.messages"
    )


def test_babel_reads_the_list_and_finds_every_text_of_the_code_in_it():
    with (schemas.root() / messages.POT).open("rb") as file:
        listed = {m.id for m in read_po(file) if m.id}
    assert listed == set(messages.texts())
    for text in ("Before you rely on this record", "insertion loss", "full sweep", "calibration expired", "said by"):
        assert text in listed, text


def test_no_text_is_put_together_before_it_is_translated():
    """A translator needs whole texts: words(f"...") or words("..." + x) would look for what no catalogue has."""
    for path in Path(messages.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("words", "w"):
                assert not node.args or not isinstance(node.args[0], ast.JoinedStr | ast.BinOp), (path, node.lineno)


def test_a_translation_reaches_the_page(troubles, catalogue):
    facts, _ = gather(troubles, STANDS, on=ON)
    words = Wording("fr", catalogue=catalogue)
    page = html(compose(facts, words))
    assert '<html lang="fr">' in page
    for text in ("Before you rely on this record", "Custody and proof", "smallest margin", "PS NEXT", "with this said"):
        assert backwards(text) in page, text
    assert "15 janvier 2030" in page and "Before you rely" not in page
    assert "42,1" in page or "39,2" in page  # lengths with a decimal comma


def test_a_translation_that_names_what_is_not_there_gives_way_to_the_english(tmp_path):
    path = tmp_path / "xx.po"
    path.write_text('msgid "Link {link}"\nmsgstr "Lien {lien}"\n', encoding="utf-8")
    assert Wording("fr", catalogue=path)("Link {link}", link="A") == "Link A"


def test_what_is_no_catalogue_or_no_locale_is_told_in_one_line(tmp_path):
    (tmp_path / "x.po").write_bytes(b"\xff\xfe nonsense")
    with pytest.raises(Trouble, match="no catalogue"):
        Wording("fr", catalogue=tmp_path / "x.po")("pass")
    with pytest.raises(Trouble, match="no such locale"):
        Wording("klingon!")


def test_numbers_dates_and_lengths_go_by_place(tmp_path):
    # Decimal comma and the order of dates in German: CLDR, as Babel ships it. Feet: 0.3048 m by definition.
    german, american = Wording("de", catalogue=one_text(tmp_path, "Ja")), Wording("en_US", "ft")
    assert german.number(-1234.56, 1) == "−1.234,6" and german.day("2024-06-12") == "12. Juni 2024"
    assert american.day("2024-06-12T16:40:00") == "June 12, 2024, 16:40"
    assert american.length(100.0) == "328 ft" and american.headed("length") == "length, ft"
    assert ENGLISH.length(42.06) == "42.1 m" and ENGLISH.day("about noon") == "about noon"


def test_without_a_translation_words_and_dates_stay_english_together():
    untranslated = Wording("is")
    assert untranslated.language == "en" and not untranslated.translated
    assert untranslated.number(-1234.56, 1) == "−1,234.6" and untranslated.day("2024-06-12") == "12 June 2024"


def test_texts_with_a_number_have_two_forms(tmp_path):
    french = Wording("fr", catalogue=one_text(tmp_path, "Oui"))
    days = [words.counted(n, "{count} day", "{count} days") for words in (ENGLISH, french) for n in (0, 1, 2)]
    assert days == ["0 days", "1 day", "2 days", "0 day", "1 day", "2 days"]  # French has 0 in the singular: CLDR


def one_text(folder, said):
    """A catalogue of one text."""
    path = folder / "one.po"
    path.write_text(f'msgid "Yes"\nmsgstr "{said}"\n', encoding="utf-8")
    return path


@given(st.floats(-1e4, 1e4).filter(lambda v: abs(v) > 1e-8))
def test_a_margin_is_never_rounded_to_none(value):
    shown = ENGLISH.margin(value, "dB").replace("−", "-").replace(",", "")
    assert float(shown) != 0 and (float(shown) < 0) == (value < 0)
    assert decimals_of(value, "dB") >= 1


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [
        ("2024-02-29", "2025-02-28", "365 days"),
        ("2024-02-29", "2025-03-01", "1 year"),
        ("2024-06-01", "2049-05-31", "24 years and 364 days"),
        ("2030-01-15", "2030-01-15", "0 days"),
    ],
)
def test_spans_are_whole_years_and_days(start, end, told):
    assert span_text(start, end, ENGLISH) == told


def test_each_parameter_that_is_counted_has_a_name() -> None:
    """Losses of fibers are counted at each wavelength by themselves, and are named so."""
    for name in counted_parameters():
        assert Wording("de").parameter(name) and vocabulary.parameter(name).name
    assert Wording().parameter("optical_loss_1310nm").endswith(" at 1310 nm")
    assert vocabulary.parameter("optical_loss_1310nm") is vocabulary.parameter("optical_loss")
