"""Why a record of a link counts or does not: sentences with blanks, from which reasons are told, and by which they are
known again, so that a document can say them in its own language."""

from __future__ import annotations

import re
from functools import cache

REASONS = {
    "withdrawn": "withdrawn",
    "read again": "read again from its file; the new reading counts",
    "here already": "here already",
    "silent": "it has neither verdict nor date nor value: no test",
    "rendition": "a rendition of the same test; record {record} is richer",
    "conflict": "in conflict with {count} other of the same test; withdraw all but one",
    "relabelled": "the same test is here under another label; withdraw the one whose label is wrong",
    "earlier": "an earlier test",
    "less": "less evidence than the record that counts",
    "only": "the only test",
    "only trace": "the only trace at its wavelength and from its end",
    "latest": "the latest of {count} complete tests, by test time",
    "latest of more": "the latest of {count} complete tests, by test time; {less} of less evidence",
    "named": "named by a person as the accepted record",
    "no day": "the latest complete test within the job; no day of acceptance is known",
    "by day": "the latest complete test on or before {day}, the day of acceptance",
    "by warranty": "the latest complete test on or before {day}, the start of the warranty",
    "fullest by day": "the fullest test on or before {day}, the day of acceptance: accepted on partial evidence",
    "fullest by warranty": "the fullest test on or before {day}, the start of the warranty: accepted on partial "
    "evidence",
    "none by day": "no test of it was made by the day of acceptance",
}
_BLANKS = {"record": r"re-[0-9a-f]{32}", "count": r"\d+", "less": r"\d+", "day": r"\d{4}-\d{2}-\d{2}"}


def reason(key: str, **filled: object) -> str:
    """A reason in English. key: of REASONS. Errors: KeyError for an unknown key or a blank that is not filled."""
    return REASONS[key].format(**filled)


def recognised(text: str) -> tuple[str, dict[str, str]] | None:
    """The sentence with blanks that a text was told from, and what fills them; None where it is none of these."""
    for template, pattern in _patterns().items():
        if found := pattern.fullmatch(text):
            return template, found.groupdict()
    return None


@cache
def _patterns() -> dict[str, re.Pattern[str]]:
    def blank(found: re.Match[str]) -> str:
        return f"(?P<{found[1]}>{_BLANKS[found[1]]})"

    return {t: re.compile(re.sub(r"\\{(\w+)\\}", blank, re.escape(t))) for t in REASONS.values()}
