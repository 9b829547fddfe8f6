"""Dates and times as exports write them, by a pattern that the mapping gives; nothing is guessed.

Pattern letters: YYYY YY, MM, Mon (a month in words), DD, Day (a weekday in words), hh, mm, ss, fff (fraction of a
second), AP (am or pm), Z (Z, +02:00 or +0200). Everything else stands for itself; one blank stands for any blanks.
A leading zero may be missing.
ISO 8601 is read with pattern "ISO", numbers with a pattern of `counts`. Day first or month first is proved by other
rows, or asked for.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from functools import cache, lru_cache
from zoneinfo import ZoneInfo

from archive import schemas
from archive.formats.base import words
from archive.vocabulary import phrases

_PARTS: dict[str, str] = {
    "YYYY": r"(?P<year>\d{4})",
    "YY": r"(?P<short>\d{2})",
    "Mon": r"(?P<name>[^\W\d_]{3,12}\.?)",
    "Day": r"(?:[^\W\d_]{2,12}\.?)",
    "MM": r"(?P<month>\d{1,2})",
    "DD": r"(?P<day>\d{1,2})",
    "hh": r"(?P<hour>\d{1,2})",
    "mm": r"(?P<minute>\d{2})",
    "ss": r"(?P<second>\d{2})",
    "fff": r"(?P<fraction>\d{1,9})",
    "AP": r"(?P<half>[AaPp]\.?[Mm]\.?)",
    "Z": r"(?P<zone>Z|z|(?:UTC|GMT)?\s*[+-]\d{1,2}(?::?\d{2})?|UTC|GMT)",
}
_TOKEN = re.compile("|".join(sorted(_PARTS, key=len, reverse=True)))
ISO = (
    *("YYYY-MM-DDThh:mm:ss.fffZ", "YYYY-MM-DDThh:mm:ssZ", "YYYY-MM-DDThh:mmZ", "YYYY-MM-DDThh:mm:ss.fff"),
    *("YYYY-MM-DDThh:mm:ss", "YYYY-MM-DDThh:mm", "YYYY-MM-DD hh:mm:ss.fffZ", "YYYY-MM-DD hh:mm:ssZ"),
    *("YYYY-MM-DD hh:mmZ", "YYYY-MM-DD hh:mm:ss.fff", "YYYY-MM-DD hh:mm:ss", "YYYY-MM-DD hh:mm", "YYYY-MM-DD"),
    *("YYYYMMDDThhmmssZ", "YYYYMMDDThhmmss", "YYYY-MM-DD hh:mm:ss Z", "YYYY-MM-DD hh:mm Z"),
)


@dataclass(frozen=True)
class CountedTime:
    """A time as a number: from when, seconds of one, and the offset from UTC in minutes or None."""

    begin: datetime
    seconds: float
    offset: int | None


@cache
def counts() -> dict[str, CountedTime]:
    """Patterns of times as numbers, from schemas/dates.toml, where their sources stand."""
    listed = schemas.load("dates.toml")["count"]
    return {n: CountedTime(c["begin"], float(c["seconds"]), 0 if c["utc"] else None) for n, c in listed.items()}


@dataclass(frozen=True)
class When:
    """A time as found: local as ISO 8601 without zone, as precise as found; offset from UTC in minutes or None."""

    local: str
    offset: int | None = None


@cache
def _compiled(pattern: str) -> re.Pattern[str]:
    out, at = "", 0
    for match in _TOKEN.finditer(pattern):
        out += _literal(pattern[at : match.start()]) + _PARTS[match.group()]
        at = match.end()
    return re.compile("^" + out + _literal(pattern[at:]) + "$", re.IGNORECASE)


def fault(pattern: str) -> str:
    """What is wrong with a pattern, "" where nothing is."""
    if pattern in ("ISO", "words"):
        return ""
    for one in pattern.split("|"):
        if one.strip() in counts():
            continue
        found = [m.group() for m in _TOKEN.finditer(one)]
        if not found:
            return f"{one.strip()!r} has none of the letters of a date"
        twice = next((x for x in found if x != "Day" and found.count(x) > 1), "")
        if twice or {"YYYY", "YY"} <= set(found) or {"MM", "Mon"} <= set(found):
            return f"{one.strip()!r} says {twice or 'the year or the month'} twice"
        if not {"YYYY", "YY", "hh"} & set(found) and "Z" not in found:
            return f"{one.strip()!r} has neither a year nor an hour"
    return ""


def _literal(text: str) -> str:
    return re.sub(r"(\\ |\s)+", r"\\s+", re.escape(text))


@lru_cache(maxsize=65536)
def read(text: str, pattern: str) -> When | None:
    """A time by a pattern ("ISO": any of the ISO 8601 forms), or None where it does not fit or is no date."""
    for one in ISO if pattern == "ISO" else pattern.split("|"):
        if one.strip() in counts():
            if counted := _counted(text.strip(), one.strip()):
                return counted
            continue
        match = _compiled(one.strip()).match(text.strip())
        if match:
            return _when({k: v for k, v in match.groupdict().items() if v is not None})
    return None


def _counted(text: str, pattern: str) -> When | None:
    """A time from a number, as precise as it is: a whole number of days is a day."""
    if not re.fullmatch(r"\d{4,16}(?:[.,]\d*)?|\d\.\d+[eE]\+?\d{1,2}", text):
        return None
    count, within = counts()[pattern], schemas.load("dates.toml")["within"]
    past = float(text.replace(",", ".")) * count.seconds
    if past > (within["last"] - count.begin).total_seconds():
        return None
    at = count.begin + timedelta(seconds=round(past, 3 if count.seconds < 1 else 0))
    if at < within["first"]:
        return None
    if count.seconds == 86400 and past % 86400 == 0:
        return When(at.date().isoformat(), count.offset)
    return When(at.isoformat(timespec="milliseconds" if at.microsecond else "seconds"), count.offset)


def counts_for(samples: Iterable[str]) -> list[str]:
    """Patterns of `counts` that read every sample: none, or one."""
    listed = [s for s in samples if s.strip()]
    return [p for p in counts() if listed and all(read(s, p) for s in listed)]


def _when(p: dict[str, str]) -> When | None:
    year = int(p["year"]) if "year" in p else _century(int(p["short"])) if "short" in p else None
    month = int(p["month"]) if "month" in p else month_named(p["name"]) if "name" in p else None
    day = int(p["day"]) if "day" in p else None
    hour = int(p["hour"]) if "hour" in p else None
    if "half" in p and hour is not None:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if p["half"][0] in "pP" else 0)
    minute, second = int(p.get("minute", 0)), int(p.get("second", 0))
    if (hour or 0) > 23 or minute > 59 or second > 59:
        return None
    clock = ""
    if hour is not None:
        clock = f"{hour:02d}:{minute:02d}" + (f":{second:02d}" if "second" in p else "")
        clock += f".{p['fraction']}" if "fraction" in p else ""
    offset = zone_minutes(p["zone"]) if "zone" in p else None
    if year is None and month is None:
        return When(clock, offset) if clock else None
    if year is None or month is None or day is None:
        return None
    try:
        found = date(year, month, day)
    except ValueError:
        return None
    return When(found.isoformat() + (f"T{clock}" if clock else ""), offset)


def _century(short: int) -> int:
    """Two digits of a year: 70 to 99 are of the last century."""
    return 1900 + short if short >= 70 else 2000 + short


@cache
def _months() -> dict[str, int]:
    out: dict[str, int] = {}
    for source in words.sources():
        for listed in source.get("plain", {}).get("months", {}).values():
            for number, name in enumerate(listed, 1):
                out[phrases.fold(name)] = number
    return out


@lru_cache(maxsize=1024)
def month_named(name: str) -> int | None:
    """A month by its name or its first letters, in any language of the word list, or None."""
    folded = phrases.fold(name).strip(".")
    if folded in _months():
        return _months()[folded]
    found = {n for word, n in _months().items() if len(folded) >= 3 and word.startswith(folded)}
    return found.pop() if len(found) == 1 else None


def zone_minutes(text: str) -> int | None:
    """Minutes east of UTC of an offset such as Z, +02:00, UTC+1, or None."""
    match = re.fullmatch(r"(?:UTC|GMT)?\s*(?:([+-])(\d{1,2})(?::?(\d{2}))?)?|Z", text.strip(), re.IGNORECASE)
    if not match or not text.strip():
        return None
    if not match.group(1):
        return 0
    minutes = int(match.group(2)) * 60 + int(match.group(3) or 0)
    return -minutes if match.group(1) == "-" else minutes


def instant(local: str, offset: int | None, zone: str) -> tuple[datetime | None, int | None]:
    """UTC and the offset in minutes of a local time, where a zone (IANA name or offset) or an offset is stated."""
    if "T" not in local:
        return None, None
    at = datetime.fromisoformat(local[:26])
    if offset is None and zone:
        offset = zone_minutes(zone)
        if offset is None:
            found = at.replace(tzinfo=ZoneInfo(zone)).utcoffset()
            offset = round(found.total_seconds() / 60) if found is not None else None
    if offset is None:
        return None, None
    return at.replace(tzinfo=timezone(timedelta(minutes=offset))).astimezone(UTC), offset


_SEPARATORS = r"[./\- ]"


def patterns_for(samples: Iterable[str]) -> list[str]:
    """Patterns that read every sample, without repeating one that differs by nothing but blanks.

    One pattern: it is proved. Two that differ in the order of day and month: the samples do not prove it.
    """
    listed = [s.strip() for s in samples if s and s.strip()]
    if not listed:
        return []
    if all(read(s, "ISO") for s in listed):
        return ["ISO"]
    return [p for p in _candidates(listed[0]) if all(read(s, p) for s in listed)]


_WEEKDAY = r"(?P<weekday>[^\W\d_]{2,12}\.?,?\s+)"
_REST = (
    r"(?P<date>.*?)(?P<gap>(?:T|,?\s+(?:at\s+|um\s+|à\s+|-\s+)?))?"
    r"(?P<clock>\d{1,2}[:.h]\d{2}(?:[:.m]\d{2})?(?:[.,]\d+)?s?)?(?P<half>\s*[AaPp]\.?[Mm]\.?)?(?:\s*(?:Uhr|h))?"
    r"(?P<zone>\s*(?:Z|(?:UTC|GMT)?\s*[+-]\d{1,2}(?::?\d{2})?|UTC|GMT))?$"
)


def _candidates(sample: str) -> list[str]:
    """Patterns that have the shape of a sample, first without a weekday, then with one."""
    out: list[str] = []
    for shape in (_REST, _WEEKDAY + _REST):
        match = re.match(shape, sample)
        if not match:
            continue
        clock = _clock(sample[match.start("clock") :]) if match["clock"] else ""
        if clock and not match["date"].strip() and shape is _REST:
            # 07.01.2019 has the shape of a time of day too; as a date it is whole.
            return _dates(sample) if re.fullmatch(r"\d{1,2}\.\d{1,2}\.\d{2,4}", sample) else [clock]
        weekday = match["weekday"] if shape is not _REST else ""
        head = re.sub(r"[^\W\d_]{2,}\.?", "Day", weekday)
        tail = (match["gap"] or "") + clock if clock else ""
        # A zone stands behind a time of day only: in 15-01-2019 the year is none.
        told = match["date"] if clock else sample[len(weekday) :]
        out += [head + d + tail for d in _dates(told.strip())]
    return out


def _clock(text: str) -> str:
    out = re.sub(r"^\d{1,2}([:.h])\d{2}", r"hh\1mm", text)
    out = re.sub(r"(mm[:.m])\d{2}", r"\1ss", out)
    out = re.sub(r"(ss[.,])\d+", r"\1fff", out)
    out = (
        re.sub(r"[AaPp]\.?[Mm]\.?", "AP", out, count=1) if re.search(r"[AaPp]\.?[Mm]\.?\s*(?:$|[A-Z+-])", out) else out
    )
    return re.sub(r"(\s*)(?:Z|(?:UTC|GMT)\s*[+-]?\d*:?\d*|[+-]\d{1,2}(?::?\d{2})?)$", r"\1Z", out)


def _dates(text: str) -> list[str]:
    # "1-2 @ 25 MHz" has the shape of a date too, but for its marks and its end.
    digits = re.fullmatch(r"(\d+)([^\w@]{1,4})(\d+)([^\w@]{1,4})(\d+)(\W*|\W*\w{1,2}\W*)", text)
    if digits:
        a, s, _, t, c, tail = digits.groups()
        s, t = s if len(s.strip()) else " ", t if len(t.strip()) else " "
        if len(a) == 4:
            return [f"YYYY{s}MM{t}DD{tail}"]
        year = "YYYY" if len(c) == 4 else "YY"
        return [f"DD{s}MM{t}{year}{tail}", f"MM{s}DD{t}{year}{tail}"] + (
            [f"YY{s}MM{t}DD{tail}"] if year == "YY" else []
        )
    if re.fullmatch(r"\d{8}", text):
        return ["YYYYMMDD", "DDMMYYYY", "MMDDYYYY"]
    named = re.fullmatch(r"(\d{1,2})(\W+)([^\W\d_]+\.?)(\W+)(\d{2}|\d{4})", text)
    if named:
        return [f"DD{named[2]}Mon{named[4]}" + ("YYYY" if len(named[5]) == 4 else "YY")]
    named = re.fullmatch(r"([^\W\d_]+\.?)(\W+)(\d{1,2})(\D+)(\d{4})", text)
    if named:
        return [f"Mon{named[2]}DD{named[4]}YYYY"]
    named = re.fullmatch(r"(\d{4})(\W+)([^\W\d_]+\.?)(\W+)(\d{1,2})", text)
    return [f"YYYY{named[2]}Mon{named[4]}DD"] if named else _cjk(text)


def _cjk(text: str) -> list[str]:
    return ["YYYY年MM月DD日"] if re.fullmatch(r"\d{4}年\d{1,2}月\d{1,2}日", text) else []
