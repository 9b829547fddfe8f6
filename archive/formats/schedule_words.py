"""The declared words of link schedules: schemas/schedule.toml."""

from __future__ import annotations

from functools import cache
from typing import Literal, get_args

import msgspec

from archive import schemas
from archive.structs import convert
from archive.vocabulary import phrases

LinkColumn = Literal["link_label", "required_limit", "cable_type", "due_on", "bundle", "version"]
PlaceColumn = Literal["site", "building", "floor", "space", "panel", "port"]
COLUMNS: tuple[LinkColumn, ...] = get_args(LinkColumn)
PLACES: tuple[PlaceColumn, ...] = get_args(PlaceColumn)


class ScheduleWords(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """tests: meanings of words.toml that no list of links has; not_built: cells by which nothing is to be built;
    fields: meanings of words.toml for each column, the preferred first; headings: further ones."""

    tests: list[str]
    not_built: list[str]
    fields: dict[LinkColumn | PlaceColumn, list[str]]
    headings: dict[LinkColumn | PlaceColumn, list[str]]


@cache
def declared() -> ScheduleWords:
    """The words as declared."""
    return convert(schemas.load("schedule.toml"), ScheduleWords, "schemas/schedule.toml", code="schedule.words")


@cache
def not_built() -> frozenset[str]:
    """Folded cells by which nothing is to be built."""
    return frozenset(map(phrases.phrase, declared().not_built))


@cache
def columns_by_heading() -> dict[str, tuple[str, ...]]:
    """Columns that a folded heading may mean."""
    out: dict[str, list[str]] = {}
    for column, headings in declared().headings.items():
        for heading in headings:
            for form in {phrases.phrase(heading), " ".join(phrases.tokens(heading))}:
                out.setdefault(form, []).append(column)
    return {form: tuple(columns) for form, columns in out.items()}
