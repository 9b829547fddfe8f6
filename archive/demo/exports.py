"""The files of the demo job, as they would come from a site: exports, schedule, certificate, a word to the reader."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from archive import formats
from archive.demo import analyser, job, layouts, population
from archive.demo.backbone import job as backbone

LABORATORY = {"3A-D01": (144, "11:20:00"), "3A-D02": (145, "11:52:00")}
"""Links measured with a network analyser, with their numbers in the simulation and the time of the measurement."""

BACKBONE_MAPPINGS = tuple(f"mappings/backbone-{name}.toml" for name in ("vezels", "losses", "ends", "fasern"))
"""How the four layouts of the backbone are read."""

MAPPING = "mappings/sallow-curves.toml"
"""How the subcontractor's export is read."""

README = """\
EVERYTHING IN THIS FOLDER IS INVENTED.

`muniment demo` wrote it. There is no Lantern Quay 4, no Lantern Quay Trust, no Tern & Daughters, no Fen and Sallow, no
Petrel Metrology and no Corvane Instruments; the people are made up, and the curves come from a simulation of cable.

exports/tern/           two days of testing by the contractor, as link record XML and as link record CSV
exports/fen-and-sallow/ the subcontractor's links, in a layout of its own; mappings/ holds what reads it
exports/laboratory/     two links measured with a network analyser, each with its port map
exports/later/          a link that was mended and tested again
old-folder/             four links of which only the worst cases are left, in a layout that nothing describes
link-schedule.csv       the 64 links that were to be built
documents/              a certificate of calibration

Planted in it, for the program to find:

1A-A05  fails near-end crosstalk on 10 June, is mended, and passes on 12 June
1A-A11  fails, but its export says that it passed
1A-AO7  is 1A-A07, written with the letter O
2A-B09  was swept to 250 MHz and not to 500
2A-B13  was never tested
2A-B20  carries the curves of its neighbour 2A-B19
3A-C..  were tested with units whose calibration had run out
"""

CERTIFICATE = """\
CERTIFICATE OF CALIBRATION (invented, for the demo of muniment)

Petrel Metrology, calibration room                      Certificate PM-23-1107

Unit       P-40 main, serial 40-00317
           P-40 remote, serial 40-00318
Calibrated 2 November 2023
Valid to   2 November 2024
Accuracy   level IIIe, permanent link and channel

The units were compared with the reference artefacts of this room and found within the accuracy stated above.
"""


def write(folder: Path) -> None:
    """All files of the job into a folder that is there. Errors: OSError."""
    exports = folder / "exports"
    formats.write([job.floor_1()], exports / "tern" / "floor-1.xml", "xml")
    formats.write([job.floor_2()], exports / "tern" / "floor-2.zip", "csv")
    formats.write([job.retest()], exports / "later" / "retest.xml", "xml")
    sallow = exports / "fen-and-sallow" / "floor-3.csv"
    sallow.parent.mkdir(parents=True, exist_ok=True)
    sallow.write_bytes(layouts.curves_by_row(job.floor_3()))
    for name, text in _texts():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    for name, content in backbone.files():
        path = folder / backbone.FOLDER / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _texts() -> Iterator[tuple[str, str]]:
    yield "README.txt", README + "\n" + backbone.README
    for name in BACKBONE_MAPPINGS:
        yield f"{backbone.FOLDER}/{name}", (Path(__file__).parent / name).read_text(encoding="utf-8")
    yield "documents/calibration-40-00317.txt", CERTIFICATE
    yield "link-schedule.csv", schedule()
    yield "old-folder/basement.json", layouts.worst_points(job.basement())
    yield MAPPING, (Path(__file__).parent / MAPPING).read_text(encoding="utf-8")
    o = job.options()
    for label, (number, at) in LABORATORY.items():
        block = number // 16 * 16
        links, _ = population.links(job.SEED, np.arange(block, block + 16), o, o.of_job(job.SEED, 0))
        yield f"exports/laboratory/{label}.s8p", analyser.touchstone(links, number - block)
        yield f"exports/laboratory/{label}.toml", analyser.port_map(_FACTS.format(label=label, at=at))


_FACTS = """\
# Invented: no such link, person or instrument exists.
link = "{label}"
tested_by = "D. Tallow"
organisation = "Tern & Daughters"
tested = 2024-06-14T{at}
cable = "Cat 6A F/UTP 23 AWG"
cable_type = "cat6a/f-utp/awg23/solid"
limit = "TIA-568.2-D Cat 6A Permanent Link"
configuration = "permanent-link"
connections = 2

[instrument]
maker = "Petrel Metrology"
model = "P-16"
serial = "16-00042"
calibrated_on = "2024-03-11"
calibration_due = "2025-03-11"
"""


def schedule() -> str:
    """The link schedule as CSV text: 64 links with their limit, cable, bundle, and the day by which they are due."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["link", "required limit", "cable type", "bundle", "due", "comment"])
    wanted = [
        *((name, "B1", "2024-06-14") for name in job.labels(1, "A", 24)),
        *((name, "B2", "2024-06-14") for name in job.labels(2, "B", 24)),
        *((name, "B3", "2024-06-21") for name in job.labels(3, "C", 10)),
        *((name, "B4", "2024-06-21") for name in job.labels(3, "D", 2)),
        *((name, "B0", "2024-06-14") for name in job.labels(0, "E", 4)),
    ]
    for name, bundle, due in wanted:
        table.writerow([name, job.LIMIT, "cat6a/f-utp", bundle, due, ""])
    return out.getvalue()
