"""What is in a file, told without converting it: the answer of `muniment survey`."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Description:
    """One file.

    layout: "" where no reader knows it. reason: how it was recognised, or why not. records: how many would be read.
    evidence: a word of the vocabulary, or several joined by a comma. units: as the file has them. unmapped: what
    would be kept as extras or left out, by its own name. set_aside: why records would be set aside. notes: anything
    else worth a line. draft: a draft of what is lacking (a mapping, a port map), as text. unread: nobody can read
    it. read_with: the file together with which this one is read, where it is none by itself (a port map).

    A reader may offer `describe(entry, *, mapping=None) -> Description`; without it the file is read and its
    batches are counted.
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
