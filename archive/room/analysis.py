"""Rates, trends and readiness: the sentences first, then the picture, then the table they come from."""

from __future__ import annotations

import shlex
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.responses import Response

from archive.answers.rates.fields import FIELDS
from archive.answers.rates.pictures import save
from archive.answers.rates.rates import Asked, Rates, rates
from archive.answers.rates.readiness import readiness
from archive.answers.rates.source import Choice
from archive.answers.rates.trend import Trend, trend
from archive.answers.rates.words import told_lines, trend_lines
from archive.room.app import PageRequest
from archive.store.catalogue.filters import Filters

_NARROW = ("site", "job", "cable_type", "limit", "since", "until", "serial")
_USUAL = "cable_type"
_FOUND_BY = ("site", "job", "cable_type", "limit", "year")
"""Fields by which the page of finding narrows, so that a group leads to its links."""

_PERIODS = ("month", "quarter")


def rates_page(asked: PageRequest) -> Response:
    """Pass rates by up to two fields."""
    found = _rates(asked)
    names = [f.name for f in found.fields]
    command = ["muniment", "rates", str(asked.root), "--by", ",".join(names), *_options(asked)]
    values = {"found": found, "names": names, "told": [t for t in told_lines(found) if t], **_choices(asked)}
    return asked.page("rates.html", asked.words("Rates"), shlex.join(command), **values)


def rates_picture(asked: PageRequest) -> Response:
    """The picture of the same."""
    return _picture(_rates(asked))


def trends_page(asked: PageRequest) -> Response:
    """First-time rate and margins over time, and units that drift."""
    found = _trend(asked)
    period = _period(asked)
    command = ["muniment", "rates", str(asked.root), "--trend", period, *_options(asked)]
    values = {"found": found, "told": [t for t in trend_lines(found, 200) if t], "period": period}
    return asked.page("trends.html", asked.words("Trends"), shlex.join(command), **values, **_choices(asked))


def trends_picture(asked: PageRequest) -> Response:
    """The picture of the same."""
    return _picture(_trend(asked))


def ready_page(asked: PageRequest) -> Response:
    """Which links carry an application, which do not, and of which it cannot be told."""
    application = asked.text("application")
    found = None
    if application is not None:
        wanted = [a.strip() for a in application.split(",") if a.strip()]
        found = readiness(asked.look.archive, wanted, _fields(asked, ""), Choice(_filters(asked)))
    command = ["muniment", "ready", str(asked.root), "--application", application or "APP", *_options(asked)]
    values = {"found": found, "application": application, "names": _fields(asked, "")}
    return asked.page("ready.html", asked.words("Readiness"), shlex.join(command), **values, **_choices(asked))


def _rates(asked: PageRequest) -> Rates:
    return rates(asked.look.archive, _fields(asked, _USUAL), Choice(_filters(asked)), Asked("auto", []))


def _trend(asked: PageRequest) -> Trend:
    return trend(asked.look.archive, _period(asked), Choice(_filters(asked)), margin="leading")


def _period(asked: PageRequest) -> str:
    period = asked.text("period") or "month"
    return period if period in _PERIODS else "month"


def _fields(asked: PageRequest, usual: str) -> list[str]:
    return list(dict.fromkeys(f for name in ("by", "and") if (f := asked.text(name)) is not None)) or (
        [usual] if usual else []
    )


def _filters(asked: PageRequest) -> Filters:
    return Filters(**{name: asked.text(name) for name in _NARROW})


def _choices(asked: PageRequest) -> Mapping[str, Any]:
    given = {name: asked.text(name) for name in (*_NARROW, "by", "and", "period", "application")}
    return {"given": given, "fields": sorted(FIELDS), "narrow": _NARROW, "links": _FOUND_BY}


def _options(asked: PageRequest) -> list[str]:
    given = ((name, asked.text(name)) for name in _NARROW)
    return [word for name, value in given if value for word in ("--" + name.replace("_", "-"), value)]


def _picture(found: Rates | Trend) -> Response:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "picture.svg"
        save(found, place)
        return Response(place.read_bytes(), media_type="image/svg+xml")
