"""What is in a file, without converting it: the answer of `muniment survey`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import pyarrow.compute as pc

from archive.tables import Batch


@dataclass
class Description:
    """One file.

    layout: "" where no reader knows it. reason: how it was recognised, or why not. records: how many would be read.
    evidence: a word of the vocabulary, or several joined by a comma. units: as the file has them. unmapped: what
    would be kept as extras or left out, by its own name. set_aside: why records would be set aside. notes: anything
    else worth a line. draft: a draft of what is lacking (a mapping, a port map), as text. unread: nobody can read
    it. read_with: the file together with which this one is read, where it is none by itself (a port map).
    """

    path: str
    layout: str = ""
    reason: str = ""
    records: int = 0
    evidence: str = ""
    encoding: str = ""
    decimal_mark: str = ""
    units: list[str] = field(default_factory=list)
    unmapped: list[str] = field(default_factory=list)
    set_aside: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    draft: str = ""
    unread: bool = False
    read_with: str = ""
    passed_over: bool = False
    """An operating or office program left it behind; it is no part of what was handed in."""
    errors: list[str] = field(default_factory=list)
    """What reading it raised as errors, in words."""

    def count(self, batches: Iterable[Batch], source_id: str) -> None:
        """Counts what was read: records, evidence, extras and set_aside, and the encoding of this source."""
        evidence: dict[str, None] = {}
        unmapped, reasons = Counter[str](), Counter[str]()
        for batch in batches:
            self.records += len(batch)
            evidence.update(dict.fromkeys(pc.unique(batch["records"]["evidence"]).to_pylist()))
            for column, counts in ((batch["extras"]["name"], unmapped), (batch["set_aside"]["reason"], reasons)):
                counts.update({c["values"]: c["counts"] for c in pc.value_counts(column.combine_chunks()).to_pylist()})
            raised = batch["findings"].select(["severity", "status", "message"]).to_pylist()
            self.errors += [f["message"] for f in raised if (f["severity"], f["status"]) == ("error", "raised")]
            for row in batch["sources"].select(["source_id", "encoding"]).to_pylist():
                if row["source_id"] == source_id:
                    self.encoding = self.encoding or row["encoding"] or ""
        self.evidence = ", ".join(evidence)
        self.unmapped, self.set_aside = counted(unmapped), counted(reasons)


def counted(names: dict[str, int]) -> list[str]:
    """Each name, with its count where there are several."""
    return [name if n == 1 else f"{name} ({n})" for name, n in names.items()]
