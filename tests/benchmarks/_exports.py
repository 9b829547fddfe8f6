"""Invented exports of simulated, fully swept links, with the mappings that read them.

points: one row per frequency, 48 curves beside each other. curves: one row per curve, the frequencies as headings.
lists: one row per link, each curve and the frequencies as a list in one cell. workbook: a sheet of links and a sheet
of points. parted: the links in one file, the points of their curves in another. Headings are our own inventions.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv

from archive.tables import Batch

LAYOUTS = ("points", "curves", "lists")
NAMES = {"insertion_loss": "Insertion loss", "return_loss": "Return loss", "next": "NEXT", "fext": "FEXT"}
_WHO = (("Link", "records.link_label"), ("Measured", "records.tested_found"), ("No", "records.sequence"))


class Curves:
    """The curves of a batch as an array, shape (records, curves, points), with what each record and curve is."""

    def __init__(self, batch: Batch) -> None:
        sweeps = batch["sweeps"].combine_chunks()
        records = batch["records"]
        n = len(batch)
        self.each = sweeps.num_rows // n
        lists = sweeps.column("values").chunk(0)
        self.points = len(lists) and len(lists[0])
        self.values = lists.flatten().to_numpy(zero_copy_only=False).reshape(n, self.each, self.points)
        self.of = [
            (r["parameter"], r["end"], r["pairing"])
            for r in sweeps.slice(0, self.each).select(["parameter", "end", "pairing"]).to_pylist()
        ]
        axis = sweeps.column("axis_id")[0].as_py()
        rows = {a["axis_id"]: a["frequencies_mhz"] for a in batch["axes"].to_pylist()}
        self.mhz = np.array(rows[axis])
        assert self.values.shape == (n, self.each, len(self.mhz))
        self.who = [records.column(c) for c in ("link_label", "tested_local", "sequence")]

    @property
    def heads(self) -> list[str]:
        """A heading for each curve."""
        return [" ".join(x for x in (NAMES[p], pair, end) if x) for p, end, pair in self.of]

    @property
    def targets(self) -> list[str]:
        """Where a mapping sends each curve."""
        return [f"sweeps.{p}[{','.join(x for x in (end, pair) if x)}]" for p, end, pair in self.of]


def write(batches: Iterable[Batch], folder: Path, layout: str, quoted: bool = False) -> tuple[Path, Path]:
    """The export and its mapping. quoted: each cell in quotes, but for whole numbers."""
    export, mapping = folder / f"{layout}.csv", folder / f"{layout}.toml"
    with export.open("wb") as sink:
        for number, batch in enumerate(batches):
            curves = Curves(batch)
            table = _TABLES[layout](curves)
            style = "needed" if quoted else "none"  # where it needs none, pyarrow.csv quotes what is text all the same
            options = pcsv.WriteOptions(include_header=number == 0, quoting_style=style)
            pcsv.write_csv(table, sink, options)
            if not number:
                mapping.write_text(mapping_of(layout, curves), encoding="utf-8")
    return export, mapping


def shortest(values: Any) -> Any:
    """Numbers with one decimal as text, as instruments write them: 35.0, not 35."""
    tenths = np.rint(np.asarray(values) * 10).astype(np.int64)
    return _TEXTS.take(pa.array(tenths.ravel()))


_TEXTS = pa.array([f"{t / 10:.1f}" for t in range(4000)])


def _points(c: Curves) -> Any:
    n = len(c.who[0])
    rows = pa.array(np.repeat(np.arange(n), c.points))
    columns = {name: w.take(rows) for (name, _), w in zip(_WHO, c.who, strict=True)}
    columns["MHz"] = pa.array(np.tile(c.mhz, n))
    for i, head in enumerate(c.heads):
        columns[head] = shortest(c.values[:, i, :])
    return pa.table(columns)


def _curves(c: Curves) -> Any:
    n = len(c.who[0])
    rows = pa.array(np.repeat(np.arange(n), c.each))
    columns = {name: w.take(rows) for (name, _), w in zip(_WHO, c.who, strict=True)}
    for i, head in enumerate(("Quantity", "Side", "Pair")):
        words = [NAMES[o[0]] if i == 0 else o[i] for o in c.of]
        columns[head] = pa.array(words * n, type=pa.string())
    for k, mhz in enumerate(c.mhz.tolist()):
        columns[f"{mhz:g} MHz"] = shortest(c.values[:, :, k])
    return pa.table(columns)


def _lists(c: Curves) -> Any:
    n = len(c.who[0])
    columns = {name: w for (name, _), w in zip(_WHO, c.who, strict=True)}
    columns["MHz"] = pa.repeat(pa.scalar(" ".join(f"{f:g}" for f in c.mhz.tolist())), n)
    offsets = pa.array(np.arange(n + 1, dtype=np.int32) * c.points)
    for i, head in enumerate(c.heads):
        columns[head] = pc.binary_join(pa.ListArray.from_arrays(offsets, shortest(c.values[:, i, :])), " ")
    return pa.table(columns)


_TABLES = {"points": _points, "curves": _curves, "lists": _lists}


def mapping_of(layout: str, c: Curves) -> str:
    """The mapping of a layout, as TOML."""
    who = list(_WHO)
    swept = list(zip(c.heads, c.targets, strict=True))
    if layout == "points":
        table = 'rows = "points"'
        fields = [*who, ("MHz", "row.frequency"), *swept]
    elif layout == "curves":
        table = 'rows = "curves"\nheadings_are = "frequencies"\nfrequency_unit = "MHz"'
        fields = [*who, ("Quantity", "row.parameter"), ("Side", "row.end"), ("Pair", "row.pairing")]
        fields += [("@values", "row.values")]
    else:
        table = 'rows = "links"'
        fields = [*who, ("MHz", "row.frequencies"), *swept]
    return _head(layout) + f'[[file]]\nname = "1"\nkind = "delimited"\n{_table("1", table, fields)}'


def _head(layout: str) -> str:
    words = ", ".join(f'"{word}" = "{name}"' for name, word in NAMES.items())
    return f'[mapping]\nlayout = "invented-{layout}"\nlanguage = 1\n\n[cells]\nparameters = {{ {words} }}\n\n'


def _table(name: str, said: str, fields: Iterable[tuple[str, str]]) -> str:
    date = ', format = "ISO"'
    lines = [f'  {{ from = "{s}", to = "{to}"{date if to.endswith("tested_found") else ""} }},' for s, to in fields]
    return "\n".join([f'\n[[file.table]]\nname = "{name}"\n{said}\nfields = [', *lines, "]\n"])


def workbook(batches: Iterable[Batch], folder: Path, curves: int = 8) -> tuple[Path, Path]:
    """A workbook (xlsx) with a sheet of links and a sheet with the points of the first curves; and its mapping."""
    made = [Curves(b) for b in batches]
    export, mapping = folder / "workbook.xlsx", folder / "workbook.toml"
    links: list[list[Any]] = [[name for name, _ in _WHO]]
    points: list[list[Any]] = [["Link", "No", "MHz", *made[0].heads[:curves]]]
    for c in made:
        label, when, number = (w.to_pylist() for w in c.who)
        links += [list(row) for row in zip(label, when, number, strict=True)]
        tenths = np.rint(c.values[:, :curves, :] * 10) / 10
        for i, (name, sequence) in enumerate(zip(label, number, strict=True)):
            for mhz, row in zip(c.mhz.tolist(), tenths[i].T.tolist(), strict=True):
                points.append([name, sequence, mhz, *row])
    _xlsx(export, {"Links": links, "Points": points})
    fields = [("Link", "records.link_label"), ("No", "records.sequence"), ("MHz", "row.frequency")]
    fields += list(zip(made[0].heads[:curves], made[0].targets[:curves], strict=True))
    text = _head("workbook") + '[[file]]\nname = "1"\nkind = "workbook"\n'
    text += _table("links", 'rows = "links"\nsheet = "Links"', _WHO)
    text += _table("points", 'rows = "points"\nsheet = "Points"', fields)
    mapping.write_text(text, encoding="utf-8")
    return export, mapping


_REF = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_RELATIONS = "application/vnd.openxmlformats-package.relationships+xml"
_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'


def _xlsx(path: Path, sheets: dict[str, list[list[Any]]]) -> None:
    """A plain workbook by ECMA-376: numbers as numbers, texts in the table of shared strings."""
    import zipfile

    shared: dict[str, int] = {}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        kinds, named, related = [], [], []
        for number, (name, rows) in enumerate(sheets.items(), 1):
            part = f"worksheets/sheet{number}.xml"
            kinds.append(f'<Override PartName="/xl/{part}" ContentType="{_TYPE}.worksheet+xml"/>')
            named.append(f'<sheet name="{name}" sheetId="{number}" r:id="rId{number}"/>')
            related.append(f'<Relationship Id="rId{number}" Type="{_OFFICE}/worksheet" Target="{part}"/>')
            with out.open(f"xl/{part}", "w", force_zip64=True) as raw:
                sink = io.TextIOWrapper(raw, encoding="utf-8")
                sink.write(f'{_XML}<worksheet xmlns="{_MAIN}"><sheetData>')
                sink.writelines(_row(i, row, shared) for i, row in enumerate(rows, 1))
                sink.write("</sheetData></worksheet>")
                sink.flush()
        strings = "".join(f"<si><t>{text}</t></si>" for text in shared)
        out.writestr("xl/sharedStrings.xml", f'{_XML}<sst xmlns="{_MAIN}">{strings}</sst>')
        kinds.append(f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>')
        kinds.append(f'<Override PartName="/xl/sharedStrings.xml" ContentType="{_TYPE}.sharedStrings+xml"/>')
        kinds.append(
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        )
        related.append(f'<Relationship Id="rId99" Type="{_OFFICE}/sharedStrings" Target="sharedStrings.xml"/>')
        out.writestr("[Content_Types].xml", f'{_XML}<Types xmlns="{_PACKAGE}/content-types">{"".join(kinds)}</Types>')
        book = f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{"".join(named)}</sheets></workbook>'
        out.writestr("xl/workbook.xml", _XML + book)
        relations = f'<Relationships xmlns="{_PACKAGE}/relationships">'
        out.writestr("xl/_rels/workbook.xml.rels", f"{_XML}{relations}{''.join(related)}</Relationships>")
        first = f'<Relationship Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/>'
        out.writestr("_rels/.rels", f"{_XML}{relations}{first}</Relationships>")


def _row(number: int, cells: list[Any], shared: dict[str, int]) -> str:
    out = [f'<row r="{number}">']
    for letter, cell in zip(_REF, cells, strict=False):
        if isinstance(cell, str):
            out.append(f'<c r="{letter}{number}" t="s"><v>{shared.setdefault(cell, len(shared))}</v></c>')
        elif cell is not None:
            out.append(f'<c r="{letter}{number}"><v>{cell!r}</v></c>')
    return "".join([*out, "</row>"])


def parted(batches: Iterable[Batch], folder: Path) -> tuple[Path, Path, Path]:
    """The links in one file, the points of their curves in another; and the mapping of both."""
    links, points, mapping = folder / "links.csv", folder / "points.csv", folder / "parted.toml"
    with links.open("wb") as first, points.open("wb") as second:
        for number, batch in enumerate(batches):
            c = Curves(batch)
            options = pcsv.WriteOptions(include_header=number == 0, quoting_style="needed")
            pcsv.write_csv(pa.table({name: w for (name, _), w in zip(_WHO, c.who, strict=True)}), first, options)
            pcsv.write_csv(_points(c).drop_columns(["Measured"]), second, options)
            if not number:
                fields = [w for w in _WHO if w[0] != "Measured"]
                fields += [("MHz", "row.frequency"), *zip(c.heads, c.targets, strict=True)]
                text = _head("parted")
                text += '[[file]]\nname = "1"\nkind = "delimited"\npattern = "links.csv"\n'
                text += _table("1", 'rows = "links"', _WHO)
                text += '\n[[file]]\nname = "2"\nkind = "delimited"\npattern = "points.csv"\n'
                text += _table("2", 'rows = "points"', fields)
                mapping.write_text(text, encoding="utf-8")
    return links, points, mapping


def relabelled(batches: Iterable[Batch], prefix: str) -> Iterator[Batch]:
    """The same records under labels with a prefix."""
    for batch in batches:
        records = batch["records"]
        at = records.schema.get_field_index("link_label")
        labels = pc.binary_join_element_wise(pa.scalar(prefix), records.column("link_label"), "/")
        yield batch.replace(records=records.set_column(at, records.schema.field(at), labels))
