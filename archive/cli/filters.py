"""The filters that commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from archive.store.catalogue.filters import Filters

F = TypeVar("F", bound=Callable[..., Any])

_OPTIONS = {
    "link": ("--link", "L", "Identifier of the link."),
    "job": ("--job", "J", "Job."),
    "site": ("--site", "S", "Site."),
    "since": ("--since", "D", "Tested on this day or later (ISO 8601)."),
    "until": ("--until", "D", "Tested on this day or earlier (ISO 8601)."),
    "cable_type": ("--cable-type", "T", "Cable type, such as cat6a or cat6a/f-utp."),
    "limit": ("--limit", "L", "Limit, by id or in the words of the export."),
    "verdict": ("--verdict", "V", "pass, fail or not graded."),
    "serial": ("--serial", "N", "Serial number of a unit at either end."),
    "deposit": ("--deposit", "D", "Deposit."),
}


def filter_options(command: F) -> F:
    """Adds the filters. The command gets them as keywords; `chosen(keywords)` makes Filters of them."""
    for name, (option, metavar, text) in reversed(_OPTIONS.items()):
        command = click.option(option, name, metavar=metavar, help=text)(command)
    return command


def chosen(keywords: dict[str, Any]) -> Filters:
    """Filters from a command's keywords."""
    from archive.store.catalogue.filters import Filters

    return Filters(**{name: keywords[name] for name in _OPTIONS})
