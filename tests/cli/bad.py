"""Input that a person may hand in by mistake or by malice. Nothing in it was measured."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from archive import formats
from archive.tables import Batch, axis_row

LEAK = "the content of another file"
AXIS = axis_row([1.0, 4.0, 10.0])


def document(folder: Path) -> str:
    """Two records of one sweep each, as open XML."""
    axis = AXIS["axis_id"]
    records = [{"record_id": f"re-{n}", "link_label": f"A{n}", "evidence": "full-sweep"} for n in (1, 2)]
    sweep = {"parameter": "insertion_loss", "pairing": "1-2", "origin": "measured", "axis_id": axis}
    sweeps = [{**sweep, "record_id": f"re-{n}", "values": [1.5, 3.25, 5.75 + n]} for n in (1, 2)]
    batch = Batch.from_rows({"records": records, "sweeps": sweeps, "axes": [AXIS]})
    formats.write([batch], folder / "two.xml", "xml", replace=True)
    return (folder / "two.xml").read_text(encoding="utf-8")


def zipped(*entries: tuple[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in entries:
            packed.writestr(name, content)
    return out.getvalue()


def unreadable(folder: Path) -> dict[str, bytes]:
    """File names and bytes of which nothing can be read."""
    good = document(folder)
    (folder / "secret.txt").write_text(LEAK)
    root = '<link-records xmlns="urn:muniment:link-record:1">'
    assert root in good
    head = '<?xml version="1.0"?>\n'
    bomb = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    return {
        "empty.xml": b"",
        "blank.csv": b"  \n\n",
        "cut-off.xml": good[: len(good) // 2].encode(),
        "cut-in-a-tag.xml": good[:60].encode(),
        "a-letter.xml": b"Dear Sir or Madam, the link fails.",
        "a-page.xml": b"<html><body>Not found</body></html>",
        "other-namespace.xml": good.replace("urn:muniment:link-record:1", "urn:example:records").encode(),
        "no-namespace.xml": good.replace(' xmlns="urn:muniment:link-record:1"', "").encode(),
        "newer.xml": good.replace("urn:muniment:link-record:1", "urn:muniment:link-record:9").encode(),
        "bomb.xml": (head + f'<!DOCTYPE x [<!ENTITY a0 "ha">{bomb}]>' + root + "&a11;</link-records>").encode(),
        "external.xml": (
            head + f'<!DOCTYPE x [<!ENTITY e SYSTEM "file://{folder}/secret.txt">]>' + root + "&e;</link-records>"
        ).encode(),
        "not-utf-8.xml": good.encode().replace(b"A1", b"A\xff"),
        "climbs.zip": zipped(("good.xml", good.encode()), ("../../out.xml", good.encode())),
        "terabytes.zip": zipped(("zeros.bin", bytes(60_000_000))),
        "cut-off.zip": zipped(("good.xml", good.encode()))[:-40],
        "short-row.s4p": b"# MHz S RI R 50\n1 2 3\n",
        "no-numbers.s4p": b"# MHz S RI R 50\nhello\n",
        "cut-off.parquet": b"PAR1" + bytes(40),
        "cut-off.xlsx": zipped(("[Content_Types].xml", b"<Types/>"))[:-30],
        "an-empty-workbook.xlsx": zipped(("[Content_Types].xml", b"<Types/>")),
        "deep.json": b"[" * 100_000,
        "cut-off.json": b'{"links": [{"label": "A1", "next": [1, 2,',
        "bytes.bin": bytes(range(256)) * 20,
        "utf-16.xml": good.encode("utf-16")[:-101],
    }


def half_readable(folder: Path) -> dict[str, bytes]:
    """File names and bytes with one good record and one that must be set aside."""
    good = document(folder)
    return {
        "not-a-number.xml": good.replace("7.75", "NaN").encode(),
        "endless.xml": good.replace("7.75", "-INF").encode(),
        "beyond-a-double.xml": good.replace("7.75", "1e999").encode(),
        "short-sweep.xml": good.replace("1.5 3.25 7.75", "1.5 3.25").encode(),
        "long-sweep.xml": good.replace("1.5 3.25 7.75", "1.5 3.25 7.75 9").encode(),
        "unordered-axis.xml": unordered(good).encode(),
        "twice.xml": good.replace('record_id="re-2"', 'record_id="re-1"').encode(),
    }


def unordered(good: str) -> str:
    """The second record on an axis of its own whose frequencies fall."""
    axis = AXIS["axis_id"]
    line = next(x for x in good.splitlines() if x.startswith("<axis"))
    falling = line.replace(axis, "0" * 64).replace("1 4 10", "10 4 1")
    first, second = good.replace(line, f"{line}\n{falling}", 1).split('record_id="re-2"')
    return first + 'record_id="re-2"' + second.replace(axis, "0" * 64)
