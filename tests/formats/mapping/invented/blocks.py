"""Layouts with a block per link: stacked, side by side, report text. All invented."""

from __future__ import annotations

from itertools import chain

import numpy as np

from .delimited_rows import Made
from .job import COMBINATIONS, ENDS, ORDERED, PAIRS, Test, tests
from .text import FT, contacts, lines, num, short
from .truth import Truth


def osprey_blocks() -> Made:
    """Osprey Mesures (invented): a block per link, French, semicolons, decimal commas, CP1252; a preamble with both
    units, then a table per parameter and end under a title; cells such as >80."""
    truth = Truth("osprey-blocks")
    rows: list[list[object]] = [["Relevé de certification"], ["Chantier :", "Quai 4, lot B"], []]
    for n, t in enumerate(tests(4, 21, points=80, derived=True)):
        when = (
            t.when.strftime("%d/%m/%Y à %Hh%M")
            if t.when.day > 12
            else t.when.replace(day=t.when.day + 12).strftime("%d/%m/%Y à %Hh%M")
        )
        day = t.when if t.when.day > 12 else t.when.replace(day=t.when.day + 12)
        said = {"pass": "Conforme", "fail": "Non conforme"}[t.verdict]
        rows += [
            ["Repère du câble :", t.label, "", "Essai n° :", t.sequence],
            ["Date de mesure :", when],
            ["Norme :", t.limit, "", "Type de lien :", "Lien permanent"],
            ["Type de câble :", t.cable],
            ["Résultat global :", said],
            ["Unité principale"],
            ["Numéro de série :", t.main["serial"], "", "Étalonné le :", "05/01/2019"],
            ["Unité distante"],
            ["Numéro de série :", t.remote["serial"], "", "Étalonné le :", "05/01/2019"],
            [],
            ["Paire", "12", "36", "45", "78"],
            ["Longueur (m)", *(num(t.length[p], 1, True) for p in PAIRS)],
            ["Temps de propagation (ns)", *(num(t.delay[p], 0) for p in PAIRS)],
            ["Résistance de boucle (ohm)", *(num(t.loop[p], 2, True) for p in PAIRS)],
            [],
        ]
        truth.record(
            t,
            medium="copper",
            job={"job_id": "Quai 4, lot B"},
            link_label=t.label,
            sequence=t.sequence,
            tested_found=when,
            tested_local=day.strftime("%Y-%m-%dT%H:%M"),
            limit_found=t.limit,
            configuration="permanent-link",
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            reported_verdict=t.verdict,
            reported_words=said,
            local_unit={"serial": t.main["serial"], "calibrated_on": "2019-01-05"},
            remote_unit={"serial": t.remote["serial"], "calibrated_on": "2019-01-05"},
            evidence="full-sweep",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
        for p in PAIRS:
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
        for p in PAIRS:
            truth.reading(t, "loop_resistance", round(t.loop[p], 2), p, step=0.01)
        if n == 0:
            truth.extra(t, "line 1", "Relevé de certification")
        for q, title, ends, names in (
            ("insertion_loss", "Affaiblissement d'insertion", ("",), PAIRS),
            ("return_loss", "Affaiblissement de réflexion", ENDS, PAIRS),
            ("next", "Paradiaphonie (NEXT)", ENDS, COMBINATIONS),
            ("acr_f", "ACR-F", ENDS, ORDERED),
        ):
            for e in ends:
                rows.append([title + {"local": ", côté principal", "remote": ", côté distant", "": ""}[e]])
                rows.append(["MHz", *(contacts(p) for p in names)])
                values = {p: t.curves[(q, e, p)] for p in names}
                over = {p: np.flatnonzero(v > 80) for p, v in values.items()}
                for i, f in enumerate(t.axis):
                    rows.append(
                        [num(f, 2, True), *(">80" if values[p][i] > 80 else num(values[p][i], 1, True) for p in names)]
                    )
                rows.append([])
                for p in names:
                    truth.sweep(
                        t,
                        q,
                        e,
                        p,
                        np.round(t.axis, 2),
                        np.minimum(values[p], 80),
                        step=0.1,
                        above=over[p].tolist() or None,
                    )
    return {"releve.csv": lines(rows, ";", "\r\n").encode("cp1252")}, truth


def tidewater_beside() -> Made:
    """Tidewater Gauge (invented): three links beside each other, then three more below; tabs, UTF-8."""
    truth = Truth("tidewater-beside")
    listed = tests(6, 22, category="cat5e", points=50)
    names = [("insertion_loss", "", p) for p in PAIRS] + [("return_loss", "", p) for p in PAIRS]

    def curve(t: Test, n: tuple[str, str, str]) -> np.ndarray:
        return t.curves[n] if n in t.curves else t.curves[(n[0], "local", n[2])]

    heads = ["Freq (MHz)"] + [
        f"{'Atten' if q == 'insertion_loss' else 'Ret. loss'} {contacts(p)} dB" for q, _, p in names
    ]
    width = len(heads) + 1
    out: list[list[object]] = []
    for at in range(0, 6, 3):
        parts = []
        for t in listed[at : at + 3]:
            rows = [
                ["Circuit", t.label],
                ["Date", t.when.strftime("%Y/%m/%d %H:%M")],
                ["Cable type", t.cable],
                [],
                heads,
            ]
            rows += [[short(f), *(num(curve(t, n)[i]) for n in names)] for i, f in enumerate(t.axis)]
            parts.append([r + [""] * (width - len(r)) for r in rows])
        out += [list(chain(*r)) for r in zip(*parts, strict=True)] + [[]]
    for t in [listed[i] for i in (0, 3, 1, 4, 2, 5)]:
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%Y/%m/%d %H:%M"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            evidence="full-sweep",
        )
        for n in names:
            truth.sweep(t, *n, t.axis, curve(t, n), step=0.1)
    return {"bench.tsv": lines(out, "\t").encode("utf-8")}, truth


_COLOUR = {"4-5": "blue", "1-2": "orange", "3-6": "green", "7-8": "brown"}


def heron_report() -> Made:
    """Heron Loop Works (invented): printed pages as text, fixed columns, CP437, pairs by colour under T568B, feet, page
    furniture with form feeds; worst cases only."""
    truth = Truth("heron-report")
    out = ["HERON LOOP WORKS   acceptance sheets", "Wiring: T568B", ""]
    listed = tests(8, 23, points=8)
    for n, t in enumerate(listed):
        worst = {w["parameter"]: w for w in t.worst if w["kind"] == "worst_margin" and w.get("limit") is not None}
        said = t.verdict.upper()
        out += [
            f"Run: {t.label}",
            "",
            "Measurement      Pairs            End      Value   Limit  Margin     MHz  Verdict",
        ]
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%b %d, %Y %I:%M %p"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            velocity_percent=t.nvp,
            operator={"name": t.operator},
            reported_verdict=t.verdict,
            reported_words=said,
            local_unit={"serial": t.main["serial"]},
            remote_unit={"serial": t.remote["serial"]},
            evidence="worst-points",
        )
        for p in PAIRS:
            feet = round(t.length[p] / FT)
            truth.reading(t, "length", feet * FT, p, step=FT, found=str(feet))
        for p in PAIRS:
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
        for p in PAIRS:
            truth.reading(t, "loop_resistance", round(t.loop[p], 1), p, step=0.1)
        for q, name in (("insertion_loss", "Insertion loss"), ("return_loss", "Return loss"), ("next", "NEXT")):
            w = worst[q]
            pairs = "/".join(_COLOUR[p] for p in w["pairing"].split("/"))
            end = {"local": "main", "remote": "remote"}.get(w["end"], "")
            out.append(
                f"{name:<17}{pairs:<17}{end:<8}{num(w['value']):>6}{num(w['limit']):>8}"
                f"{num(w['margin']):>8}{num(w['frequency_mhz']):>8}  {w['verdict'].upper()}"
            )
            truth.worst_margin(t, w, 1, words=w["verdict"].upper())
        out += ["", "Pair      Length (ft)   Delay (ns)   Loop resistance (Ω)"]
        for p in PAIRS:
            out.append(
                f"{_COLOUR[p]:<10}{num(round(t.length[p] / FT), 0):>11}   {num(t.delay[p], 0):>10}"
                f"   {num(t.loop[p], 1):>19}"
            )
        out += [
            "",
            f"Proved on: {t.when.strftime('%b %d, %Y %I:%M %p'):<26}Proved by: {t.operator}",
            f"Proved against: {t.limit}",
            f"Velocity: {f'{t.nvp:.1f} %':<27}Cable: {t.cable}",
            f"Near unit no.: {t.main['serial']:<22}Far unit no.: {t.remote['serial']}",
            f"Outcome of this run: {said}",
        ]
        out += ["", f"Page {n + 1} of {len(listed)}", "\f" if n < len(listed) - 1 else ""]
    truth.extra(listed[0], "line 1", "HERON LOOP WORKS")
    truth.extra(listed[0], "line 1 (2)", "acceptance sheets")
    truth.extra(listed[0], "Wiring", "T568B")
    return {"sheets.prn": "\r\n".join(out).encode("cp437")}, truth


def wren_labels() -> Made:
    """Wren Keisoku (invented): names and values, Japanese, Shift-JIS; curves as lists in one value."""
    truth = Truth("wren-labels")
    out = ["#配線試験データ", ""]
    listed = tests(5, 24, category="cat6", points=40)
    for n, t in enumerate(listed):
        said = {"pass": "合格", "fail": "不合格"}[t.verdict]
        out += [
            f"ケーブル番号 = {t.label}",
            f"測定日時 = {t.when.strftime('%Y年%m月%d日 %H:%M')}",
            f"規格 = {t.limit}",
            f"測定者 = {t.operator}",
            f"総合判定 = {said}",
        ]
        out += [f"ケーブル長 {contacts(p)} [m] = {num(t.length[p])}" for p in PAIRS]
        out += [f"伝搬遅延 {contacts(p)} [ns] = {num(t.delay[p], 0)}" for p in PAIRS]
        out.append("周波数 [MHz] = " + " ".join(short(f) for f in t.axis))
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%Y年%m月%d日 %H:%M"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            limit_found=t.limit,
            operator={"name": t.operator},
            reported_verdict=t.verdict,
            reported_words=said,
            evidence="full-sweep",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
        for p in PAIRS:
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
        for p in PAIRS:
            values = t.curves[("insertion_loss", "", p)]
            out.append(f"挿入損失 {contacts(p)} [dB] = " + " ".join(num(v) for v in values))
            truth.sweep(t, "insertion_loss", "", p, t.axis, values, step=0.1)
        for e in ENDS:
            for c in COMBINATIONS:
                values = t.curves[("next", e, c)]
                out.append(
                    f"近端漏話 {contacts(c)} {'本体' if e == 'local' else 'リモート'} [dB] = "
                    + " ".join(num(v) for v in values)
                )
                truth.sweep(t, "next", e, c, t.axis, values, step=0.1)
        out.append("")
        if n == 0:
            truth.extra(t, "line 1", "#配線試験データ")
    return {"shiken.dat": "\r\n".join(out).encode("cp932")}, truth
