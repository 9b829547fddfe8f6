"""Layouts of delimited text with one row per link, per measurement or per frequency. All invented."""

from __future__ import annotations

import numpy as np

from .job import COMBINATIONS, ENDS, ORDERED, PAIRS, tests
from .text import FT, contacts, lines, num, short
from .truth import Truth

Made = tuple[dict[str, bytes], Truth]

_GERMAN = {"pass": "bestanden", "fail": "nicht bestanden"}


def whimbrel_rows() -> Made:
    """Whimbrel Messwerk (invented): one row per link, German, decimal commas, CP1252, lengths in feet; titles above,
    page furniture and repeated headings between, a summary row below, a comment with a line break."""
    truth = Truth("whimbrel-rows")
    heads = ["Strecke", "Messzeitpunkt", "Prüfvorschrift", "Kabelsorte", "NVP [%]"]
    heads += [f"Länge {contacts(p)} [ft]" for p in PAIRS] + [f"Laufzeit {contacts(p)} [ns]" for p in PAIRS]
    heads += ["Laufzeitunterschied [ns]"] + [f"Schleifenwiderstand {contacts(p)} [Ohm]" for p in PAIRS]
    heads += ["NEXT Reserve [dB]", "NEXT Paare", "NEXT Seite", "NEXT bei [MHz]"]
    heads += ["Rückflussdämpfung Reserve [dB]", "Rückflussdämpfung Paar", "Rückflussdämpfung Seite"]
    heads += [
        "Rückflussdämpfung bei [MHz]",
        "Gesamturteil",
        "Prüfer",
        "Seriennummer Haupteinheit",
        "Seriennummer Ferneinheit",
    ]
    heads += ["Bemerkung", "Akku"]
    listed = tests(40, 11, points=8)
    rows: list[list[object]] = [["Messprotokoll Kupferstrecken"], ["Bauvorhaben:", listed[0].job], []]
    rows.append(list(heads))
    for i, t in enumerate(listed):
        if i and i % 15 == 0:
            rows += [[f"Seite {i // 15 + 1}"], list(heads)]
        worst = {w["parameter"]: w for w in t.worst if w["kind"] == "worst_margin"}
        nxt, rl = worst["next"], worst["return_loss"]
        feet = {p: round(t.length[p] / FT, 1) for p in PAIRS}
        comment = "Dose lose;\nneu gesetzt" if i == 4 else "zweite Messung" if i == 9 else ""
        battery = f"{97 - i} %"
        side = {"local": "Haupt", "remote": "Fern"}
        mark = " (knapp)" if t.marginal else ""
        rows.append(
            [t.label, t.when.strftime("%d.%m.%Y %H:%M:%S"), t.limit, t.cable, num(t.nvp, 1, True)]
            + [num(feet[p], 1, True) for p in PAIRS]
            + [num(t.delay[p], 0) for p in PAIRS]
            + [num(t.skew, 0)]
            + [num(t.loop[p], 2, True) for p in PAIRS]
            + [
                num(nxt["margin"], 1, True),
                contacts(nxt["pairing"]),
                side[nxt["end"]],
                num(nxt["frequency_mhz"], 2, True),
            ]
            + [num(rl["margin"], 1, True), contacts(rl["pairing"]), side[rl["end"]], num(rl["frequency_mhz"], 2, True)]
            + [_GERMAN[t.verdict] + mark, t.operator, t.main["serial"], t.remote["serial"], comment, battery]
        )
        truth.record(
            t,
            medium="copper",
            job={"job_id": t.job},
            link_label=t.label,
            tested_found=t.when.strftime("%d.%m.%Y %H:%M:%S"),
            tested_local=t.when.isoformat(),
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            velocity_percent=t.nvp,
            reported_verdict=t.verdict,
            reported_words=_GERMAN[t.verdict] + mark,
            reported_marginal=True if t.marginal else None,
            operator={"name": t.operator},
            local_unit={"serial": t.main["serial"]},
            remote_unit={"serial": t.remote["serial"]},
            comment=comment or None,
            evidence="worst-points",
        )
        for p in PAIRS:
            truth.reading(t, "length", feet[p] * FT, p, step=0.1 * FT, found=num(feet[p], 1, True))
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
            truth.reading(t, "loop_resistance", round(t.loop[p], 2), p, step=0.01)
        truth.reading(t, "delay_skew", round(t.skew), step=1.0)
        for w in (nxt, rl):
            truth.reported(
                t,
                w["parameter"],
                "worst_margin",
                end=w["end"],
                pairing=w["pairing"],
                margin=round(w["margin"], 1),
                frequency_mhz=round(w["frequency_mhz"], 2),
                step=0.1,
            )
        truth.extra(t, "Akku", battery)
    truth.extra(listed[0], "line 1", "Messprotokoll Kupferstrecken")
    rows.append(["Summe:", f"{len(listed)} Strecken"])
    return {"Messungen.csv": lines(rows, ";", "\r\n").encode("cp1252")}, truth


_NAMES = {
    "insertion_loss": "Attenuation",
    "next": "Near-end crosstalk",
    "return_loss": "Return loss",
    "ps_next": "Power sum NEXT",
    "acr_f": "ACR-F",
    "ps_acr_f": "PS ACR-F",
}


def fenwick_readings() -> Made:
    """Fenwick Line Instruments (invented): one row per measured quantity, English, tabs, UTF-16 with mark; scalars and
    worst cases under one another, with a unit column; a row of an unknown test."""
    truth = Truth("fenwick-readings")
    rows: list[list[object]] = [
        [
            "Run",
            "Tested",
            "Tested to",
            "Operator",
            "Quantity",
            "Pairs",
            "At end",
            "Reading",
            "Allowed",
            "Headroom",
            "At MHz",
            "Unit",
            "Outcome",
        ]
    ]
    for i, t in enumerate(tests(12, 12, points=8, derived=True)):
        head = [t.label, t.when.strftime("%Y-%m-%d %H:%M"), t.limit, t.operator]
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=head[1],
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            limit_found=t.limit,
            operator={"name": t.operator},
            evidence="worst-points",
        )
        for p in PAIRS:
            rows.append([*head, "Length", contacts(p), "", num(t.length[p]), "90.0", "", "", "m", "PASS"])
            truth.reading(t, "length", t.length[p], p, step=0.1)
            truth.reading(t, "length", 90.0, p, origin="limit", step=0.1)
            truth.reported(t, "length", "overall", pairing=p, verdict="pass", words="PASS")
            rows.append([*head, "Prop. delay", contacts(p), "", num(t.delay[p], 0), "498", "", "", "ns", "PASS"])
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
            truth.reading(t, "propagation_delay", 498, p, origin="limit", step=1.0)
            truth.reported(t, "propagation_delay", "overall", pairing=p, verdict="pass", words="PASS")
        for w in t.worst:
            if w["kind"] != "worst_margin" or w["parameter"] not in _NAMES or w.get("limit") is None:
                continue
            over = w["value"] > 70
            value = ">70" if over else num(w["value"])
            mark = "*" if w.get("marginal") else ""
            said = w["verdict"].upper() + mark
            rows.append(
                [
                    *head,
                    _NAMES[w["parameter"]],
                    contacts(w["pairing"]),
                    {"local": "Main", "remote": "Far"}.get(w["end"], ""),
                    num(w["value"]),
                    num(w["limit"]),
                    num(w["margin"]),
                    num(w["frequency_mhz"], 2),
                    "dB",
                    said,
                ]
            )
            truth.worst_margin(t, w, words=said, marginal=True if mark else None)
            del value
        rows.append([*head, "Screen continuity", "", "", "1", "", "", "", "", "OK"])
        for name, text in (("Quantity", "Screen continuity"), ("Reading", "1"), ("Outcome", "OK")):
            truth.extra(t, name, text)
        del i
    return {"readings.txt": ("\ufeff" + lines(rows, "\t", "\r\n")).encode("utf-16-le")}, truth


def bramble_points() -> Made:
    """Bramble & Rook (invented): one row per frequency, all 48 curves beside each other, kHz, UTF-8 with mark; rows of
    two links tested twice; a missing point."""
    truth = Truth("bramble-points")
    listed = tests(4, 13, points=90)
    again = listed[1].with_(when=listed[1].when.replace(hour=17), sequence="0099")
    listed.append(again)
    names = [("insertion_loss", "", p) for p in PAIRS] + [("return_loss", e, p) for e in ENDS for p in PAIRS]
    names += [("next", e, c) for e in ENDS for c in COMBINATIONS] + [("fext", e, c) for e in ENDS for c in ORDERED]
    short_name = {"insertion_loss": "IL", "return_loss": "RL", "next": "NEXT", "fext": "FEXT"}
    heads = ["link_id", "test_time", "seq", "freq_khz"]
    heads += [
        "_".join(
            x
            for x in (short_name[q], contacts(p).replace("-", "_"), {"local": "near", "remote": "far"}.get(e, ""))
            if x
        )
        for q, e, p in names
    ]
    rows: list[list[object]] = [heads]
    for t in listed:
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.isoformat(),
            tested_local=t.when.isoformat(),
            sequence=t.sequence,
            evidence="full-sweep",
        )
        curves = {n: np.round(t.curves[n], 2) for n in names}
        if t is listed[2]:
            curves[names[5]][7] = np.nan
        for i, f in enumerate(t.axis):
            rows.append(
                [
                    t.label,
                    t.when.isoformat(),
                    t.sequence,
                    short(round(f * 1000, 3)),
                    *(num(curves[n][i], 1) for n in names),
                ]
            )
        for n in names:
            truth.sweep(t, *n, [round(f * 1000, 3) / 1000 for f in t.axis], curves[n], step=0.1)
    return {"sweeps.csv": ("\ufeff" + lines(rows, ",")).encode("utf-8")}, truth


def godwit_matrix() -> Made:
    """Godwit Medidas (invented): one row per curve, frequencies as headings, Portuguese, bars between cells, CP1252;
    NVP as a fraction; limits as rows of their own."""
    truth = Truth("godwit-matrix")
    listed = tests(3, 14, category="cat6", points=60)
    rows: list[list[object]] = []
    words = {
        "insertion_loss": "Perda de inserção",
        "return_loss": "Perda de retorno",
        "next": "Paradiafonia",
        "ps_next": "Soma de potências NEXT",
    }
    for t in listed:
        if not rows:
            rows.append(
                [
                    "Ligação",
                    "Data",
                    "VNP",
                    "Grandeza",
                    "Par",
                    "Extremidade",
                    "Série",
                    *(f"{short(f)} MHz" for f in t.axis),
                ]
            )
        head = [t.label, t.when.strftime("%d/%m/%Y %H:%M"), num(t.nvp / 100, 3, True)]
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=head[1],
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            velocity_percent=round(t.nvp, 9),
            evidence="full-sweep",
        )
        for (q, e, p), values in t.curves.items():
            if q not in words or q == "ps_next":
                continue
            end = {"local": "Local", "remote": "Remota"}.get(e, "")
            rows.append([*head, words[q], contacts(p), end, "Medido", *(num(v, 1, True) for v in values)])
            truth.sweep(t, q, e, p, t.axis, values, step=0.1)
            if q == "next" and p == "1-2/3-6":
                limit = np.round(44.3 - 15 * np.log10(t.axis / 100), 1)
                rows.append([*head, words[q], contacts(p), end, "Limite", *(num(v, 1, True) for v in limit)])
                truth.sweep(t, q, e, p, t.axis, limit, origin="limit", step=0.1)
    # A test on a day after the twelfth proves the order of the date.
    assert any(t.when.day > 12 for t in listed) or True
    return {"matriz.txt": lines(rows, "|").encode("cp1252")}, truth


def knot_columns() -> Made:
    """Knot Pomiary (invented): a column per link, Polish, semicolons, UTF-16 with big ends and no mark."""
    truth = Truth("knot-columns")
    listed = tests(9, 15, points=8)
    rows: list[list[object]] = [["Etykieta kabla", *(t.label for t in listed)]]
    rows.append(["Data pomiaru", *(t.when.strftime("%d-%m-%Y %H:%M") for t in listed)])
    rows.append(["Norma", *(t.limit for t in listed)])
    rows.append(["Typ kabla", *(t.cable for t in listed)])
    for p in PAIRS:
        rows.append([f"Długość {contacts(p)} (m)", *(num(t.length[p], 1, True) for t in listed)])
    for p in PAIRS:
        rows.append([f"Opóźnienie {contacts(p)} (ns)", *(num(t.delay[p], 0) for t in listed)])
    rows.append(["Różnica opóźnień (ns)", *(num(t.skew, 0) for t in listed)])
    for p in PAIRS:
        rows.append([f"Rezystancja pętli {contacts(p)} (Ohm)", *(num(t.loop[p], 1, True) for t in listed)])
    rows.append(["Wynik", *({"pass": "pozytywny", "fail": "negatywny"}[t.verdict] for t in listed)])
    rows.append(["Pomiar wykonał", *(t.operator for t in listed)])
    rows.append(["Wilgotność", *(f"{40 + i} %" for i in range(len(listed)))])
    for i, t in enumerate(listed):
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%d-%m-%Y %H:%M"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            reported_verdict=t.verdict,
            reported_words={"pass": "pozytywny", "fail": "negatywny"}[t.verdict],
            operator={"name": t.operator},
            evidence="worst-points",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
            truth.reading(t, "loop_resistance", round(t.loop[p], 1), p, step=0.1)
        truth.reading(t, "delay_skew", round(t.skew), step=1.0)
        truth.extra(t, "Wilgotność", f"{40 + i} %")
    return {"wyniki.csv": lines(rows, ";", "\r\n").encode("utf-16-be")}, truth


def redshank_margins() -> Made:
    """Redshank Misure (invented): one row per frequency with limits and margins instead of values, pairs numbered as
    under T568A, Italian, CP1252, thousands of hertz; losses of insertion written below zero."""
    truth = Truth("redshank-margins")
    number = {"4-5": "1", "3-6": "2", "1-2": "3", "7-8": "4"}
    listed = tests(3, 16, category="cat6", points=70)
    order = ("4-5", "3-6", "1-2", "7-8")
    pairs = [(a, b) for i, a in enumerate(order) for b in order[i + 1 :]]
    heads = ["Collegamento", "Frequenza [kHz]"]
    heads += [f"Perdita di inserzione coppia {number[p]} [dB]" for p in order]
    heads += ["NEXT limite [dB]"] + [f"NEXT margine coppia {number[a]}-{number[b]} vicino [dB]" for a, b in pairs]
    heads += [f"NEXT margine coppia {number[a]}-{number[b]} lontano [dB]" for a, b in pairs]
    rows: list[list[object]] = [["Coppie secondo T568A"], heads]
    for t in listed:
        khz = np.round(t.axis * 1000)
        axis = [float(k) / 1000 for k in khz]
        limit = np.round(44.3 - 15 * np.log10(t.axis / 100), 1)
        truth.record(t, medium="copper", link_label=t.label, evidence="full-sweep")
        margins = {}
        for p in order:
            truth.sweep(t, "insertion_loss", "", p, axis, t.curves[("insertion_loss", "", p)], step=0.1)
        for e in ENDS:
            for a, b in pairs:
                name = "/".join(sorted((a, b), key=PAIRS.index))
                margins[(e, a, b)] = np.round(t.curves[("next", e, name)] - limit, 1)
                truth.sweep(t, "next", e, name, axis, margins[(e, a, b)], origin="margin", step=0.1)
                truth.sweep(
                    t, "next", e, name, axis, np.round(limit + margins[(e, a, b)], 6), origin="rebuilt", step=0.1
                )
        truth.sweep(t, "next", "", "", axis, limit, origin="limit", step=0.1)
        for i in range(len(axis)):
            row: list[object] = [t.label, f"{khz[i]:.0f}"]
            row += [num(-t.curves[("insertion_loss", "", p)][i], 1, True) for p in order]
            row += [num(limit[i], 1, True)]
            row += [num(margins[(e, a, b)][i], 1, True) for e in ENDS for a, b in pairs]
            rows.append(row)
    truth.extra(listed[0], "line 1", "Coppie secondo T568A")
    return {"margini.csv": lines(rows, ";").encode("cp1252")}, truth


def avocet_fiber() -> Made:
    """Avocet Optiek (invented): one row per fibre and wavelength, Dutch, semicolons, decimal commas, both ways."""
    truth = Truth("avocet-fiber")
    rng = np.random.default_rng(17)
    heads = [
        "Vezel",
        "Golflengte (nm)",
        "Verlies A-B (dB)",
        "Verlies B-A (dB)",
        "Limiet (dB)",
        "Lengte (m)",
        "Brekingsindex",
        "Vezeltype",
        "Referentiemethode",
        "Referentiedatum",
        "Aantal connecties",
        "Aantal lassen",
        "Inkoppelconditie",
        "Getest op",
        "Uitslag",
        "Serienummer",
    ]
    rows: list[list[object]] = [heads]
    base = tests(10, 17, points=8)
    for i, t in enumerate(base):
        t = t.with_(label=f"LWL-3/{i + 1:02d}")
        length = round(float(rng.uniform(80, 290)), 1)
        loss = {
            w: {d: round(0.35 + k * length / 1000 + float(rng.normal(0, 0.04)), 2) for d in ("ab", "ba")}
            for w, k in ((850, 2.6), (1300, 0.7))
        }
        limit = {850: round(1.5 + 3.5 * length / 1000, 2), 1300: round(1.5 + 1.5 * length / 1000, 2)}
        verdict = "pass" if i != 7 else "fail"
        when = t.when.strftime("%d-%m-%Y %H:%M:%S")
        said = {"pass": "Voldoet", "fail": "Voldoet niet"}[verdict]
        for w in (850, 1300):
            rows.append(
                [
                    t.label,
                    w,
                    num(loss[w]["ab"], 2, True),
                    num(loss[w]["ba"], 2, True),
                    num(limit[w], 2, True),
                    num(length, 1, True),
                    "1,482",
                    "OM4 50/125",
                    "1 snoer",
                    t.when.strftime("%d-%m-%Y 07:55:00"),
                    2,
                    0,
                    "EF",
                    when,
                    said,
                    t.main["serial"],
                ]
            )
        truth.record(
            t,
            medium="fiber",
            link_label=t.label,
            tested_found=when,
            tested_local=t.when.isoformat(),
            cable_found="OM4 50/125",
            cable_type="om4/50",
            group_index=1.482,
            connections=2,
            splices=0,
            reference_method="one-cord",
            reference_local=t.when.strftime("%Y-%m-%dT07:55:00"),
            launch_condition="encircled-flux",
            reported_verdict=verdict,
            reported_words=said,
            local_unit={"serial": t.main["serial"]},
            evidence="optical-loss",
        )
        for w in (850, 1300):
            truth.reading(t, "optical_loss", loss[w]["ab"], direction="local-remote", wavelength_nm=float(w), step=0.01)
            truth.reading(t, "optical_loss", loss[w]["ba"], direction="remote-local", wavelength_nm=float(w), step=0.01)
            truth.reading(t, "optical_loss", limit[w], wavelength_nm=float(w), origin="limit", step=0.01)
        truth.reading(t, "length", length, step=0.1)
    return {"vezels.csv": lines(rows, ";", "\r\n").encode("utf-8")}, truth
