"""What columns say of each other: delay over length is a velocity, a limit less a value is a margin."""

from __future__ import annotations

from collections.abc import Sequence

from archive.formats.draft.columns import Seen
from archive.formats.draft.placing import Meaning, Placed, Surroundings


def add(claims: Sequence[tuple[Seen, list[Placed]]], meaning: Meaning, around: Surroundings) -> None:
    """Adds places that other columns bear out to the places that columns may have."""
