"""Records that are no links: rows that sum up, and lines that programs print below a table. Labels that are guesses."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from archive import schemas
from archive.formats.base import words
from archive.formats.base.findings import finding
from archive.formats.mapping.model import Mapping
from archive.tables import Batch
from archive.vocabulary import phrases


@dataclass
class FooterLinks:
    """Records of one file whose label is that of a footer: label and place of each."""

    found: list[str] = field(default_factory=list)

    def look(self, batch: Batch) -> None:
        """Takes one more batch into account."""
        labels, places = (batch["records"][n].to_pylist() for n in ("link_label", "source_place"))
        self.found += [f"{label!r} ({place})" for label, place in zip(labels, places, strict=True) if is_footer(label)]

    def findings(self, where: str) -> list[dict[str, Any]]:
        """What is to be said of the file, at its end."""
        if not self.found:
            return []
        more = f" and {len(self.found) - 3} more" if len(self.found) > 3 else ""
        return [finding("reading", "footer-read-as-link", where=where, found=", ".join(self.found[:3]) + more)]


def label_guessed(mapping: Mapping, where: str) -> list[dict[str, Any]]:
    """What is to be said of a drafted mapping that is not sure of the label of the links."""
    fields = [f for file in mapping.files for t in file.tables for f in t.fields if str(f.to) == "records.link_label"]
    sure = schemas.load("hypotheses.toml")["confidence"]["sure"]
    unsure = [f for f in fields if f.confidence is not None and f.confidence < sure]
    if not (mapping.drafted and unsure):
        return []
    found = f"{unsure[0].source!r}, {unsure[0].confidence:g}"
    return [finding("reading", "label-is-a-guess", where=where, found=found)]


@lru_cache(maxsize=4096)
def is_footer(label: str | None) -> bool:
    """Whether a label is a word that sums up, alone, before a colon or before a count; or begins as the furniture of a
    page does, such as "Printed by K. Lund" or "Page 3 of 9"."""
    said = (label or "").partition(":")[0].split()
    for size in range(len(said), 0, -1):
        part, rest = phrases.phrase(" ".join(said[:size])), said[size:]
        if part in words.plain("page") and (len(rest) > 1 or ":" in str(label)):
            return True
        if part in words.plain("summary") and all(r.strip(".,()").isdigit() for r in rest):
            return True
    return False
