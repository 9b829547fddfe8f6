"""From a seed, or from traits, to the bytes of a document and the truth that stands in it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.formats.layouts.document import Facts, Key
from tests.formats.layouts.finish import finish
from tests.formats.layouts.grids import delimited, fixed, workbook
from tests.formats.layouts.pen import Pen
from tests.formats.layouts.shapes import Writer
from tests.formats.layouts.traits import SPLITS, Traits, draw, told
from tests.formats.layouts.trees import as_json, as_xml
from tests.formats.layouts.truth import invent_for

_ENDINGS = {"csv": ".csv", "fixed": ".txt", "report": ".txt", "xml": ".xml", "json": ".json", "xlsx": ".xlsx"}


@dataclass(frozen=True)
class Layout:
    """A document. files: bytes by name, one or two. facts: per test what a reader can find, see document.Facts."""

    traits: Traits
    files: dict[str, bytes]
    facts: list[dict[Key, object]]
    unknown: tuple[str, ...]
    """Terms whose heading stands in no list."""

    @property
    def told(self) -> str:
        """The traits in one line."""
        return told(self.traits)

    def write(self, folder: Path) -> Path:
        """Writes into a folder that is there. Returns the file, or the folder made for several."""
        name = f"{self.traits.split}-{self.traits.seed}"
        if len(self.files) == 1:
            (only,) = self.files
            path = folder / f"{name}{Path(only).suffix}"
            path.write_bytes(self.files[only])
            return path
        made = folder / name
        made.mkdir()
        for file, content in self.files.items():
            (made / file).write_bytes(content)
        return made


def make(seed: int, split: str = "train") -> Layout:
    """The document of a seed."""
    return build(draw(seed, split))


def build(traits: Traits) -> Layout:
    """The document of given traits."""
    pen = Pen(traits)
    writer = Writer(pen, invent_for(traits), Facts(traits.tests))
    return Layout(traits, _files(writer), writer.facts.tests, tuple(dict.fromkeys(pen.unknown)))


def _files(writer: Writer) -> dict[str, bytes]:
    t, pen = writer.traits, writer.pen
    if t.container == "xml":
        return {"results.xml": as_xml(writer, "utf-8" if t.encoding.startswith("utf-8") else t.encoding)}
    if t.container == "json":
        return {"results.json": as_json(writer).encode("utf-8")}
    sheets = writer.sheets()
    finish(sheets, pen)
    if t.container == "xlsx":
        return {"results.xlsx": workbook(sheets, pen)}
    if t.container == "folder":
        return {f"{n}.csv": _encoded(delimited([s], pen), t) for n, s in zip(("links", "results"), sheets, strict=True)}
    written = delimited(sheets, pen) if t.container == "csv" else fixed(sheets, pen)
    return {f"results{_ENDINGS[t.container]}": _encoded(written, t)}


def _encoded(written: str, t: Traits) -> bytes:
    """Text as bytes: in UTF-8 where a name in it has letters that the code page lacks."""
    text = written.replace("\n", t.newline)
    try:
        return text.encode(t.encoding)
    except UnicodeEncodeError:
        return text.encode("utf-8")


def seeds_of(said: str) -> list[tuple[str, int]]:
    """ "train:0-99,test:3" as splits and seeds; a range without a split is of train. Errors: ValueError."""
    found = []
    for part in said.split(","):
        split, _, numbers = part.rpartition(":")
        first, _, last = numbers.partition("-")
        if (split or "train") not in SPLITS or not first.isdigit() or not (last or "0").isdigit():
            raise ValueError(f"{part!r} is not like train:0-99 or test:5")
        found += [(split or "train", n) for n in range(int(first), int(last or first) + 1)]
    return found
