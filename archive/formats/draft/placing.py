"""Where everything of a layout goes: tables with their roles, and the places of their columns."""

from __future__ import annotations

from dataclasses import dataclass, field

from archive.formats.draft import paired
from archive.formats.draft.facts import Placed
from archive.formats.draft.layout import Found
from archive.formats.draft.roles import Roles


@dataclass
class PlacedTable:
    """A table with its roles, and where its columns go."""

    found: Found | None
    roles: Roles | None
    placed: list[Placed] = field(default_factory=list)
    parameters: dict[str, str] = field(default_factory=dict)


@dataclass
class Placing:
    """Where everything goes. tables: the labels first, then the tables."""

    tables: list[PlacedTable]
    scheme: paired.Scheme
    fiber: bool
    negative: bool = False
    notes: list[str] = field(default_factory=list)
