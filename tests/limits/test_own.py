"""Limits of a user's own: what they may say, that they are labelled, and what a wrong file is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from archive import limits
from archive.errors import Trouble
from archive.grading import grade
from archive.limits import fiber
from tests.grading.fiber_making import BOTH, loss_test

HEAD = 'id = "harbour-office/permanent-link"\ntitle = "Harbour office, specification 12"\nby = "its engineer"\n'


def _own(folder: Path, text: str) -> limits.Limit:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return limits.get(str(path))


def test_breakpoints_over_lg_f(tmp_path: Path) -> None:
    limit = _own(
        tmp_path,
        HEAD + '[lines.next]\nbreakpoints = [[1, 66], [100, 43], [500, 28]]\nbetween_points = "straight over lg(f)"\n',
    )
    assert limit.own and limit.id == "own/harbour-office/permanent-link"
    assert "own limit" in limit.title and "its engineer" in limit.title
    assert limit.lines["next"].at([1, 10, 100, 500]) == pytest.approx([66, 54.5, 43, 28])
    assert np.isnan(limit.lines["next"].at([0.9, 500.1])).all()
    assert limit.lines["next"].confidence == "A"  # who states a limit stands for it


def test_breakpoints_over_f(tmp_path: Path) -> None:
    text = HEAD + '[lines.next]\nbreakpoints = [[100, 40], [200, 30]]\nbetween_points = "straight over f"\n'
    assert _own(tmp_path, text).lines["next"].at(150).item() == pytest.approx(35)


def test_formula_with_terms_and_another_line(tmp_path: Path) -> None:
    limit = _own(
        tmp_path,
        HEAD + "range_mhz = [1, 100]\n[terms]\nspan = '0.5*sqrt(f)'\n[lines.insertion_loss]\nformula = '2*span'\n"
        "[lines.next]\nformula = '60 - 10*lg(f)'\n[lines.acr_n]\nformula = 'next - insertion_loss'\n"
        "[scalars]\ndelay_skew = { value = 25 }\n",
    )
    assert limit.lines["acr_n"].at(100).item() == pytest.approx(40 - 10)
    assert limit.scalars["delay_skew"].value == 25


def test_like_another_limit(tmp_path: Path) -> None:
    limit = _own(tmp_path, HEAD + 'like = "tia-568.2-d/cat6a/permanent-link"\n[lines.return_loss]\nformula = "20"\n')
    theirs = limits.get("tia-568.2-d/cat6a/permanent-link")
    assert limit.lines["next"].at(250) == theirs.lines["next"].at(250)
    assert limit.lines["next"].confidence == theirs.lines["next"].confidence
    assert limit.lines["return_loss"].at(250).item() == 20
    assert limit.own and limit.document == "Harbour office, specification 12"
    assert [p.name for p in limit.files][:2] == ["own.toml", "tia-568.2-d.toml"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "a key is missing; expected id"),
        ('id = "UP PER!"\ntitle = "x"\nby = "y"\n', "this id cannot be used"),
        ("id = 3", "id: a value of another kind; found a whole number; expected text"),
        ('id = "a"\ntitle = " "\nby = "y"\n', "title: a text is missing"),
        (HEAD + "[lines.next]\nrange_mhz=[1,100]\nformula='19'\nconfidence='D'\n", "found 'D'; expected A, B, C"),
        ('id = "a"\n', "a key is missing; expected title"),
        (HEAD, "a limit without lines"),
        (HEAD + "[lines.nxt]\nformula='19'\n", "no such parameter"),
        (HEAD + "[lines.next]\nformula='19'\n", "a formula without a beginning or an end"),
        (HEAD + "[lines.next]\nrange_mhz=[1,100]\nformula='19 -'\n", "this formula cannot be read"),
        (HEAD + "[lines.next]\nrange_mhz=[1,100]\nformula='cable'\n", "names something unknown"),
        (HEAD + "[lines.next]\nrange_mhz=[1,100]\nformula='next'\n", "made of each other"),
        (HEAD + "[lines.next]\nrange_mhz=[1,100]\nformula='lg(f-50)'\n", "gives no number"),
        (HEAD + "[lines.next]\nrange_mhz=[1,100]\nfrmula='19'\n", "lines.next: a key that nothing reads; found frmula"),
        (HEAD + "[lines.next]\nrange_mhz=[100,1]\nformula='19'\n", "runs backwards"),
        (HEAD + "[lines.next]\nrange_mhz=[0,1]\nformula='19'\n", "range_mhz[0]: a value out of range; found 0"),
        (HEAD + "[lines.next]\nbreakpoints=[[1,2]]\nbetween_points='straight over f'\n", "single breakpoint"),
        (HEAD + "[lines.next]\nbreakpoints=[[1,2],[3,4]]\n", "between_points"),
        (HEAD + "[lines.next]\nbreakpoints=[[3,2],[1,4]]\nbetween_points='straight over f'\n", "do not rise"),
        (
            HEAD + "[lines.next]\nbreakpoints=[[1,'x'],[3,4]]\nbetween_points='straight over f'\n",
            "lines.next.breakpoints[0][1]: a value of",
        ),
        (
            HEAD + "[lines.next]\nbreakpoints=[[1,nan],[3,4]]\nbetween_points='straight over f'\n",
            "found nan; expected a finite number",
        ),
        (HEAD + "[lines]\nnext = 19\n", "lines.next: a value of another kind; found a whole number; expected a table"),
        (HEAD + "lines = 19\n", "expected"),
        (HEAD + "[scalars]\ndelay_skew = 25\n", "scalars.delay_skew: a value of another kind"),
        (
            HEAD + "[scalars]\ndelay_skew = { value = 'x' }\n",
            "scalars.delay_skew.value: a value of another kind; found text",
        ),
        (HEAD + "[terms]\nf = '3'\n[lines.next]\nrange_mhz=[1,2]\nformula='f'\n", "cannot have this name"),
        (HEAD + "[terms]\na = 'b'\nb = 'a'\n[lines.next]\nrange_mhz=[1,2]\nformula='a'\n", "made of each other"),
        (HEAD + 'like = "tia-568.2-d/cat9/channel"\n', "no such limit to be like"),
        ("not toml", "this is not TOML"),
    ],
)
def test_a_wrong_file_is_told_in_one_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(Trouble) as caught:
        _own(tmp_path, text)
    assert told in str(caught.value), str(caught.value)
    assert "own.toml" in str(caught.value) and "\n" not in str(caught.value)


def test_no_file_and_no_text(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="there is no such file"):
        limits.get(str(tmp_path / "none.toml"))
    (tmp_path / "bytes.toml").write_bytes(b"id = '\xff'")
    with pytest.raises(Trouble, match="not UTF-8"):
        limits.get(str(tmp_path / "bytes.toml"))
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(Trouble, match="a folder"):
        limits.get(str(tmp_path / "folder.toml"))


OPTICAL = (
    'id = "harbour-office/backbone"\ntitle = "Harbour office, specification 14"\nby = "its engineer"\n'
    'fiber = "os2"\nconnection = 0.5\nsplice = 0.1\ncoefficients = { 1310 = 0.36, 1550 = 0.25 }\n'
)
BUDGET = (
    'id = "harbour-office/ring"\ntitle = "Harbour office, ring"\nby = "its engineer"\n'
    'budget = [{ fiber = "os2", nm = 1310, most_db = 3.0, most_m = 2000 }]\n'
)


def _optical(folder: Path, text: str, name: str = "optical.toml") -> fiber.OpticalLimit | fiber.OpticalApplication:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    assert fiber.is_optical(path)
    return fiber.load_own(path)


def test_an_optical_limit_of_ones_own_is_made_of_what_it_states(tmp_path: Path) -> None:
    """Arithmetic: 2 km x 0.36 dB/km, two connections of 0.5 dB, three splices of 0.1 dB."""
    limit = _optical(tmp_path, OPTICAL)
    assert isinstance(limit, fiber.OpticalLimit) and limit.id == "own/harbour-office/backbone"
    assert "own limit" in limit.title and "its engineer" in limit.title and limit.confidence == "A"
    found = limit.loss(1310, 2000, 2, 3, "one-cord")
    assert not isinstance(found, str) and found.db == pytest.approx(0.72 + 1.0 + 0.3)
    assert limit.required_nm == (1310.0, 1550.0) and "0.50 dB x connections" in limit.formula


def test_an_optical_limit_is_like_another_where_it_says_nothing(tmp_path: Path) -> None:
    """0.4 dB/km and 0.30 dB are those of ISO/IEC 11801-1 (1.2 and 1.3 of the reference)."""
    head = OPTICAL[: OPTICAL.index("fiber")]
    limit = _optical(tmp_path, head + 'like = "iso-11801-1/os2/link"\nconnection = 0.3\n')
    assert isinstance(limit, fiber.OpticalLimit)
    found = limit.loss(1550, 1000, 2, 1, "one-cord")
    assert not isinstance(found, str) and found.db == pytest.approx(0.4 + 0.6 + 0.3)
    assert limit.directions and limit.directions.count == 2


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('fiber = "os2"', 'fiber = "os9"', "no such class of fibre"),
        ("1310 =", "2000 =", "no wavelength of this fibre"),
        ("splice = 0.1\n", "", "a limit without parts"),
        ("splice = 0.1", "splice = 0.1\ndirections = 3", "cannot be measured"),
        ("connection", "conection", "a key that nothing reads"),
        ("splice = 0.1", "splice = -0.1", "optical.toml"),
    ],
)
def test_a_wrong_optical_limit_is_told_where(tmp_path: Path, old: str, new: str, what: str) -> None:
    with pytest.raises(Trouble) as told:
        _optical(tmp_path, OPTICAL.replace(old, new))
    assert what in str(told.value) and told.value.code == "limit.declaration"


def test_records_are_graded_against_optical_limits_of_ones_own(tmp_path: Path) -> None:
    """1.9 dB over 2 km: the limit is 0.72 + 1.0 dB at 1310 nm; the budget of 3.0 dB and 2000 m is met."""
    own = [_optical(tmp_path, OPTICAL), _optical(tmp_path, BUDGET, "ring.toml")]
    losses = {("", nm, way): 1.9 for nm in (1310.0, 1550.0) for way in BOTH}
    batch = loss_test(losses, length_m=2000.0, cable_type="os2/9", limit_found="Harbour office, specification 14")
    (named,) = grade(batch, user_limits=own)["verdicts"].to_pylist()
    assert (named["limit_id"], named["verdict"]) == ("own/harbour-office/backbone", "fail")
    asked = grade(batch, "own/harbour-office/backbone", ["own/harbour-office/ring"], own)["verdicts"].to_pylist()
    assert {v["limit_id"]: v["verdict"] for v in asked} == {
        "own/harbour-office/backbone": "fail",
        "own/harbour-office/ring": "pass",
    }
    (by_file,) = grade(batch, str(tmp_path / "ring.toml"))["verdicts"].to_pylist()
    assert (by_file["limit_id"], by_file["limit"], by_file["verdict"]) == ("own/harbour-office/ring", 3.0, "pass")
    with pytest.raises(Trouble, match="same id"):
        grade(batch, user_limits=[own[0], own[0]])
