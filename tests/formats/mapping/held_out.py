"""Layouts that the drafting was not made with: small, invented, each with where its columns belong.

`expected` maps the name of a column (as the draft names it) to its place, or to "" where no column of the tables takes
it. Written after the drafting worked on the fixtures, in other words and other shapes; none was used to extend the
word list but where a test says so. The last four (mallow, nutmeg, orache, parsley) are of a later stress: the drafting
failed on them when they were written, was mended, and is held to them since.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from invented.job import COMBINATIONS, ENDS, ORDERED, PAIRS, Test, tests
from invented.text import contacts, lines, num, short, zipped


@dataclass
class HeldOut:
    """files: name and bytes, the first is handed in. expected: where columns belong."""

    files: dict[str, bytes]
    expected: dict[str, str] = field(default_factory=dict)
    lead: str = ""


def _worst(t: Test, parameter: str) -> dict:
    return next(w for w in t.worst if w["parameter"] == parameter and w["kind"] == "worst_margin")


def alder_summary() -> HeldOut:
    """One row per link, English, commas, American dates, margins and worst pairs, lengths in feet."""
    heads = [
        "Run",
        "Site",
        "Floor",
        "Test Date",
        "Test Time",
        "Technician",
        "Proved against",
        "Cable Type",
        "NVP",
        "Length (ft)",
        "Delay (ns)",
        "Skew (ns)",
        "DC Resistance (ohms)",
        "Wire Map",
        "Insertion Loss Margin (dB)",
        "IL Worst Pair",
        "NEXT Margin (dB)",
        "NEXT Worst Pair",
        "NEXT Worst Freq (MHz)",
        "RL Margin (dB)",
        "RL Worst Pair",
        "PSNEXT Margin (dB)",
        "Overall Result",
        "Unit no.",
        "Far unit no.",
        "Adjusted on",
        "Notes",
    ]
    rows: list[list[object]] = [heads]
    for i, t in enumerate(tests(30, 71, points=8, derived=True)):
        day = t.when.replace(day=1 + i)
        nxt, rl, il = _worst(t, "next"), _worst(t, "return_loss"), _worst(t, "insertion_loss")
        rows.append(
            [
                f"{t.label}",
                "North Hall",
                2,
                day.strftime("%m/%d/%Y"),
                day.strftime("%I:%M:%S %p"),
                t.operator,
                t.limit,
                t.cable,
                num(t.nvp, 1),
                num(t.length["1-2"] / 0.3048, 0),
                num(t.delay["1-2"], 0),
                num(t.skew, 0),
                num(t.loop["1-2"]),
                "1-1 2-2 3-3 4-4 5-5 6-6 7-7 8-8",
                num(il["margin"]),
                il["pairing"],
                num(nxt["margin"]),
                nxt["pairing"],
                num(nxt["frequency_mhz"]),
                num(rl["margin"]),
                rl["pairing"],
                num(nxt["margin"] + 1),
                t.verdict.upper(),
                t.main["serial"],
                t.remote["serial"],
                "03/15/2018",
                "re-terminated" if i == 3 else "",
            ]
        )
    return HeldOut(
        {"summary.csv": lines(rows, ",").encode()},
        {
            "Run": "records.link_label",
            "Site": "jobs.site",
            "Floor": "places.floor",
            "Test Date": "records.tested_found[date]",
            "Test Time": "records.tested_found[time]",
            "Technician": "people.name",
            "Proved against": "records.limit_found",
            "Cable Type": "records.cable_found",
            "NVP": "records.velocity_percent",
            "Length (ft)": "readings.length",
            "Delay (ns)": "readings.propagation_delay",
            "Skew (ns)": "readings.delay_skew",
            "DC Resistance (ohms)": "readings.loop_resistance",
            "Wire Map": "wiremap.far",
            "Insertion Loss Margin (dB)": "reported.insertion_loss.margin[worst_margin]",
            "IL Worst Pair": "reported.insertion_loss.pairing[worst_margin]",
            "NEXT Margin (dB)": "reported.next.margin[worst_margin]",
            "NEXT Worst Pair": "reported.next.pairing[worst_margin]",
            "NEXT Worst Freq (MHz)": "reported.next.frequency[worst_margin]",
            "RL Margin (dB)": "reported.return_loss.margin[worst_margin]",
            "RL Worst Pair": "reported.return_loss.pairing[worst_margin]",
            "PSNEXT Margin (dB)": "reported.ps_next.margin[worst_margin]",
            "Overall Result": "records.reported_verdict",
            "Unit no.": "instruments.serial[local]",
            "Far unit no.": "instruments.serial[remote]",
            "Adjusted on": "instruments.calibrated_on[local]",
            "Notes": "records.comment",
        },
    )


def birch_tidy() -> HeldOut:
    """Fully long: one row per point, snake case, ISO times with offset, hertz."""
    rows: list[list[object]] = [
        ["cable_label", "tested_at", "quantity", "pair_combo", "measured_end", "frequency_hz", "value_db", "limit_db"]
    ]
    for t in tests(2, 72, points=40):
        for (q, e, c), v in t.curves.items():
            for f, x in zip(t.axis, v, strict=True):
                rows.append(
                    [t.label, t.when.isoformat() + "+02:00", q, c, e, f"{f * 1e6:.0f}", num(x), num(40 - f / 20)]
                )
    return HeldOut(
        {"points.csv": lines(rows, ",").encode()},
        {
            "cable_label": "records.link_label",
            "tested_at": "records.tested_found",
            "quantity": "row.parameter",
            "pair_combo": "row.pairing",
            "measured_end": "row.end",
            "frequency_hz": "row.frequency",
            "value_db": "row.value",
            "limit_db": "row.limit",
        },
    )


def cedar_blocks() -> HeldOut:
    """Stacked blocks, German, colons inside cells, one wide table per block, pairs by number under T568A."""
    number = {"4-5": 1, "3-6": 2, "1-2": 3, "7-8": 4}
    order = ["4-5", "3-6", "1-2", "7-8"]
    out = []
    for t in tests(4, 73, points=60):
        out += [
            "*** Messung ***",
            f"Strecke: {t.label}",
            f"Datum: {t.when.strftime('%d.%m.%Y')}",
            f"Uhrzeit: {t.when.strftime('%H:%M')}",
            f"Bediener: {t.operator}",
            "Belegung: T568A",
            f"Grenzwert: {t.limit}",
            f"Ergebnis: {'BESTANDEN' if t.verdict == 'pass' else 'NICHT BESTANDEN'}",
            "",
        ]
        heads = (
            ["f [MHz]"]
            + [f"Dämpfung Paar {number[p]} [dB]" for p in order]
            + [f"Rückflussdämpfung Paar {number[p]} (nah) [dB]" for p in order]
            + [f"Rückflussdämpfung Paar {number[p]} (fern) [dB]" for p in order]
        )
        out.append("\t".join(heads))
        for i, f in enumerate(t.axis):
            row = [num(f, 2, True)] + [num(t.curves[("insertion_loss", "", p)][i], 1, True) for p in order]
            row += [num(t.curves[("return_loss", e, p)][i], 1, True) for e in ENDS for p in order]
            out.append("\t".join(row))
        out.append("")
    expected = {
        "Strecke": "records.link_label",
        "Datum": "records.tested_found[date]",
        "Uhrzeit": "records.tested_found[time]",
        "Bediener": "people.name",
        "Grenzwert": "records.limit_found",
        "Ergebnis": "records.reported_verdict",
        "f [MHz]": "row.frequency",
    }
    for p in order:
        expected[f"Dämpfung Paar {number[p]} [dB]"] = f"sweeps.insertion_loss[{p}]"
        expected[f"Rückflussdämpfung Paar {number[p]} (nah) [dB]"] = f"sweeps.return_loss[local,{p}]"
        expected[f"Rückflussdämpfung Paar {number[p]} (fern) [dB]"] = f"sweeps.return_loss[remote,{p}]"
    return HeldOut({"messungen.txt": "\n".join(out).encode("cp1252")}, expected)


def dogwood_book() -> HeldOut:
    """A workbook: one sheet per quantity with the link, frequency and one column per pair; a sheet of links."""
    import openpyxl

    listed = tests(3, 74, points=40)
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Summary"
    sheet.append(["Circuit", "Tested on", "Standard", "Inspector", "Cable length [m]", "Verdict"])
    for t in listed:
        sheet.append([t.label, t.when, t.limit, t.operator, t.length["1-2"], t.verdict.capitalize()])
    for title, q in (("Attenuation", "insertion_loss"), ("Return loss", "return_loss"), ("NEXT", "next")):
        ws = book.create_sheet(title)
        names = [n for n in listed[0].curves if n[0] == q]
        side = {"": "", "local": " (Main)", "remote": " (Remote)"}
        ws.append(["Circuit", "Frequency [MHz]", *(f"{c}{side[e]}" for _, e, c in names)])
        for t in listed:
            for i, f in enumerate(t.axis):
                ws.append([t.label, float(f), *(float(t.curves[n][i]) for n in names)])
    out = io.BytesIO()
    book.save(out)
    expected = {
        "Circuit": "records.link_label",
        "Tested on": "records.tested_found",
        "Standard": "records.limit_found",
        "Inspector": "people.name",
        "Cable length [m]": "readings.length",
        "Verdict": "records.reported_verdict",
        "Frequency [MHz]": "row.frequency",
    }
    for q, e, c in listed[0].curves:
        if q != "fext":
            expected[f"{c}{ {'': '', 'local': ' (Main)', 'remote': ' (Remote)'}[e] }"] = "*"
    return HeldOut({"certification.xlsx": out.getvalue()}, expected)


def elm_json() -> HeldOut:
    """JSON: links keyed by label, curves by quantity, end and pair, the axis once at the top."""
    listed = tests(3, 75, points=50, category="cat6")
    links = {}
    for t in listed:
        curves: dict = {"insertionLoss": {}, "next": {"near": {}, "far": {}}, "returnLoss": {"near": {}, "far": {}}}
        for (q, e, c), v in t.curves.items():
            name = {"insertion_loss": "insertionLoss", "return_loss": "returnLoss", "next": "next"}.get(q)
            if name:
                into = curves[name] if not e else curves[name][{"local": "near", "remote": "far"}[e]]
                into[contacts(c)] = [round(float(x), 1) for x in v]
        links[t.label] = {
            "testedAt": t.when.isoformat() + "Z",
            "limit": t.limit,
            "operator": {"name": t.operator},
            "result": t.verdict,
            "lengthMeters": {contacts(p): t.length[p] for p in PAIRS},
            "curves": curves,
        }
    document = {"schema": "elm/1", "frequenciesMHz": [float(f) for f in listed[0].axis], "links": links}
    expected = {
        "#key": "records.link_label",
        "testedAt": "records.tested_found",
        "limit": "records.limit_found",
        "operator/name": "people.name",
        "result": "records.reported_verdict",
        "/frequenciesMHz": "axes.frequencies_mhz",
    }
    for p in PAIRS:
        expected[f"lengthMeters/{contacts(p)}"] = f"readings.length[{p}]"
        expected[f"curves/insertionLoss/{contacts(p)}"] = f"sweeps.insertion_loss[{p}]"
        for e, w in (("local", "near"), ("remote", "far")):
            expected[f"curves/returnLoss/{w}/{contacts(p)}"] = f"sweeps.return_loss[{e},{p}]"
    for c in COMBINATIONS:
        for e, w in (("local", "near"), ("remote", "far")):
            expected[f"curves/next/{w}/{contacts(c)}"] = f"sweeps.next[{e},{c}]"
    return HeldOut({"elm.json": json.dumps(document).encode()}, expected)


def fir_xml() -> HeldOut:
    """XML: a header per test, single results with their worst point, sweeps as x and y lists."""
    out = ["<export><contract>FIR-88</contract><tests>"]
    for t in tests(4, 76, points=30, category="cat6"):
        out.append(
            f"<test><header><cableId>{t.label}</cableId><timestamp>{t.when.isoformat()}</timestamp><testLimit>{t.limit}</testLimit>"
            f"<testedBy>{t.operator}</testedBy><outcome>{t.verdict.upper()}</outcome></header>"
        )
        out.append("<results>")
        for q, name in (("next", "NEXT"), ("return_loss", "ReturnLoss")):
            w = _worst(t, q)
            out.append(
                f'<result measurement="{name}"><end>{w["end"]}</end><pair>{w["pairing"]}</pair>'
                f"<value>{num(w['value'])}</value><limit>{num(w['limit'])}</limit><margin>{num(w['margin'])}</margin>"
                f'<frequency unit="MHz">{num(w["frequency_mhz"])}</frequency></result>'
            )
        out.append("</results><sweeps>")
        for (q, e, c), v in t.curves.items():
            if q in ("next", "return_loss"):
                out.append(
                    f'<sweep measurement="{ {"next": "NEXT", "return_loss": "ReturnLoss"}[q] }" end="{e}" pair="{c}">'
                    f"<freq>{' '.join(short(f) for f in t.axis)}</freq><db>{' '.join(num(x) for x in v)}</db></sweep>"
                )
        out.append("</sweeps></test>")
    out.append("</tests></export>")
    return HeldOut(
        {"fir.xml": "".join(out).encode()},
        {
            "header/cableId": "records.link_label",
            "header/timestamp": "records.tested_found",
            "header/testLimit": "records.limit_found",
            "header/testedBy": "people.name",
            "header/outcome": "records.reported_verdict",
            "/export/contract": "jobs.job_id",
            "@measurement": "row.parameter",
            "end": "row.end",
            "pair": "row.pairing",
            "value": "row.value",
            "limit": "row.limit",
            "margin": "row.margin",
            "frequency": "row.frequency",
            "@end": "row.end",
            "@pair": "row.pairing",
            "freq": "row.frequencies",
            "db": "row.values",
        },
    )


def gorse_report() -> HeldOut:
    """Report text with dotted leaders and a small table of pairs; several links in one file, French."""
    out = ["RAPPORT DE RECETTE", ""]
    for t in tests(5, 77, points=8):
        day = t.when.replace(day=21)
        nxt = _worst(t, "next")
        out += [
            f"Lien ................. {t.label}",
            f"Date d'essai ......... {day.strftime('%d/%m/%Y %H:%M')}",
            f"Norme ................ {t.limit}",
            f"Opérateur ............ {t.operator}",
            f"Verdict .............. {'Conforme' if t.verdict == 'pass' else 'Non conforme'}",
            "",
            "Paire      Longueur (m)   Délai (ns)   Résistance (ohm)",
        ]
        out += [
            f"{p:<11}{num(t.length[p], 1, True):>12}{num(t.delay[p], 0):>13}{num(t.loop[p], 1, True):>19}"
            for p in PAIRS
        ]
        out += [
            "",
            f"Marge NEXT (dB) ...... {num(nxt['margin'], 1, True)}",
            f"Paires NEXT .......... {nxt['pairing']}",
            "-" * 60,
        ]
    return HeldOut(
        {"recette.txt": "\n".join(out).encode("utf-8")},
        {
            "Lien": "records.link_label",
            "Date d'essai": "records.tested_found",
            "Norme": "records.limit_found",
            "Opérateur": "people.name",
            "Verdict": "records.reported_verdict",
            "Marge NEXT (dB)": "reported.next.margin[worst_margin]",
            "Paires NEXT": "reported.next.pairing[worst_margin]",
            **{f"{p} | Longueur (m)": f"readings.length[{p}]" for p in PAIRS},
            **{f"{p} | Délai (ns)": f"readings.propagation_delay[{p}]" for p in PAIRS},
            **{f"{p} | Résistance (ohm)": f"readings.loop_resistance[{p}]" for p in PAIRS},
            "Paire": "row.pairing",
            "Longueur (m)": "readings.length",
            "Délai (ns)": "readings.propagation_delay",
            "Résistance (ohm)": "readings.loop_resistance",
        },
    )


def hazel_curve_blocks() -> HeldOut:
    """A block per curve: the link, the quantity and the pair in labels, frequency and level below."""
    out = []
    for t in tests(2, 78, points=30, category="cat6"):
        for (q, e, c), v in t.curves.items():
            if q not in ("insertion_loss", "next"):
                continue
            out += [
                f"Link ID,{t.label}",
                f"Tested,{t.when.strftime('%Y-%m-%d %H:%M')}",
                f"Measurement,{'Insertion Loss' if q == 'insertion_loss' else 'NEXT'}",
                f"Pair,{contacts(c)}",
                f"End,{ {'local': 'Main', 'remote': 'Remote', '': 'Main'}[e] }",
                "Frequency (MHz),Level (dB),Limit (dB)",
            ]
            out += [f"{short(f)},{num(x)},{num(50 - f / 10)}" for f, x in zip(t.axis, v, strict=True)]
            out.append("")
    return HeldOut(
        {"curves.csv": "\n".join(out).encode()},
        {
            "Link ID": "records.link_label",
            "Tested": "records.tested_found",
            "Measurement": "row.parameter",
            "Pair": "row.pairing",
            "End": "row.end",
            "Frequency (MHz)": "row.frequency",
            "Level (dB)": "row.value",
            "Limit (dB)": "row.limit",
        },
    )


def ivy_fiber() -> HeldOut:
    """Fibre, wide: both wavelengths and directions beside each other, English."""
    rng = np.random.default_rng(79)
    rows: list[list[object]] = [
        [
            "Fiber ID",
            "Date",
            "Operator",
            "Fiber type",
            "Length (m)",
            "Loss 850 A-B (dB)",
            "Loss 850 B-A (dB)",
            "Loss 1300 A-B (dB)",
            "Loss 1300 B-A (dB)",
            "Limit 850 (dB)",
            "Limit 1300 (dB)",
            "Margin 850 (dB)",
            "Reference method",
            "Connectors",
            "Splices",
            "Result",
        ]
    ]
    for i in range(24):
        n = rng.uniform(50, 250)
        x = [round(0.4 + 0.003 * n + rng.normal(0, 0.05), 2) for _ in range(4)]
        rows.append(
            [
                f"BB-{i + 1:03d}",
                f"2021-05-{i + 1:02d}",
                "J. Ferrow",
                "OM3 50/125",
                num(n),
                *map(str, x),
                "2.40",
                "1.90",
                num(2.4 - max(x[:2]), 2),
                "One jumper",
                2,
                0,
                "PASS",
            ]
        )
    return HeldOut(
        {"fiber.csv": lines(rows, ",").encode()},
        {
            "Fiber ID": "records.link_label",
            "Date": "records.tested_found",
            "Operator": "people.name",
            "Fiber type": "records.cable_found",
            "Length (m)": "readings.length",
            "Loss 850 A-B (dB)": "readings.optical_loss[local-remote,850nm]",
            "Loss 850 B-A (dB)": "readings.optical_loss[remote-local,850nm]",
            "Loss 1300 A-B (dB)": "readings.optical_loss[local-remote,1300nm]",
            "Loss 1300 B-A (dB)": "readings.optical_loss[remote-local,1300nm]",
            "Limit 850 (dB)": "readings.optical_loss[limit,850nm]",
            "Limit 1300 (dB)": "readings.optical_loss[limit,1300nm]",
            "Margin 850 (dB)": "readings.optical_loss[margin,850nm]",
            "Reference method": "records.reference_method",
            "Connectors": "records.connections",
            "Splices": "records.splices",
            "Result": "records.reported_verdict",
        },
    )


def juniper_plain() -> HeldOut:
    """Lengths and delays without units (feet), a frequency column without unit, suffix letters for the ends."""
    rows: list[list[object]] = [
        [
            "ID",
            "When",
            "Len",
            "Delay",
            "Freq",
            *(f"RL{contacts(p)}{x}" for x in "LR" for p in PAIRS),
            *(f"IL{contacts(p)}" for p in PAIRS),
        ]
    ]
    for t in tests(3, 80, points=50):
        for i, f in enumerate(t.axis):
            rows.append(
                [
                    t.label,
                    t.when.strftime("%Y-%m-%d %H:%M"),
                    num(t.length["1-2"] / 0.3048, 0),
                    num(t.delay["1-2"], 0),
                    short(f),
                    *(num(t.curves[("return_loss", e, p)][i]) for e in ENDS for p in PAIRS),
                    *(num(t.curves[("insertion_loss", "", p)][i]) for p in PAIRS),
                ]
            )
    return HeldOut(
        {"j.csv": lines(rows, ";").encode()},
        {
            "ID": "records.link_label",
            "When": "records.tested_found",
            "Len": "readings.length",
            "Delay": "readings.propagation_delay",
            "Freq": "row.frequency",
            **{
                f"RL{contacts(p)}{x}": f"sweeps.return_loss[{e},{p}]"
                for x, e in (("L", "local"), ("R", "remote"))
                for p in PAIRS
            },
            **{f"IL{contacts(p)}": f"sweeps.insertion_loss[{p}]" for p in PAIRS},
        },
    )


def kelp_zip() -> HeldOut:
    """A zip: identities in one file, a file per quantity, the quantity in the file's name, Spanish headings."""
    listed = tests(3, 81, points=40, category="cat6")
    ids = [["Enlace", "Fecha", "Norma", "Técnico", "Resultado", "Longitud (m)"]] + [
        [
            t.label,
            t.when.strftime("%Y-%m-%d"),
            t.limit,
            t.operator,
            "PASA" if t.verdict == "pass" else "FALLA",
            num(t.length["1-2"], 1, True),
        ]
        for t in listed
    ]
    files = {"enlaces.csv": lines(ids, ";").encode()}
    for name, q in (("perdida_de_insercion.csv", "insertion_loss"), ("paradiafonia.csv", "next")):
        names = [n for n in listed[0].curves if n[0] == q]
        side = {"": "", "local": " local", "remote": " remoto"}
        rows = [["Enlace", "MHz", *(f"{contacts(c)}{side[e]}" for _, e, c in names)]]
        rows += [
            [t.label, short(f), *(num(t.curves[n][i], 1, True) for n in names)]
            for t in listed
            for i, f in enumerate(t.axis)
        ]
        files[name] = lines(rows, ";").encode()
    return HeldOut(
        {"kelp.zip": zipped(files)},
        {
            "Enlace": "records.link_label",
            "Fecha": "records.tested_found",
            "Norma": "records.limit_found",
            "Técnico": "people.name",
            "Resultado": "records.reported_verdict",
            "Longitud (m)": "readings.length",
            "MHz": "row.frequency",
            **{contacts(p): f"sweeps.insertion_loss[{p}]" for p in PAIRS},
            **{
                f"{contacts(c)}{s}": f"sweeps.next[{e},{c}]"
                for c in COMBINATIONS
                for e, s in (("local", " local"), ("remote", " remoto"))
            },
        },
    )


def larch_values_and_limits() -> HeldOut:
    """Per link and quantity: both worst cases beside each other, Italian, cp1252."""
    rows: list[list[object]] = [
        [
            "Collegamento",
            "Data",
            "Parametro",
            "Margine peggiore (dB)",
            "Frequenza (MHz)",
            "Coppie",
            "Valore peggiore (dB)",
            "Frequenza (MHz)",
            "Coppie",
            "Esito",
        ]
    ]
    for t in tests(8, 82, points=8):
        day = t.when.replace(day=19)
        for q, name in (("next", "NEXT"), ("return_loss", "Perdita di ritorno")):
            w = _worst(t, q)
            v = next(x for x in t.worst if x["parameter"] == q and x["kind"] == "worst_value")
            rows.append(
                [
                    t.label,
                    day.strftime("%d/%m/%Y"),
                    name,
                    num(w["margin"], 1, True),
                    num(w["frequency_mhz"], 1, True),
                    contacts(w["pairing"]),
                    num(v["value"], 1, True),
                    num(v["frequency_mhz"], 1, True),
                    contacts(v["pairing"]),
                    "Superato" if w["verdict"] == "pass" else "Fallito",
                ]
            )
    return HeldOut(
        {"esiti.csv": lines(rows, ";").encode("cp1252")},
        {
            "Collegamento": "records.link_label",
            "Data": "records.tested_found",
            "Parametro": "row.parameter",
            "Margine peggiore (dB)": "row.margin[worst_margin]",
            "Frequenza (MHz)": "row.frequency[worst_margin]",
            "Coppie": "row.pairing[worst_margin]",
            "Valore peggiore (dB)": "row.value[worst_value]",
            "Frequenza (MHz) (2)": "row.frequency[worst_value]",
            "Coppie (2)": "row.pairing[worst_value]",
            "Esito": "row.verdict",
        },
    )


def mallow_pairs() -> HeldOut:
    """JSON: curves as lists of [frequency, value], the quantity, pair and side beside each."""
    listed = tests(3, 83, points=30, category="cat6")
    names = {"insertion_loss": "IL", "return_loss": "RL", "next": "NEXT"}
    links = [
        {
            "name": t.label,
            "tested": t.when.isoformat(),
            "standard": t.limit,
            "by": t.operator,
            "ok": t.verdict == "pass",
            "length": {"value": t.length["1-2"], "unit": "m"},
            "traces": [
                {
                    "what": names[q],
                    "pair": c,
                    **({"side": e} if e else {}),
                    "points": [[float(f), round(float(x), 1)] for f, x in zip(t.axis, v, strict=True)],
                }
                for (q, e, c), v in t.curves.items()
                if q in names
            ],
        }
        for t in listed
    ]
    return HeldOut(
        {"mallow.json": json.dumps({"links": links}).encode()},
        {
            "name": "records.link_label",
            "tested": "records.tested_found",
            "standard": "records.limit_found",
            "by": "people.name",
            "ok": "records.reported_verdict",
            "length/value": "readings.length",
            "#1": "row.frequency",
            "#2": "row.value",
            "../what": "row.parameter",
            "../pair": "row.pairing",
            "../side": "row.end",
        },
    )


def nutmeg_properties() -> HeldOut:
    """XML: the facts as properties with a name and a value, worst cases as elements."""
    from xml.sax.saxutils import quoteattr

    out = ["<Report><Tests>"]
    for t in tests(5, 84, points=8):
        facts = {
            "Run": t.label,
            "Proved on": t.when.strftime("%Y-%m-%d %H:%M:%S"),
            "Proved against": t.limit,
            "Hand": t.operator,
            "Unit no.": t.main["serial"],
            "Outcome": t.verdict.upper(),
        }
        out.append("<Test>")
        out += [f"<Property name={quoteattr(k)} value={quoteattr(v)}/>" for k, v in facts.items()]
        for q, name in (("insertion_loss", "Insertion Loss"), ("next", "NEXT")):
            w = _worst(t, q)
            out.append(
                f'<WorstCase test="{name}"><Pairs>{w["pairing"]}</Pairs><Margin>{num(w["margin"])}</Margin>'
                f"<Frequency>{num(w['frequency_mhz'])}</Frequency></WorstCase>"
            )
        out.append("</Test>")
    return HeldOut(
        {"nutmeg.xml": "".join([*out, "</Tests></Report>"]).encode()},
        {
            "Property/Run": "records.link_label",
            "Property/Proved on": "records.tested_found",
            "Property/Proved against": "records.limit_found",
            "Property/Hand": "people.name",
            "Property/Unit no.": "instruments.serial[local]",
            "Property/Outcome": "records.reported_verdict",
            "@test": "row.parameter",
            "Pairs": "row.pairing",
            "Margin": "row.margin",
            "Frequency": "row.frequency",
        },
    )


def orache_traces() -> HeldOut:
    """Commas, a row per curve, the curve in one cell as "frequency;level frequency;level", dates with hyphens."""
    rows: list[list[object]] = [["Cable", "Tested", "Test", "Pairs", "Unit", "Trace (MHz;dB)"]]
    names = {"insertion_loss": "Insertion loss", "return_loss": "Return loss", "next": "NEXT"}
    for t in tests(3, 85, points=30, category="cat6"):
        for (q, e, c), v in t.curves.items():
            if q in names:
                trace = " ".join(f"{short(f)};{num(x)}" for f, x in zip(t.axis, v, strict=True))
                side = {"": "", "local": "Main", "remote": "Remote"}[e]
                rows.append([t.label, t.when.replace(day=21).strftime("%d-%m-%Y"), names[q], c, side, trace])
    return HeldOut(
        {"orache.csv": lines(rows, ",").encode()},
        {
            "Cable": "records.link_label",
            "Tested": "records.tested_found",
            "Test": "row.parameter",
            "Pairs": "row.pairing",
            "Unit": "row.end",
            "Trace (MHz;dB)": "row.values",
        },
    )


def parsley_files() -> HeldOut:
    """A zip: the identities in one file, a file of curves for each link, named in the first; hertz."""
    listed = tests(4, 86, points=30, category="cat6")
    index = [["File", "Circuit ID", "Tested", "Limit", "Status"]] + [
        [f"{t.sequence}.csv", t.label, t.when.strftime("%Y/%m/%d %H:%M"), t.limit, t.verdict.title()] for t in listed
    ]
    files = {"index.csv": lines(index, ",").encode()}
    names = [n for n in listed[0].curves if n[0] in ("insertion_loss", "return_loss")]
    heads = {n: _short_head(*n) for n in names}
    for t in listed:
        rows = [["Hz", *heads.values()]]
        rows += [[f"{f * 1e6:.0f}", *(num(t.curves[n][i]) for n in names)] for i, f in enumerate(t.axis)]
        files[f"{t.sequence}.csv"] = lines(rows, ",").encode()
    return HeldOut(
        {"parsley.zip": zipped(files)},
        {
            "File": "records.sequence",
            "@filename": "records.sequence",
            "Circuit ID": "records.link_label",
            "Tested": "records.tested_found",
            "Limit": "records.limit_found",
            "Status": "records.reported_verdict",
            "Hz": "row.frequency",
            **{heads[q, e, c]: f"sweeps.{q}[{e},{c}]" if e else f"sweeps.{q}[{c}]" for q, e, c in names},
        },
    )


def _short_head(q: str, e: str, c: str) -> str:
    return f"{'IL' if q == 'insertion_loss' else 'RL'}_{contacts(c)}" + {"": "", "local": "_A", "remote": "_B"}[e]


LAYOUTS: dict[str, Callable[[], HeldOut]] = {
    f.__name__: f
    for f in (
        alder_summary,
        birch_tidy,
        cedar_blocks,
        dogwood_book,
        elm_json,
        fir_xml,
        gorse_report,
        hazel_curve_blocks,
        ivy_fiber,
        juniper_plain,
        kelp_zip,
        larch_values_and_limits,
        mallow_pairs,
        nutmeg_properties,
        orache_traces,
        parsley_files,
    )
}
__all__ = ["LAYOUTS", "ORDERED", "HeldOut"]
