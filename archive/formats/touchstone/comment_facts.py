"""What the comments of an analyser say of the test: when, and the serial number of the analyser; nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import islice

from archive.formats.base import dates

_LABEL = re.compile(
    r"\A(?:(?:test|measurement|measured|tested|sweep)\s*)?(?:date\s*/\s*time|date|time|on|at)?\s*[:=]?\s*", re.I
)
_NOT_THE_TEST = re.compile(r"calib|\bcal\b|due|firmware|version|revision|build|export|creat|print|saved", re.I)
_YEAR = re.compile(r"(?=.*[^\d\s]).*(?:19|20)\d\d")
"""A year of four digits, and more than digits and blanks: two digits can be anything, and so can a row of numbers."""
_SERIAL = re.compile(r"(?:.*\b)?(?:serial(?:\s*(?:number|no\.?|nr\.?))?|s/n)\s*[:=#]?\s*(\S+)\s*", re.I)
_IDENTITY = re.compile(r"[^\d,:]{2,60},\s*[^\s,]*\d[^,]*,\s*([^\s,]*\d[^\s,]*)\s*,\s*[^\s,]*\d[^,]*")
"""Maker, model, serial number, firmware: the answer to *IDN? of IEEE 488.2, which analysers put into a comment."""
_NOT_THE_ANALYSER = re.compile(
    r"\b(?:cal|calibration|e-?cal|kit|probe|cable|drum|reel|dut|adapter|balun|switch|fixture)", re.I
)
_CLOCK_INSIDE = ("Day Mon DD hh:mm:ss YYYY", "Mon DD hh:mm:ss YYYY")
"""The date of asctime in C, whose year stands last."""
_MOST_COMMENTS = 200
"""Of comments that differ: what is said of the test stands in front, not beside each point."""
_LONGEST = 120
"""Characters; longer comments are not looked into."""


def measured_on(comments: Iterable[str]) -> tuple[str, str]:
    """Local time of the test in ISO 8601, with its offset where it has one, and the comment that says it.

    ("", "") where no comment is a date, one can be read in two ways, or two say different ones. A comment that speaks
    of a calibration or of the software is none.
    """
    found: dict[str, str] = {}
    for comment in _first(comments):
        if _YEAR.search(comment) and not _NOT_THE_TEST.search(comment):
            said = _read(comment) | _read(_LABEL.sub("", comment, count=1))
            if len(said) > 1:
                return "", ""
            found.update(dict.fromkeys(said, comment))
    return next(iter(found.items())) if len(found) == 1 else ("", "")


def serial_of(comments: Iterable[str]) -> str:
    """Serial number of the analyser; "" where no comment names one, or two name different ones.

    A serial number of a calibration kit, a cable or an adapter is none.
    """
    found = set()
    for comment in _first(comments):
        if _NOT_THE_ANALYSER.search(comment):
            continue
        match = _SERIAL.fullmatch(comment) or _IDENTITY.fullmatch(comment)
        if match and any(c.isdigit() for c in match[1]):
            found.add(match[1])
    return found.pop() if len(found) == 1 else ""


def _first(comments: Iterable[str]) -> Iterator[str]:
    return (c for c in islice(dict.fromkeys(comments), _MOST_COMMENTS) if len(c) <= _LONGEST)


def _read(text: str) -> set[str]:
    """The dates that a text can be, with the time of day where it has one."""
    read = (dates.read(text, pattern) for pattern in (*_CLOCK_INSIDE, *dates.patterns_for([text])))
    return {when.local + _offset(when) for when in read if when is not None and re.match(r"\d{4}-", when.local)}


def _offset(when: dates.When) -> str:
    if when.offset is None or "T" not in when.local:
        return ""
    hours, minutes = divmod(abs(when.offset), 60)
    return f"{'-' if when.offset < 0 else '+'}{hours:02d}:{minutes:02d}"
