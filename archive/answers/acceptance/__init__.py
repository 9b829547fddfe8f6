"""The acceptance report: one page that says what of a job came, what passes, what is open and what was found."""

from __future__ import annotations

import re

from archive.answers.acceptance.acceptance_facts import AcceptanceFacts, facts
from archive.answers.acceptance.compose import RULES, compose
from archive.answers.documents import html as _html
from archive.answers.documents import pdf as _pdf
from archive.answers.wording import Wording


def html(shown: AcceptanceFacts, wording: Wording | None = None) -> str:
    """The report as one self-contained HTML file."""
    return _html(compose(shown, wording or Wording()))


def pdf(shown: AcceptanceFacts, wording: Wording | None = None) -> bytes:
    """The report as PDF/A-3, one page: where it would be two, fewer rules are listed, and the report says so."""
    for rules in (RULES, *_FEWER):
        made = _pdf(compose(shown, wording or Wording(), rules))
        if pages(made) == 1:
            break
    return made


_FEWER = (9, 6, 3, 1)


def pages(made: bytes) -> int:
    """Pages of a PDF of ours."""
    return max((int(n) for n in re.findall(rb"/Type\s*/Pages\s*/Count (\d+)", made)), default=1)


__all__ = ["AcceptanceFacts", "compose", "facts", "html", "pages", "pdf"]
