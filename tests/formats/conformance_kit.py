"""Makes the conformance kit in fixtures/conformance: `python -m tests.formats.conformance_kit`.

Everything in it is invented. A test holds the committed files equal to what this makes.
"""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from archive.formats.open_csv import METADATA
from archive.formats.open_csv import write_csv as csv_writer
from archive.formats.open_xml import write_xml as xml_writer
from archive.tables import Batch, axis_row, with_id
from archive.tables.canonical import record_digests

KIT = Path(__file__).parents[2] / "fixtures" / "conformance"

Rows = dict[str, list[dict[str, Any]]]
MHZ = axis_row([1.0, 1.15, 1.3, 10.0, 100.0])
KM = axis_row([0.0, 0.0005, 0.001], "distances_km")


def minimal() -> Rows:
    """One record that holds nothing but a verdict."""
    record = {"record_id": "re-1", "link_label": "2-TR2-A117", "reported_verdict": "pass", "evidence": "verdict-only"}
    return {"records": [record]}


def one_sweep() -> Rows:
    """Two records with one sweep each over the same axis; the documents with one defect are made from it."""
    record = {"medium": "copper", "tested_local": "2019-03-04T10:15", "evidence": "full-sweep"}
    sweep = {"parameter": "next", "end": "local", "pairing": "1-2/3-6", "origin": "measured", "step": 0.1}
    values = {"re-1": [65.0, 64.2, None, 48.0, 30.1], "re-2": [70.0, 63.9, 62.0, 47.3, 29.8]}
    return {
        "axes": [MHZ],
        "records": [{"record_id": r, "link_label": f"A{r[-1]}", **record} for r in values],
        "sweeps": [{"record_id": r, "axis_id": MHZ["axis_id"], "values": v, **sweep} for r, v in values.items()],
    }


def numbers() -> Rows:
    """The lexical form of numbers, missing points, points of which the source gives only a bound."""
    odd = [0.0, -0.0, 1e-6, 9.99e-7, 1e10, 9999999999.9, 5e-324, 1.7976931348623157e308, 1 / 3, 0.1, 35.4, -48.2]
    readings = [
        {"record_id": "re-1", "quantity": "length", "subject": f"{i}", "origin": "measured", "value": v}
        for i, v in enumerate(odd)
    ]
    rows = one_sweep()
    rows["sweeps"][1] |= {"values": [None, None, None, None, -0.0], "above": [0, 1], "below": [], "step": None}
    return {**rows, "readings": readings}


def texts() -> Rows:
    """Null against empty, characters that XML or CSV cannot hold, what spreadsheets would execute."""
    odd = ["", None, " ", "a\tb\r\nc", "\x00", "\x1b[1m", "\ufffe", "\U0001f600", "e\u0301", "\u202eabc", "]]>&<>\"'"]
    odd += ["=1+1", "-", "@x", "\\N", "\\E", "\\u{41}", "one, two", 'said "so"', "\u2028", "AGI=", "\u00e9"]
    extras = [{"record_id": "re-1", "name": f"cell {i}", "value": v} for i, v in enumerate(odd)]
    extras += [{"record_id": "re-1", "name": v, "place": v, "value": "x"} for v in odd if v is not None]
    links = [with_id("links", {"label": "=A1", "job_id": "", "former_labels": ["", "a b", "\\", "-", "\x07"]})]
    links += [with_id("links", {"label": "B", "former_labels": []}), with_id("links", {"label": "C"})]
    record = {**minimal()["records"][0], "comment": "", "tested_found": "04.03.2019\u00a010:15\x00"}
    return {"links": links, "records": [record], "extras": extras}


def every_table() -> Rows:
    """A row in every table: copper with its wire map, fibre with its trace, and what the program said."""
    at = with_id("places", {"site": "Lantern Quay 4", "space": "TR2", "panel": "A", "port": "117"})
    was = with_id("places", {"site": "Lantern Quay 4", "space": "TR2-OLD", "panel": "A", "port": "117"})
    at = with_id("places", {**at, "valid_from": "2019-05-01", "former_place_id": was["place_id"]})
    unit = with_id("instruments", {"maker": "Petrel Metrology", "model": "P-40", "serial": "40-00317", "unit": "main"})
    job = "HARBOUR-2019-04"
    copper = {
        "record_id": "re-copper",
        "medium": "copper",
        "job_id": job,
        "link_label": "2-TR2-A117",
        "local_place_id": at["place_id"],
        "tested_found": "04.03.2019 10:15",
        "tested_local": "2019-03-04T10:15",
        "tested_at": "2019-03-04T10:15:00.000Z",
        "utc_offset_min": 0,
        "zone_basis": "job",
        "operator_key": "pe-4be1",
        "local_instrument_id": unit["instrument_id"],
        "velocity_percent": 76.5,
        "connections": 2,
        "reported_verdict": "pass",
        "reported_marginal": False,
        "evidence": "full-sweep",
        "source_id": "5d41",
        "source_place": "row 118",
    }
    fiber = {"record_id": "re-fiber", "medium": "fiber", "link_label": "F7", "evidence": "full-sweep"}
    grade = {"record_id": "re-copper", "limit_id": "tia-568.2-d/cat6a/channel", "verdict": "pass", "provisional": False}
    finding = {"rule": "example", "message": "an invented finding"}
    near = {"parameter": "next", "end": "local", "pairing": "1-2/3-6"}
    return {
        "axes": [MHZ, KM],
        "jobs": [{"job_id": job, "client": "Lantern Quay Trust", "zone": "Europe/Lisbon"}],
        "places": [at, was],
        "links": [with_id("links", {"job_id": job, "label": "2-TR2-A117", "local_place_id": at["place_id"]})],
        "instruments": [unit],
        "people": [{"person_key": "pe-4be1", "salt": "b1946ac9", "name": "R. Ostrander", "role": "operator"}],
        "documents": [{"document_id": "e3b0", "kind": "certificate", "bytes": 48213}],
        "schedule": [with_id("schedule", {"job_id": job, "link_label": "2-TR2-A117", "due_on": "2019-04-30"})],
        "sources": [
            {"source_id": "5d41", "path": "week2/links.csv", "cells_read": 4, "cells_mapped": 3, "cells_extra": 1}
        ],
        "records": [{**copper, "tested_at": _instant(copper["tested_at"])}, fiber],
        "readings": [
            {"record_id": "re-copper", "quantity": "length", "subject": "1-2", "origin": "measured", "value": 41.15}
        ],
        "sweeps": [
            {**one_sweep()["sweeps"][0], "record_id": "re-copper"},
            {
                "record_id": "re-fiber",
                "parameter": "backscatter",
                "direction": "local-remote",
                "wavelength_nm": 1550.0,
                "origin": "measured",
                "axis_id": KM["axis_id"],
                "values": [12.5, 12.4, None],
            },
        ],
        "reported": [{"record_id": "re-copper", "kind": "worst_margin", "margin": 2.2, "verdict": "pass", **near}],
        "wiremap": [{"record_id": "re-copper", "near": "1", "far": "1"}, {"record_id": "re-copper", "near": "S"}],
        "trace_events": [{"record_id": "re-fiber", "number": 1, "kind": "reflective", "distance_km": 0.2711}],
        "extras": [{"record_id": "re-copper", "name": "Battery", "place": "row 118, column 14", "value": "83 %"}],
        "set_aside": [
            {"source_id": "5d41", "path": "week2/links.csv", "place": "row 61", "reason": "12 values for 14"}
        ],
        "findings": [
            {**finding, "record_id": "re-copper", "severity": "information", "status": "raised"},
            {**finding, "severity": "warning", "status": "could not look"},
        ],
        "grades": [{**grade, "kind": "worst_margin", **near, "margin": 2.2}],
        "verdicts": [{**grade, "limits_version": "2026-11", "program": "muniment 0.1.0"}],
    }


GOOD: dict[str, Callable[[], Rows]] = {
    "minimal": minimal,
    "one-sweep": one_sweep,
    "numbers": numbers,
    "texts": texts,
    "every-table": every_table,
}


def _instant(text: str) -> Any:
    import pyarrow as pa

    return pa.scalar(text).cast(pa.timestamp("ms", tz="UTC"))


def xml_of(rows: Rows) -> str:
    """The document that the writer makes of these rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.xml"
        xml_writer.write([Batch.from_rows(rows)], path)
        return path.read_text(encoding="utf-8")


def csv_of(rows: Rows) -> dict[str, bytes]:
    """The CSV files that the writer makes of these rows, by name."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a"
        csv_writer.write([Batch.from_rows(rows)], path)
        return {p.name: p.read_bytes() for p in sorted(path.iterdir())}


def packed(files: dict[str, bytes]) -> bytes:
    """A zip of these files, not compressed, so that its bytes depend on nothing else."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content)
    return out.getvalue()


def _swap(text: str, old: str, new: str) -> str:
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


_BASE = xml_of(one_sweep())
_ID = MHZ["axis_id"]
_DTD = '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE link-records {}>\n'
_BOMB = '[<!ENTITY e0 "haha">' + "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 10)) + "]"
_LEAK = '[<!ENTITY leak SYSTEM "file:///etc/hostname">]'


def _with_dtd(dtd: str, entity: str) -> str:
    body = _BASE.split("\n", 1)[1]
    return _DTD.format(dtd) + _swap(body, 'link_label="A1"', f'link_label="{entity}"' if entity else 'link_label="A1"')


# Documents that are refused as a whole: name, document, words of the one line that says why.
REFUSED: dict[str, tuple[str | bytes, str]] = {
    "empty": ("", "is empty"),
    "not-xml": ("Link;Result\nA1;PASS\n", "not well-formed"),
    "truncated-between-rows": (_BASE[: _BASE.index("<record ")], "ends in the middle"),
    "truncated-in-a-tag": (_BASE[: _BASE.index("evidence=") + 4], "ends in the middle"),
    "truncated-in-a-sweep": (_BASE[: _BASE.index("64.2")], "ends in the middle"),
    "two-roots": (_BASE + "<link-records/>", "not well-formed"),
    "tags-crossed": (_swap(_BASE, "</sweep>\n</record>", "</record>\n</sweep>"), "not well-formed"),
    "not-utf-8": (_swap(_BASE, "A1", "\u00e9").encode("latin-1"), "not well-formed"),
    "wrong-namespace": (_BASE.replace("urn:muniment:link-record:1", "urn:example:other"), "not link record XML"),
    "no-namespace": (_BASE.replace(' xmlns="urn:muniment:link-record:1"', ""), "not link record XML"),
    "newer-version": (_BASE.replace("link-record:1", "link-record:2"), "written in version 2"),
    "entity-bomb": (_with_dtd(_BOMB, "&e9;"), "document type declaration"),
    "external-entity": (_with_dtd(_LEAK, "&leak;"), "document type declaration"),
    "external-dtd": (_with_dtd('SYSTEM "http://192.0.2.1/a.dtd"', ""), "document type declaration"),
    "empty-dtd": (_with_dtd("[]", ""), "document type declaration"),
    "unknown-attribute": (_swap(_BASE, "<record ", '<record colour="red" '), "colour"),
    "unknown-element": (_swap(_BASE, "</link-records>", "<cable></cable>\n</link-records>"), "not allowed here"),
    "unknown-word": (_swap(_BASE, 'evidence="full-sweep"', 'evidence="sweep"'), "'full-sweep'"),
    "missing-attribute": (_swap(_BASE, ' evidence="full-sweep"', ""), "missing required attribute 'evidence'"),
    "record-id-on-a-row": (_swap(_BASE, "<sweep ", '<sweep record_id="re-1" '), "record_id"),
    "letters-in-a-sweep": (_swap(_BASE, "64.2", "64.2dB"), "not a number"),
    "decimal-comma": (_swap(_BASE, "64.2", "64,2"), "not a number"),
    "not-measured-as-text": (_swap(_BASE, 'step="0.1"', 'step="n/a"'), "not a number"),
    "instant-with-offset": (
        _swap(_BASE, "tested_local=", 'tested_at="2019-03-04T10:15:00.000+01:00" tested_local='),
        "tested_at",
    ),
    "rows-out-of-order": (
        _swap(_BASE, "</sweep>", '</sweep>\n<reading origin="measured" quantity="length"></reading>'),
        "reading",
    ),
    "text-between-rows": (_swap(_BASE, "</record>\n", "</record>\nnext link\n"), "text between the rows"),
}

# Documents of which a record is set aside and the others are read: document, records read, words of the reason.
ASIDE: dict[str, tuple[str, int, str]] = {
    "nan-in-a-sweep": (_swap(_BASE, "64.2", "NaN"), 1, "holds NaN"),
    "infinity-in-a-sweep": (_swap(_BASE, "64.2", "-INF"), 1, "holds -INF"),
    "number-beyond-a-double": (_swap(_BASE, "64.2", "1e999"), 1, "holds 1e999"),
    "exponent-without-digits": (_swap(_BASE, "64.2", "64e"), 1, "holds 64e"),
    "nan-in-a-cell": (_swap(_BASE, 'step="0.1"', 'step="NaN"'), 1, "sweeps.step is not a finite number"),
    "sweep-shorter-than-its-axis": (_swap(_BASE, " 30.1", ""), 1, "has 4 values for 5 points"),
    "sweep-longer-than-its-axis": (_swap(_BASE, " 30.1", " 30.1 30.1"), 1, "has 6 values for 5 points"),
    "empty-sweep": (_swap(_BASE, "65 64.2 - 48 30.1", ""), 1, "has 0 values for 5 points"),
    "unordered-axis": (_swap(_BASE, "1 1.15 1.3", "1 1.3 1.15"), 0, "does not rise"),
    "repeated-frequency": (_swap(_BASE, "1 1.15 1.3", "1 1.15 1.15"), 0, "does not rise"),
    "nan-in-an-axis": (_swap(_BASE, "1 1.15 1.3", "1 NaN 1.3"), 0, "NaN"),
    "axis-with-both-lists": (
        _swap(_BASE, " frequencies_mhz=", ' distances_km="1 2" frequencies_mhz='),
        0,
        "both lists",
    ),
    "axis-id-of-other-numbers": (_BASE.replace(_ID, "0" * 64), 0, "does not match its numbers"),
    "unknown-axis": (_swap(_BASE, f'<sweep axis_id="{_ID}"', '<sweep axis_id="9f2c"'), 1, "does not stand before it"),
    "axis-after-its-record": ("", 0, "does not stand before it"),
    "repeated-record": (_swap(_BASE, 'record_id="re-2"', 'record_id="re-1"'), 1, "stands before it"),
    "not-base64": (_swap(_BASE, "<record ", '<record encoded="link_label" '), 1, "marked as base64"),
    "encoded-number": (_swap(_BASE, "<sweep ", '<sweep encoded="step" '), 1, "no text here"),
    "null-with-text": (
        _swap(_BASE, "</sweep>", '</sweep>\n<extra name="a" null="value">b</extra>'),
        1,
        "marked as null",
    ),
    "bound-on-a-point-that-is-not": (_swap(_BASE, "<sweep ", '<sweep above="5" '), 1, "above names point 5"),
    "bad-escape-in-a-list": (
        _swap(_BASE, "<record ", '<link former_labels="A \\x41" label="A" link_id="ln-1"></link>\n<record '),
        2,
        "former_labels cannot be taken",
    ),
    "end-of-day-as-24": (
        _swap(_BASE, "tested_local=", 'tested_at="2019-03-04T24:00:00.000Z" tested_local='),
        1,
        "tested_at cannot be taken",
    ),
}


def _axis_last() -> str:
    lines = _BASE.splitlines(keepends=True)
    axis = next(line for line in lines if line.startswith("<axis"))
    lines.remove(axis)
    return "".join([*lines[:-1], axis, lines[-1]])


ASIDE["axis-after-its-record"] = (_axis_last(), *ASIDE["axis-after-its-record"][1:])


def written_otherwise() -> dict[str, bytes]:
    """The document one-sweep as other programs might write it: the same records, so the same digests."""
    prefixed = _BASE.replace(' xmlns="urn:muniment:link-record:1"', "").replace("<", "<lr:").replace("<lr:/", "</lr:")
    prefixed = prefixed.replace("<lr:?xml", "<?xml")
    prefixed = _swap(prefixed, "<lr:link-records>", '<lr:link-records xmlns:lr="urn:muniment:link-record:1">')
    wrapped = _BASE.replace("\n<", "\n  <").replace("65 64.2 - 48 30.1", "\n  65.0\t+64.2  -\n 4.8E1 30.10\n")
    wrapped = wrapped.replace(' step="0.1"', " step='1e-1'").replace("?>\n", "?>\n<!-- indented by hand -->\n", 1)
    utf16 = _BASE.replace("UTF-8", "UTF-16").encode("utf-16")
    return {"prefixed": prefixed.encode(), "wrapped": wrapped.encode(), "utf-16": utf16}


def _csv(change: Callable[[dict[str, bytes]], None]) -> bytes:
    files = {k: v for k, v in csv_of(one_sweep()).items() if (v.count(b"\n") > 1 and k != METADATA) or k == METADATA}
    change(files)
    return packed(files)


def _edit(name: str, old: str, new: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[name] = _swap(files[name].decode(), old, new).encode()

    return change


def _raw(name: str, old: bytes, new: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        assert old in files[name]
        files[name] = files[name].replace(old, new, 1)

    return change


def _newer(files: dict[str, bytes]) -> None:
    files["link-record-2-csv.json"] = files.pop(METADATA)


CSV_REFUSED: dict[str, tuple[bytes, str]] = {
    "csv-newer-version": (_csv(_newer), "version 2 of link record CSV"),
    "csv-no-records": (_csv(lambda f: f.pop("records.csv") and None), "no records.csv"),
    "csv-unknown-column": (_csv(_edit("records.csv", "evidence", "proof")), "unknown proof"),
    "csv-column-missing": (_csv(_edit("sweeps.csv", ",origin,", ",")), "missing origin"),
    "csv-no-header": (_csv(lambda f: f.update({"records.csv": b""})), "does not name the columns"),
    "csv-not-utf-8": (_csv(_raw("records.csv", b"A1", b"\xe9")), "not UTF-8"),
}

CSV_ASIDE: dict[str, tuple[bytes, int, str]] = {
    "csv-letters-in-a-number": (_csv(_edit("sweeps.csv", ",0.1\n", ",0.1 dB\n")), 1, "step cannot be taken"),
    "csv-nan": (_csv(_edit("sweeps.csv", "64.2", "nan")), 1, "values cannot be taken"),
    "csv-decimal-comma": (_csv(_edit("sweeps.csv", "64.2", "64,2")), 1, "wrong number of cells"),
    "csv-short-sweep": (_csv(_edit("sweeps.csv", " 30.1", "")), 1, "has 4 values for 5 points"),
    "csv-bad-escape": (_csv(_edit("records.csv", "A1", "\\x41")), 1, "link_label cannot be taken"),
    "csv-empty-where-required": (_csv(_edit("records.csv", "full-sweep", "")), 1, "evidence cannot be taken"),
    "csv-unknown-word": (_csv(_edit("records.csv", "full-sweep", "sweep")), 1, "no word of evidence"),
    "csv-row-of-no-record": (_csv(_edit("sweeps.csv", "\nre-1,", "\nre-9,")), 2, "names a record that is not there"),
    "csv-repeated-record": (_csv(_edit("records.csv", "re-2", "re-1")), 0, "stands more than once"),
    "csv-unordered-axis": (_csv(_edit("axes.csv", "1 1.15 1.3", "1 1.3 1.15")), 0, "does not rise"),
}


def files() -> dict[str, bytes]:
    """Every file of the kit by its path."""
    out: dict[str, bytes] = {}
    for name, make in GOOD.items():
        out[f"good/{name}.xml"] = xml_of(make()).encode()
        out[f"good/{name}.zip"] = packed(csv_of(make()))
    out |= {f"good/one-sweep-{name}.xml": document for name, document in written_otherwise().items()}
    for name, (document, _) in REFUSED.items():
        out[f"refused/{name}.xml"] = document.encode() if isinstance(document, str) else document
    out |= {f"aside/{name}.xml": document.encode() for name, (document, _, _) in ASIDE.items()}
    out |= {f"refused/{name}.zip": content for name, (content, _) in CSV_REFUSED.items()}
    out |= {f"aside/{name}.zip": content for name, (content, _, _) in CSV_ASIDE.items()}
    out["expected.toml"] = _expected().encode()
    return out


def _expected() -> str:
    lines = ["# What a reader must make of each document of the kit. Digests stand in the order of the records."]
    for name, make in GOOD.items():
        digests = record_digests(Batch.from_rows(make()))
        also = [f"one-sweep-{n}.xml" for n in written_otherwise()] if name == "one-sweep" else []
        for file in (f"{name}.xml", f"{name}.zip", *also):
            lines += ["", f'["good/{file}"]', f"records = {len(digests)}", "digests = ["]
            lines += [f'    "{d}",' for d in digests] + ["]"]
    refused = {f"{n}.xml": w for n, (_, w) in REFUSED.items()} | {f"{n}.zip": w for n, (_, w) in CSV_REFUSED.items()}
    for file, words in refused.items():
        lines += ["", f'["refused/{file}"]', f"says = {_quoted(words)}"]
    aside = {f"{n}.xml": r for n, (_, *r) in ASIDE.items()} | {f"{n}.zip": r for n, (_, *r) in CSV_ASIDE.items()}
    for file, (records, words) in aside.items():
        lines += ["", f'["aside/{file}"]', f"records = {records}", f"says = {_quoted(str(words))}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


if __name__ == "__main__":
    made = files()
    for path, content in made.items():
        (KIT / path).parent.mkdir(parents=True, exist_ok=True)
        (KIT / path).write_bytes(content)
    for old in KIT.rglob("*"):
        if old.is_file() and old.name != "README.md" and old.relative_to(KIT).as_posix() not in made:
            old.unlink()
    print(f"{len(made)} files")
