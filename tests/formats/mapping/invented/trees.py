"""XML, JSON and zips. All invented."""

from __future__ import annotations

import base64
import json
from datetime import UTC, timedelta
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from .delimited_rows import Made
from .job import COMBINATIONS, ENDS, PAIRS, tests
from .text import FT, contacts, lines, num, short, zipped
from .truth import Truth


def lapwing_xml() -> Made:
    """Lapwing Certify Works (invented): XML with a namespace, facts as attributes, curves as lists on shared axes."""
    truth = Truth("lapwing-xml")
    listed = tests(4, 41, points=90)
    out = ['<?xml version="1.0" encoding="UTF-8"?>', '<cw:campaign xmlns:cw="urn:invented:lapwing" revision="7">']
    out.append(f'  <cw:order number={quoteattr(listed[0].job)} customer="Lantern Quay Trust"/>')
    out.append(f'  <cw:axes><cw:axis key="wide" unit="MHz">{" ".join(short(f) for f in listed[0].axis)}</cw:axis>')
    out.append(f'  <cw:axis key="low" unit="MHz">{" ".join(short(f) for f in listed[0].axis[:30])}</cw:axis></cw:axes>')
    for k, t in enumerate(listed):
        when = t.when.strftime("%Y-%m-%dT%H:%M:%S+01:00")
        out.append(
            f'  <cw:link label={quoteattr(t.label)} tested="{when}" '
            f'standard={quoteattr(t.limit)} cable={quoteattr(t.cable)} outcome="{t.verdict}">'
        )
        out.append(f'    <cw:tester role="main" serial="{t.main["serial"]}" firmware="{t.main["software"]}"/>')
        for p in PAIRS:
            out.append(
                f'    <cw:pair contacts="{p}" length="{num(t.length[p])}" delay="{num(t.delay[p], 0)}" '
                f'loopResistance="{num(t.loop[p], 2)}"/>'
            )
        truth.record(
            t,
            medium="copper",
            job={"job_id": t.job, "client": "Lantern Quay Trust"},
            link_label=t.label,
            tested_found=when,
            tested_local=t.when.isoformat(),
            tested_at=t.when.replace(tzinfo=UTC) - timedelta(hours=1),
            utc_offset_min=60,
            zone_basis="record",
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            reported_verdict=t.verdict,
            reported_words=t.verdict,
            local_unit={"serial": t.main["serial"], "software": t.main["software"]},
            evidence="full-sweep",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
            truth.reading(t, "loop_resistance", round(t.loop[p], 2), p, step=0.01)
        for (q, e, c), values in t.curves.items():
            if q == "fext":
                continue
            axis, n = ("low", 30) if q == "return_loss" else ("wide", len(t.axis))
            name = {"insertion_loss": "insertionLoss", "return_loss": "returnLoss", "next": "next"}[q]
            side = {"local": ' side="main"', "remote": ' side="remote"'}.get(e, "")
            out.append(
                f'    <cw:curve quantity="{name}" pairs="{c}"{side} axis="{axis}">'
                f"{' '.join(num(v) for v in values[:n])}</cw:curve>"
            )
            truth.sweep(t, q, e, c, t.axis[:n], values[:n], step=0.1)
        out.append("  </cw:link>")
        truth.extra(t, "tester/@role", "main")
        if k == 0:
            truth.extra(t, "campaign/@revision", "7")
    out.append("</cw:campaign>")
    return {"campaign.xml": "\n".join(out).encode("utf-8")}, truth


def dunlin_xml() -> Made:
    """Dunlin Instruments (invented): XML without namespace, facts as text, points as elements, feet, negative decibels,
    pairs numbered under T568B, ISO-8859-1."""
    truth = Truth("dunlin-xml")
    number = {"4-5": 1, "1-2": 2, "3-6": 3, "7-8": 4}
    out = ['<?xml version="1.0" encoding="ISO-8859-1"?>', "<TestResults>", "  <Wiring>T568B</Wiring>"]
    for k, t in enumerate(tests(3, 42, category="cat6", points=50)):
        out += [
            "  <Result>",
            f"    <CableName>{escape(t.label)}</CableName>",
            f"    <Stamp>{t.when.strftime('%d %b %Y %H:%M')}</Stamp>",
            f"    <Inspector>{escape(t.operator)}</Inspector>",
            f"    <Limit>{escape(t.limit)}</Limit>",
            f"    <Verdict>{t.verdict.capitalize()}</Verdict>",
        ]
        truth.record(
            t,
            medium="copper",
            link_label=t.label,
            tested_found=t.when.strftime("%d %b %Y %H:%M"),
            tested_local=t.when.strftime("%Y-%m-%dT%H:%M"),
            operator={"name": t.operator},
            limit_found=t.limit,
            reported_verdict=t.verdict,
            reported_words=t.verdict.capitalize(),
            evidence="full-sweep",
        )
        for p in sorted(PAIRS, key=number.get):  # type: ignore[arg-type]
            feet = round(t.length[p] / FT, 1)
            out.append(
                f'    <Conductors><Pair>{number[p]}</Pair><Length unit="ft">{num(feet)}</Length>'
                f'<Delay unit="ns">{num(t.delay[p], 0)}</Delay></Conductors>'
            )
            truth.reading(t, "length", feet * FT, p, step=0.1 * FT, found=num(feet))
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
        for (q, e, c), values in t.curves.items():
            if q not in ("insertion_loss", "return_loss"):
                continue
            end = {"local": "Main", "remote": "Remote", "": "Main"}[e]
            out.append(
                f"    <Trace><Measurement>{q.replace('_', ' ').title()}</Measurement><Pair>{number[c]}</Pair>"
                + (f"<End>{end}</End>" if e else "")
            )
            out += [
                f"      <Point><Freq>{short(f)}</Freq><Level>{num(-v)}</Level></Point>"
                for f, v in zip(t.axis, values, strict=True)
            ]
            out.append("    </Trace>")
            truth.sweep(t, q, e, c, t.axis, values, step=0.1)
        out.append("  </Result>")
        if k == 0:
            truth.extra(t, "TestResults/Wiring", "T568B")
    out.append("</TestResults>")
    return {"results.xml": "\n".join(out).encode("iso-8859-1")}, truth


def plover_json() -> Made:
    """Plover Field Systems (invented): nested JSON, curves as base64 of 32 bit floats with start and step, epochs with
    offset; NVP as a fraction."""
    truth = Truth("plover-json")
    listed = []
    for k, t in enumerate(tests(4, 43, points=60)):
        axis = np.round(1 + 2.0 * np.arange(60), 6)
        when = t.when.strftime("%Y-%m-%dT%H:%M:%SZ")
        traces = []
        truth.record(
            t,
            medium="copper",
            job={"job_id": t.job},
            link_label=t.label,
            tested_found=when,
            tested_at=t.when.replace(tzinfo=UTC),
            utc_offset_min=0,
            zone_basis="record",
            tested_local=t.when.isoformat(),
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            velocity_percent=round(t.nvp, 9),
            operator={"name": t.operator},
            reported_verdict=t.verdict,
            reported_words=t.verdict.upper(),
            reported_marginal=t.marginal,
            local_unit={"model": t.main["model"], "serial": t.main["serial"]},
            remote_unit={"model": t.remote["model"], "serial": t.remote["serial"]},
            evidence="full-sweep",
        )
        for p in PAIRS:
            truth.reading(t, "length", t.length[p], p, step=0.1)
            truth.reading(t, "propagation_delay", round(t.delay[p]), p, step=1.0)
        for (q, e, c), values in t.curves.items():
            if q not in ("next", "insertion_loss"):
                continue
            values = np.round(np.interp(axis, t.axis, values), 1)
            traces.append(
                {
                    "parameter": {"next": "NEXT", "insertion_loss": "IL"}[q],
                    "pairs": c.split("/"),
                    "side": {"local": "near", "remote": "far", "": None}[e],
                    "start_mhz": 1.0,
                    "step_mhz": 2.0,
                    "samples": base64.b64encode(values.astype("<f4").tobytes()).decode(),
                }
            )
            truth.sweep(t, q, e, c, axis, values, step=0.1)
        listed.append(
            {
                "cable": {"label": t.label, "type": t.cable, "nvp": round(t.nvp / 100, 4)},
                "test": {
                    "performed_at": when,
                    "limit": t.limit,
                    "technician": t.operator,
                    "result": t.verdict.upper(),
                    "marginal": t.marginal,
                },
                "instruments": {
                    "main": {"model": t.main["model"], "serial": t.main["serial"]},
                    "remote": {"model": t.remote["model"], "serial": t.remote["serial"]},
                },
                "pairs": {p: {"length_m": t.length[p], "delay_ns": round(float(t.delay[p]))} for p in PAIRS},
                "traces": traces,
                "ui": {"theme": "dark"},
            }
        )
        truth.extra(t, "ui/theme", "dark")
        if k == 0:
            truth.extra(t, "exporter", "plover 2.4")
    document = {"exporter": "plover 2.4", "project": {"name": tests(1, 43, points=8)[0].job}, "links": listed}
    return {"links.json": json.dumps(document, indent=1).encode("utf-8")}, truth


def siskin_zip() -> Made:
    """Siskin Data (invented): a zip with the identities in one file and the curves in another, one row per point with
    the parameter, pair and end in columns; joined by a number of the test."""
    truth = Truth("siskin-zip")
    ids: list[list[object]] = [
        ["test_no", "circuit", "tested_at", "limit_name", "cable_type", "outcome", "tester_serial"]
    ]
    points: list[list[object]] = [["test_no", "parameter", "pairs", "end", "mhz", "db"]]
    for k, t in enumerate(tests(3, 44, category="cat6", points=60), 101):
        ids.append([k, t.label, t.when.strftime("%Y-%m-%d %H:%M:%S"), t.limit, t.cable, t.verdict, t.main["serial"]])
        truth.record(
            t,
            medium="copper",
            sequence=str(k),
            link_label=t.label,
            tested_found=t.when.strftime("%Y-%m-%d %H:%M:%S"),
            tested_local=t.when.isoformat(),
            limit_found=t.limit,
            cable_found=t.cable,
            cable_type=t.cable_type.removesuffix("/solid"),
            reported_verdict=t.verdict,
            reported_words=t.verdict,
            local_unit={"serial": t.main["serial"]},
            evidence="full-sweep",
        )
        for (q, e, c), values in t.curves.items():
            if q == "fext":
                continue
            for f, v in zip(t.axis, values, strict=True):
                points.append(
                    [k, q.replace("_", " "), contacts(c), {"local": "A", "remote": "B", "": ""}[e], short(f), num(v)]
                )
            truth.sweep(t, q, e, c, t.axis, values, step=0.1)
    return {
        "siskin.zip": zipped({"tests.csv": lines(ids, ",").encode(), "points.csv": lines(points, ",").encode()})
    }, truth


__all__ = ["COMBINATIONS", "ENDS", "dunlin_xml", "lapwing_xml", "plover_json", "siskin_zip"]
