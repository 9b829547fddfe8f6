"""What can hurt somebody who works on links, by their medium."""

from __future__ import annotations

from collections.abc import Iterable

from archive import schemas


def cautions(media: Iterable[str]) -> list[str]:
    """Texts for links of these media, copper or fiber; where none is known those for both."""
    declared = schemas.load("cautions.toml")["cautions"]
    known = set(media) & {"copper", "fiber"} or {"copper", "fiber"}
    listed = [text for medium in ("fiber", "copper") if medium in known for text in declared[medium]]
    return [*listed, *declared["texts"]]
