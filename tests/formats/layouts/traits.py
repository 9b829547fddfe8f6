"""What makes one document unlike another: every trait with its plain value, drawn by seed, and shrunk again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from random import Random
from typing import Any

SPLITS = ("train", "test")
LANGUAGES = ("en", "de", "fr", "es", "it", "nl", "pt", "pl", "sv")


@dataclass(frozen=True)
class Traits:
    """One document's habits. The defaults are the plainest document there is; `simpler` goes towards them."""

    split: str = "train"
    seed: int = 0
    container: str = "csv"
    """csv, fixed (columns of equal width), report (a text for reading), xml, json, xlsx, folder (two csv files)."""
    shape: str = "summary"
    """summary (row per link), readings, points, wide (row per frequency, a column per pair), matrix (frequencies as
    headings), cells (a curve in a cell), blocks (labels and small tables for each test)."""
    transposed: bool = False
    language: str = "en"
    tests: int = 1
    parameters: tuple[str, ...] = ("insertion_loss",)
    scalars: tuple[str, ...] = ("length link",)
    identities: tuple[str, ...] = ("date",)
    verdicts: bool = False
    margins: bool = False
    limits: bool = False
    delimiter: str = ","
    quote: str = "needed"
    decimal: str = "."
    thousands: str = ""
    unit_place: str = "[]"
    """Brackets around a unit in the heading; row, suffix, cell (in each cell), column (of readings), none."""
    header_rows: int = 1
    merged: bool = False
    """Of several header rows, an upper heading stands only over the first of its columns."""
    joiner: str = " "
    pair_first: bool = False
    case: str = "as is"
    unknown: float = 0.0
    """Share of headings that stand in no list."""
    length_unit: str = "m"
    frequency_unit: str = "MHz"
    negative: bool = False
    pairs: str = "1-2"
    """How pairs are written: 1-2, 12, 1,2, 1/2, t568a, t568b (numbers), colours."""
    between: str = "/"
    """What stands between the two pairs of a combination."""
    ends: str = "words"
    """words, letters (A, B), initials."""
    date: str = "%Y-%m-%d"
    time: str = "joined"
    """joined, apart, none."""
    encoding: str = "utf-8"
    newline: str = "\n"
    page_head: bool = False
    pages: bool = False
    """The head of the page is repeated after some rows."""
    footer: bool = False
    blank_rows: bool = False
    label_once: bool = False
    """The label stands only in the first row of its group."""
    by_parameter: bool = False
    """Rows are sorted by parameter first, so that the links alternate."""
    meaningless: int = 0
    empty: str = ""
    leader: str = ": "
    """What stands between a label and its value in a report."""
    tree: str = "nested"
    """xml, json: nested, flat (one object per row), keyed (names of pairs and parameters are keys)."""
    attributes: bool = False
    listing: str = "list"
    """Curves of a tree or a cell: list (values, frequencies apart), points, start and step."""
    step: float = 0.1
    joined: bool = False
    """Identities stand in a sheet of their own, joined to the measurements by the label."""
    outside: str = ""
    """A habit outside the mapping language: starred, joined, feet, words, week, thin."""


_SHAPES = {
    "csv": ("summary", "readings", "points", "wide", "matrix", "cells", "blocks"),
    "fixed": ("summary", "readings", "points", "wide", "matrix", "blocks"),
    "report": ("blocks",),
    "xml": ("summary", "readings", "points", "cells"),
    "json": ("summary", "readings", "points", "cells"),
    "xlsx": ("summary", "readings", "points", "wide", "matrix", "blocks"),
    "folder": ("readings", "points", "wide", "matrix", "cells"),
}
_CONTAINERS = ("csv", "csv", "csv", "fixed", "report", "xml", "json", "xlsx", "xlsx", "folder")
_SETS = (
    ("insertion_loss",),
    ("next",),
    ("insertion_loss", "return_loss"),
    ("insertion_loss", "return_loss", "next"),
    ("next", "ps_next"),
    ("return_loss", "next", "ps_next"),
    ("insertion_loss", "next", "ps_next", "acr_f"),
    ("insertion_loss", "return_loss", "next", "ps_next", "acr_f", "ps_acr_f"),
)
_OF_PAIRS = (
    ("insertion_loss", "return_loss"),
    ("return_loss", "ps_next"),
    ("insertion_loss", "return_loss", "ps_next"),
)
_ENCODINGS = {"pl": ("utf-8", "utf-8-sig", "cp1250", "utf-16"), "": ("utf-8", "utf-8-sig", "cp1252", "cp850", "utf-16")}
_DATES = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%y", "%Y/%m/%d", "%d %b %Y", "%Y%m%d")
_IDENTITIES = ("operator", "standard", "cable", "site", "building", "floor", "room", "serial local", "serial remote")


def draw(seed: int, split: str = "train") -> Traits:
    """The traits of one seed. A seed of one split has nothing to do with the same seed of the other."""
    if split not in SPLITS:
        raise ValueError(f"{split!r} is not one of {SPLITS}")
    r = Random(f"layout {split} {seed}")
    container = r.choice(_CONTAINERS)
    shape = r.choice(_SHAPES[container])
    language = r.choice(LANGUAGES)
    comma = language != "en" and r.random() < 0.7
    delimiter = r.choice(";;\t|") if comma else r.choice(",,;\t")
    heavy = shape in ("points", "wide", "matrix", "cells", "blocks")
    tree = r.choice(("nested", "nested", "flat", "keyed")) if container in ("xml", "json") else "nested"
    unit_place = r.choice(("[]", "()", "row", "suffix", "cell", "none"))
    if container in ("xml", "json") and unit_place == "row":
        unit_place = "suffix"
    if shape == "readings" and r.random() < 0.4:
        unit_place = "column"
    silent = unit_place == "none"
    traits = Traits(
        split=split,
        seed=seed,
        container=container,
        shape=shape,
        transposed=container in ("csv", "xlsx", "fixed") and shape == "summary" and r.random() < 0.2,
        language=language,
        tests=r.randrange(2, 5) if heavy else r.randrange(3, 13),
        parameters=r.choice(_OF_PAIRS if shape == "summary" and r.random() < 0.5 else _SETS[: 5 if heavy else None]),
        scalars=tuple(
            r.sample(("length link", "length", "delay", "skew", "skew link", "resistance"), r.randrange(1, 5))
        ),
        identities=_identities(r),
        verdicts=r.random() < 0.6,
        margins=r.random() < 0.6,
        limits=r.random() < 0.5,
        delimiter=delimiter,
        quote=r.choice(("needed", "needed", "all")),
        decimal="," if comma else ".",
        thousands=r.choice(("", "", "", "'", " ", "." if comma else ",")),
        unit_place=unit_place,
        header_rows=r.choice((1, 1, 1, 2, 2, 3)) if container in ("csv", "xlsx", "folder") else 1,
        merged=r.random() < 0.5,
        joiner=r.choice((" ", " ", "_", ".", "-", " / ")),
        pair_first=r.random() < 0.25,
        case=r.choice(("as is", "as is", "upper", "lower")),
        unknown=0.25,
        length_unit="m" if silent else r.choice(("m", "m", "m", "ft")),
        frequency_unit="MHz" if silent else r.choice(("MHz", "MHz", "MHz", "kHz", "Hz")),
        negative=r.random() < 0.12,
        pairs=r.choice(("1-2", "12", "1,2", "1/2", "t568a", "t568b", "colours")),
        between=r.choice(("/", "-", " - ", ":", "_")),
        ends=r.choice(("words", "words", "letters", "initials")),
        date=r.choice(_DATES),
        time=r.choice(("joined", "joined", "apart", "none")),
        encoding=r.choice(_ENCODINGS.get(language, _ENCODINGS[""])),
        newline=r.choice(("\n", "\r\n")),
        page_head=r.random() < 0.4,
        pages=container in ("fixed", "report") and r.random() < 0.4,
        footer=r.random() < 0.35,
        blank_rows=shape in ("points", "wide", "readings") and r.random() < 0.2,
        label_once=shape in ("points", "wide", "readings", "matrix") and r.random() < 0.15,
        by_parameter=shape in ("readings", "matrix", "cells", "points") and r.random() < 0.25,
        meaningless=2,
        empty=r.choice(("", "", "-", "n/a", "---")),
        leader=r.choice((": ", " ..... ", " = ", "\t", "    ")),
        tree=tree,
        attributes=container == "xml" and r.random() < 0.5,
        listing=r.choice(("list", "points", "start")),
        step=r.choice((0.1, 0.1, 0.1, 0.01)),
        joined=container == "folder"
        or (container == "xlsx" and shape not in ("summary", "blocks") and r.random() < 0.6),
        outside=r.choice(("starred", "joined", "feet", "words", "week", "thin")) if r.random() < 0.15 else "",
    )
    return settled(traits)


def _identities(r: Random) -> tuple[str, ...]:
    some = [*r.sample(_IDENTITIES, r.randrange(0, 6)), *(["date"] if r.random() < 0.85 else [])]
    some += [name for name in ("velocity", "software") if r.random() < 0.2]
    r.shuffle(some)
    return tuple(some)


def settled(t: Traits) -> Traits:
    """The traits without those that contradict each other: a document that no reader could take apart says nothing."""
    changes: dict[str, Any] = {}
    if t.decimal == t.delimiter and t.container in ("csv", "folder") and t.quote != "all":
        changes["delimiter"] = ";"
    if t.thousands and t.thousands in (t.decimal, changes.get("delimiter", t.delimiter)):
        changes["thousands"] = ""
    if t.outside == "thin":
        changes["encoding"] = "utf-8"
    if t.by_parameter and t.label_once:
        changes["label_once"] = False
    if t.by_parameter and t.blank_rows:
        changes["blank_rows"] = False
    written = {"1-2": "-", "1/2": "/", "1,2": ","}.get(t.pairs, "")
    if written and t.between.strip() == written:
        changes["between"] = {"-": "/", "/": "-", ",": "-"}[written]
    if t.container == "report" and t.leader == "    " and t.unit_place == "row":
        changes["unit_place"] = "[]"
    if t.pairs == "1,2" and t.container in ("csv", "folder") and t.delimiter == ",":
        changes["pairs"] = "1-2"
    return replace(t, **changes)


def simpler(traits: Traits) -> Iterator[Traits]:
    """The same document with one trait less, or one smaller, the largest steps first."""
    plain = Traits(traits.split, traits.seed)
    for field in fields(Traits):
        if field.name in ("split", "seed"):
            continue
        now, then = getattr(traits, field.name), getattr(plain, field.name)
        if now != then and not (field.name == "shape" and then not in _SHAPES[traits.container]):
            yield settled(replace(traits, **{field.name: then}))
        if isinstance(now, tuple) and len(now) > 1:
            yield from (replace(traits, **{field.name: (*now[:i], *now[i + 1 :])}) for i in range(len(now)))
        if field.name == "tests" and now > 1:
            yield replace(traits, tests=now - 1)


def shrink(traits: Traits, fails: Callable[[Traits], bool], most: int = 200) -> Traits:
    """The simplest document found that still fails, after at most so many tries."""
    tries = 0
    going = True
    while going and tries < most:
        going = False
        for other in simpler(traits):
            tries += 1
            if other != traits and fails(other):
                traits, going = other, True
                break
            if tries >= most:
                break
    return traits


def told(traits: Traits) -> str:
    """The traits that are not plain, in one line."""
    plain = Traits(traits.split, traits.seed)
    return ", ".join(
        f"{f.name}={getattr(traits, f.name)!r}"
        for f in fields(Traits)
        if getattr(traits, f.name) != getattr(plain, f.name)
    )
