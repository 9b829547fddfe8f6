"""The invented backbone: twelve links of single-mode and OM4 fiber, their loss tests in four layouts, and traces.

Losses follow from what lies along each fiber: 0.33 and 0.20 dB/km at 1310 and 1550 nm, 2.6 and 0.7 dB/km at 850 and
1300 nm, connections of 0.2 to 0.35 dB. All of it is invented; nobody's layout is imitated.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from archive.demo.backbone.trace_bytes import TraceContent, WrittenEvent, trace_file
from archive.demo.backbone.trace_shape import levels

JOB, SITE, ZONE = "LANTERN-BACKBONE", "Lantern Quay 4", "Europe/Lisbon"
KM = 2.2
"""Length of every single-mode link."""
DIRTY, BENT, DRIFTED, CROSSED, TWICE = "BB-1-03", "BB-1-07", "BB-1-06", "OM-1-2", "OM-1-3"
"""Links with planted faults: a dirty connector, a bend, a reference that drifted, crossed fibers, equal numbers."""
FOLDER = "backbone"
LIGHT_CLASS = "1M"
_SLOPE = {1310: 0.33, 1550: 0.20, 1625: 0.22}
_BEND = {1310: 0.03, 1550: 0.45, 1625: 1.30}
_LOCAL, _REMOTE = "FD-2", "MDF"
_TRACED = {"BB-1-01": (1310, 1550), DIRTY: (1310, 1550), BENT: (1310, 1550, 1625), DRIFTED: (1310,)}

README = """\
backbone/exports/       loss tests of twelve optical links, in four layouts; backbone/mappings/ holds what reads them
backbone/traces/        optical traces of four of them, from both ends

Planted in the backbone:

BB-1-03 has a dirty connector: it loses too much at both wavelengths, and reflects
BB-1-07 is bent: nearly nothing at 1310 nm, more at 1550 nm, most at 1625 nm, which only its traces show
BB-1-06 was tested with a reference that had drifted: it loses less than its fibre alone,
        and than its own traces say
OM-1-2  is not crossed: its polarity is wrong
OM-1-3  holds the same numbers for both of its fibres
"""


@dataclass(frozen=True)
class FiberFault:
    """What lies at a place of a single-mode fiber: km from the local end, dB by nm, reflectance (0.0: none)."""

    km: float
    db: dict[int, float] = field(default_factory=dict)
    reflectance: float = 0.0


def places(label: str) -> list[FiberFault]:
    """Everything between the end connections of a single-mode link."""
    draw = np.random.default_rng(int(label[-2:]))
    joint = round(float(draw.uniform(0.2, 0.35)), 2)
    found = [FiberFault(0.6, dict.fromkeys(_SLOPE, joint), -48.0), FiberFault(1.5, dict.fromkeys(_SLOPE, 0.08))]
    if label == DIRTY:
        found[0] = FiberFault(0.6, {1310: 2.95, 1550: 2.85, 1625: 2.80}, -27.0)
    if label == BENT:
        found.append(FiberFault(1.9, _BEND))
    return found


def loss(label: str, nm: int, way: int) -> float:
    """Loss of a single-mode link, dB, as the crew measured it. way: 0 from the local end, 1 back."""
    draw = np.random.default_rng([int(label[-2:]), nm, way])
    total = KM * _SLOPE[nm] + 2 * 0.25 + sum(p.db.get(nm, 0.0) for p in places(label)) + float(draw.normal(0, 0.02))
    return round(total - (1.45 if label == DRIFTED else 0.0), 2)


def multimode(label: str) -> dict[tuple[str, int, int], float]:
    """Losses of a duplex OM4 link by fiber, nm and way."""
    found = {}
    for fiber in "AB":
        for nm, db_km in ((850, 2.6), (1300, 0.7)):
            for way in (0, 1):
                seed = [int(label[-1]), nm, way, 0 if label == TWICE else ord(fiber)]
                draw = np.random.default_rng(seed)
                found[fiber, nm, way] = round(0.24 * db_km + 0.5 + float(draw.normal(0, 0.03)), 2)
    return found


SINGLE_MODE = tuple(f"BB-1-{n:02d}" for n in range(1, 9))
DUPLEX = tuple(f"OM-1-{n}" for n in range(1, 5))


def files() -> Iterator[tuple[str, bytes]]:
    """Every file below the folder of the backbone: path with /, and bytes."""
    yield "exports/vezels.csv", both_ways(SINGLE_MODE[:4]).encode()
    yield "exports/losses.csv", row_per_wavelength(SINGLE_MODE[4:]).encode()
    yield "exports/ends.csv", ends_and_polarity(DUPLEX[:3]).encode()
    yield "exports/fasern.csv", column_per_wavelength(DUPLEX[3:]).encode("cp1252")
    for label, waves in _TRACED.items():
        for nm in waves:
            for way in (0, 1):
                yield f"traces/{label}-{nm}-{'ab'[way]}.sor", trace(label, nm, way)


def both_ways(labels: Sequence[str]) -> str:
    """Both directions in a row, a row per wavelength; Dutch, decimal commas."""
    head = "Vezel;Golflengte;Heen (dB);Terug (dB);Grens (dB);Lengte (m);Soort;Norm;Referentie;Connecties;Lassen;"
    rows = [head + "Stekkers;Lichtklasse;Getest;Uitslag;Toestel"]
    for label in labels:
        for nm in (1310, 1550):
            there, back = loss(label, nm, 0), loss(label, nm, 1)
            limit = KM * 0.4 + 3 * 0.75 + 0.3
            said = (
                "voldoet" if max(loss(label, w, k) for w in (1310, 1550) for k in (0, 1)) <= limit else "voldoet niet"
            )
            cells = [label, f"{nm}", _comma(there), _comma(back), _comma(limit), _comma(KM * 1000, 1), "OS2 9/125"]
            cells += ["ISO/IEC 11801-1:2017 OS2", "1 snoer", "3", "1", "standaardstekker", LIGHT_CLASS]
            rows.append(";".join([*cells, "12-03-2021 10:15", said, "07-4471"]))
    return "\r\n".join(rows) + "\r\n"


def row_per_wavelength(labels: Sequence[str]) -> str:
    """A row per wavelength and direction; English."""
    rows = [
        "Link,Wavelength nm,Direction,Loss dB,Length m,Fiber,Limit name,Reference,Connections,Splices,Class,Date,Result"
    ]
    for label in labels:
        for nm in (1310, 1550):
            for way, name in ((0, "A to B"), (1, "B to A")):
                cells = [label, f"{nm}", name, f"{loss(label, nm, way):.2f}", f"{KM * 1000:.1f}", "OS2"]
                cells += ["ISO/IEC 11801-1:2017 OS2", "one cord", "3", "1", LIGHT_CLASS, "2021-03-12 14:05", "PASS"]
                rows.append(",".join(cells))
    return "\n".join(rows) + "\n"


def ends_and_polarity(labels: Sequence[str]) -> str:
    """A row per duplex link: polarity, end faces, and a column for each fiber, wavelength and direction; English."""
    names = [f"{fiber} {nm} {way}" for fiber in "AB" for nm in (850, 1300) for way in ("out", "back")]
    rows = ["Link|Built as|A arrives at|B arrives at|Polarity|End faces|" + "|".join(names)]
    rows[0] += "|Length|Fiber|Limit|Method|Connections|Splices|Launch|When|Verdict"
    for label in labels:
        found = multimode(label)
        straight = label == CROSSED
        cells = [label, "duplex", "A" if straight else "B", "B" if straight else "A"]
        cells += ["wrong" if straight else "right", "clean"]
        cells += [f"{found[fiber, nm, way]:.2f}" for fiber in "AB" for nm in (850, 1300) for way in (0, 1)]
        cells += ["240.0", "OM4 50/125", "TIA-568.3-D OM4", "one cord", "2", "0", "encircled flux"]
        rows.append("|".join([*cells, "2021-03-15 09:20", "pass"]))
    return "\n".join(rows) + "\n"


def column_per_wavelength(labels: Sequence[str]) -> str:
    """A row per fiber, a column for each wavelength and direction; German."""
    rows = [
        "Strecke;Faser;850 hin;850 rück;1300 hin;1300 rück;Länge;Fasertyp;Grenzwert nach;Referenz;Stecker;Spleiße;Am"
    ]
    for label in labels:
        found = multimode(label)
        for fiber in "AB":
            cells = [label, fiber, *(_comma(found[fiber, nm, way]) for nm in (850, 1300) for way in (0, 1))]
            cells += [
                "240,0",
                "OM4 50/125",
                "ISO/IEC 11801-1:2017 OM4",
                "1 Referenzkabel",
                "2",
                "0",
                "15.03.2021 11:40",
            ]
            rows.append(";".join(cells))
    return "\r\n".join(rows) + "\r\n"


def trace(label: str, nm: int, way: int) -> bytes:
    """The trace of a single-mode link from one end."""
    slope = _SLOPE[nm]
    events = [WrittenEvent(0.0, 0.0, -45.0, "1F9999")]
    for place in sorted(places(label), key=lambda p: p.km, reverse=bool(way)):
        shift = 0.11 if place.km == 1.5 else 0.0  # mode fields that differ: a gainer from one side
        code = "1F9999" if place.reflectance else "0F9999"
        db = place.db.get(nm, 0.0) + (shift if not way else -shift)
        events.append(WrittenEvent(KM - place.km if way else place.km, round(db, 3), place.reflectance, code, slope))
    events.append(WrittenEvent(KM, 0.0, -14.0, "1E9999", slope))
    ends = (_REMOTE, _LOCAL) if way else (_LOCAL, _REMOTE)
    shape = levels(events, slope, point_m=1.0, pulse_ns=30, index=1.468, seed=nm * 10 + way + int(label[-2:]))
    total = KM * slope + sum(e.loss_db for e in events)
    content = TraceContent(
        cable_id="BB-1", fiber_id=label, location_a=ends[0], location_b=ends[1], operator="D. Tallow", nm=float(nm),
        point_m=1.0, levels_db=shape, events=events, end_to_end_db=round(total, 3), return_loss_db=31.0,
        time_unix_s=1_615_900_000 + nm + 600 * way,
    )  # fmt: skip
    return trace_file(content)


def _comma(value: float, decimals: int = 2) -> str:
    return f"{value:.{decimals}f}".replace(".", ",")
