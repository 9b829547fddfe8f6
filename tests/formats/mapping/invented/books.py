"""Workbooks of several kinds. All invented."""

from __future__ import annotations

import io
from datetime import datetime
from typing import Any

import numpy as np

from .delimited_rows import Made
from .job import COMBINATIONS, ENDS, PAIRS, tests
from .text import contacts, num
from .truth import Truth


def marlow_workbook() -> Made:
    """Marlow Test Gear (invented), xlsx: a sheet of links with merged headings and a row of units, a sheet of curves
    per parameter, a cover sheet; real dates, a formula, a hidden summary row."""
    import openpyxl

    truth = Truth("marlow-workbook")
    listed = tests(5, 31, points=40)
    book = openpyxl.Workbook()
    book.properties.created = book.properties.modified = datetime(2020, 1, 1)
    cover = book.active
    assert cover is not None
    cover.title = "Cover"
    cover.append(["Project", listed[0].job])
    cover.append(["Customer", "Lantern Quay Trust"])
    links = book.create_sheet("Links")
    links.append(
        [
            "Link label",
            "Tested on",
            "Limit",
            "Length",
            None,
            None,
            None,
            "Propagation delay",
            None,
            None,
            None,
            "Main unit",
            None,
            "Remote unit",
            None,
            "Overall result",
        ]
    )
    links.append(
        [
            None,
            None,
            None,
            *(["12", "36", "45", "78"] * 2),
            "Serial no.",
            "Calibrated",
            "Serial no.",
            "Calibrated",
            None,
        ]
    )
    links.append([None, None, None, *["m"] * 4, *["ns"] * 4, None, None, None, None, None])
    links.merge_cells("D1:G1")
    links.merge_cells("H1:K1")
    for t in listed:
        links.append(
            [
                t.label,
                t.when,
                t.limit,
                *(t.length[p] for p in PAIRS),
                *(round(t.delay[p]) for p in PAIRS),
                t.main["serial"],
                datetime(2019, 1, 5),
                t.remote["serial"],
                datetime(2019, 1, 5),
                t.verdict.upper(),
            ]
        )
    links.append(["Total links", len(listed)])
    whole = {"insertion_loss": "Insertion loss", "next": "NEXT"}
    for q, title in whole.items():
        sheet = book.create_sheet(title)
        names = [n for n in listed[0].curves if n[0] == q]
        ends = {"": "", "local": "main", "remote": "remote"}
        sheet.append(["Link label", "MHz", *(f"{contacts(p)} {ends[e]}".strip() for _, e, p in names)])
        for t in listed:
            for i, f in enumerate(t.axis):
                sheet.append([t.label if i == 0 else None, float(f), *(float(t.curves[n][i]) for n in names)])
    for k, t in enumerate(listed):
        truth.record(
            t,
            medium="copper",
            job={"job_id": t.job, "client": "Lantern Quay Trust"},
            link_label=t.label,
            tested_found=t.when.isoformat(),
            tested_local=t.when.isoformat(),
            limit_found=t.limit,
            local_unit={"serial": t.main["serial"], "calibrated_on": "2019-01-05"},
            remote_unit={"serial": t.remote["serial"], "calibrated_on": "2019-01-05"},
            reported_verdict=t.verdict,
            reported_words=t.verdict.upper(),
            evidence="full-sweep",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
        for p in PAIRS:
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
        for q in whole:
            for n in [n for n in t.curves if n[0] == q]:
                truth.sweep(t, *n, t.axis, t.curves[n], step=0.1)
        del k
    out = io.BytesIO()
    book.save(out)
    return {"Results.xlsx": out.getvalue()}, truth


def corvid_old_book() -> Made:
    """Corvid Medición (invented), xls: a sheet per link, Spanish, names and values above a table of worst cases; the
    label is the name of the sheet."""
    import xlwt

    truth = Truth("corvid-sheets")
    book = xlwt.Workbook()
    words = {"next": "NEXT", "return_loss": "Pérdida de retorno", "insertion_loss": "Pérdida de inserción"}
    for t in tests(6, 32, points=8):
        sheet = book.add_sheet(t.label)
        said = {"pass": "PASA", "fail": "FALLA"}[t.verdict]
        top = [
            ["Fecha de la prueba", t.when.strftime("%d/%m/%Y %H:%M")],
            ["Norma", t.limit],
            ["Tipo de cable", t.cable],
            ["Técnico", t.operator],
            ["Empresa", t.company],
            ["Resultado global", said],
            ["NVP", t.nvp, "%"],
        ]
        heads = ["Parámetro", "Par", "Extremo", "Valor", "Límite", "Margen", "Frecuencia (MHz)", "Resultado"]
        rows: list[list[Any]] = [*top, [], heads]
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%d/%m/%Y %H:%M"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            operator={"name": t.operator, "organisation": t.company},
            reported_verdict=t.verdict,
            reported_words=said,
            velocity_percent=t.nvp,
            evidence="worst-points",
        )
        for w in t.worst:
            if w["kind"] != "worst_margin" or w["parameter"] not in words:
                continue
            end = {"local": "Local", "remote": "Remoto"}.get(w["end"], "")
            verdict = {"pass": "PASA", "fail": "FALLA"}[w["verdict"]]
            rows.append(
                [
                    words[w["parameter"]],
                    contacts(w["pairing"]),
                    end,
                    round(w["value"], 1),
                    round(w["limit"], 1),
                    round(w["margin"], 1),
                    round(w["frequency_mhz"], 2),
                    verdict,
                ]
            )
            truth.worst_margin(t, w, words=verdict)
        for y, row in enumerate(rows):
            for x, cell in enumerate(row):
                if cell not in (None, ""):
                    sheet.write(y, x, cell)
    out = io.BytesIO()
    book.save(out)
    return {"ensayos.xls": out.getvalue()}, truth


def dotterel_ods() -> Made:
    """Dotterel Survey (invented), ods: a row per link and pair on one sheet, insertion loss at 100 MHz among them."""
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    truth = Truth("dotterel-ods")
    book = OpenDocumentSpreadsheet()
    table = Table(name="pairs")

    def add(cells: list[Any]) -> None:
        row = TableRow()
        for c in cells:
            if isinstance(c, float):
                cell = TableCell(valuetype="float", value=repr(c))
            else:
                cell = TableCell(valuetype="string")
                cell.addElement(P(text=str(c)))
            row.addElement(cell)
        table.addElement(row)

    add(["Cable id", "Date tested", "Pair", "Length m", "Delay ns", "DC loop Ω", "Outcome"])
    for t in tests(7, 33, points=40):
        for p in PAIRS:
            add(
                [
                    t.label,
                    t.when.strftime("%Y-%m-%d %H:%M"),
                    contacts(p),
                    float(t.length[p]),
                    float(round(t.delay[p])),
                    round(float(t.loop[p]), 2),
                    t.verdict,
                ]
            )
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%Y-%m-%d %H:%M"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            reported_verdict=t.verdict,
            reported_words=t.verdict,
            evidence="worst-points",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
            truth.reading(t, "loop_resistance", round(t.loop[p], 2), p, step=0.1)
    book.spreadsheet.addElement(table)
    out = io.BytesIO()
    book.write(out)
    return {"survey.ods": out.getvalue()}, truth


__all__ = ["COMBINATIONS", "ENDS", "corvid_old_book", "dotterel_ods", "marlow_workbook", "np", "num"]
