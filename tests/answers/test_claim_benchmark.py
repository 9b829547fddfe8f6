"""The benchmarks of claim file and book run, and what they compare draws the same curves. No time is asserted."""

import re

from test_claim import ON

from archive.answers.claim.curve_figures import curves_of, figures, line_of
from archive.answers.wording import ENGLISH
from tests.benchmarks import book, claim


def test_the_benchmark_of_the_claim_file_runs(monkeypatch):
    rows = claim.run((), quick=True)
    assert [r["what"] for r in rows] == ["claim file", "one picture (NEXT)"]
    assert rows[0]["records"] == claim.RECORDS and all(r["seconds"] > 0 for r in rows)


def test_ours_and_the_peer_draw_the_same_curves(troubles):
    from answers_making import STANDS

    from archive.answers.claim.gather import gather

    standing = gather(troubles, STANDS, on=ON)[0].standing
    limit = "tia-568.2-d/cat6a/permanent-link"
    (ours,) = figures(standing.curves, standing.grades(limit), line_of(limit), ENGLISH, only=("next",))
    theirs = claim.matplotlib_script(standing.curves)
    labels = {c.label for curves in curves_of(standing.curves)["next"].values() for c in curves}
    assert len(labels) == 6 and all(f">{label}</text>" in ours.svg for label in labels)
    assert len(re.findall(r'<g id="line2d_\d+">\s*<path d="M [^"]{2000,}"', theirs)) == 12  # six at both ends


def test_the_benchmark_of_the_book_runs():
    rows = book.run((), quick=True)
    assert [r["what"] for r in rows] == list(book.SET) and all(r["files"] == 2 for r in rows)
    assert all(0 < r["of the memory set"] < 1 and r["of the size set"] < 1 for r in rows)
