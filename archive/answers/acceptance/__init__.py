"""The acceptance report: one page that says what of a job came, what passes, what is open and what was found."""

from __future__ import annotations

from archive.answers.acceptance.compose import compose
from archive.answers.acceptance.facts import Facts, facts
from archive.answers.documents import html as _html
from archive.answers.documents import pdf as _pdf
from archive.answers.wording import Wording


def html(said: Facts, wording: Wording | None = None) -> str:
    """The report as one self-contained HTML file."""
    return _html(compose(said, wording or Wording()))


def pdf(said: Facts, wording: Wording | None = None) -> bytes:
    """The report as PDF/A-3, one page."""
    return _pdf(compose(said, wording or Wording()))


__all__ = ["Facts", "compose", "facts", "html", "pdf"]
