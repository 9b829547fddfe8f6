"""The walk through the flow: what is done in each step, in plain words, and what a person would type for it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from archive.demo import job
from archive.demo.backbone import job as backbone
from archive.demo.exports import BACKBONE_MAPPINGS, MAPPING


@dataclass(frozen=True)
class DemoStep:
    """One step. title: what it is for. argv: the command, without the name of the program. lines: how many lines of its
    output are shown. only: words; lines with one of them are shown, each with the two that follow, and the last line.
    look: what there is to see in it. expected: exit codes of a walk that went well."""

    title: str
    argv: tuple[str, ...]
    lines: int = 14
    only: tuple[str, ...] = ()
    look: str = ""
    expected: tuple[int, ...] = (0,)


def steps(folder: Path) -> tuple[DemoStep, ...]:
    """The steps over a demo folder."""
    exports, archive = folder / "exports", folder / "archive"
    schedule, of_job = str(folder / "link-schedule.csv"), ("--job", job.JOB)
    claim, mapping = folder / "claim", ("--mapping", str(folder / MAPPING))
    deposit = ("--into", str(archive), *of_job, "--site", job.SITE, "--zone", job.ZONE, "--by", job.DEPOSITOR)
    read_with = (word for name in BACKBONE_MAPPINGS for word in ("--mapping", str(folder / backbone.FOLDER / name)))
    of_backbone = (
        *("--into", str(archive), "--job", backbone.JOB, "--site", backbone.SITE, "--zone", backbone.ZONE),
        *("--by", job.DEPOSITOR, "--new", *read_with),
    )
    return (
        DemoStep(
            "Look at what came in; nothing is written.",
            ("survey", str(exports)),
            only=("floor-", ".s8p", "retest"),
            look="The subcontractor's layout is drafted, but for the columns that tell of calibration.",
            expected=(0, 1),
        ),
        DemoStep(
            "Turn all of it into one open form; a mapping reads those columns too.",
            ("convert", str(exports), "--to", str(folder / "open-form"), "--form", "csv", *mapping),
            expected=(0, 1),
        ),
        DemoStep(
            "Check it before it is archived, against the list of links that were to be built.",
            ("check", str(exports), "--schedule", schedule, *mapping),
            only=("error: ", "warning: link-unexpected"),
            look="A missing link, a letter for a zero, a sweep cut short, a turned verdict, units out of calibration.",
            expected=(1,),
        ),
        DemoStep(
            "Form an own verdict on every link, against the limit that its record names.",
            ("grade", str(exports), *mapping),
            only=(f"{job.FAILING}:", f"{job.FLIPPED}:", f"{job.SHORT}:"),
            look=f"{job.FLIPPED} fails, although its export says that it passed.",
            expected=(1,),
        ),
        DemoStep("Make an archive.", ("init", str(archive))),
        DemoStep(
            "Archive the first week.",
            ("deposit", str(exports / "tern"), *deposit, "--schedule", schedule),
            lines=60,
            look=f"{job.COPIED[1]} carries the curves of {job.COPIED[0]}: told, not judged.",
            expected=(0, 1),
        ),
        DemoStep(
            "Archive what came later: the subcontractor's links, the laboratory's, and a link that was mended.",
            ("deposit", *(str(exports / n) for n in ("fen-and-sallow", "laboratory", "later")), *deposit, *mapping),
            expected=(0, 1),
        ),
        DemoStep(
            "Archive a layout that nothing describes: its mapping is drafted, and used because the draft is sure.",
            ("deposit", str(folder / "old-folder"), *deposit),
            look="Only worst cases are left of these four links: kept as they are, and never graded.",
            expected=(0, 1),
        ),
        DemoStep(
            "Keep the certificate of calibration with the job.",
            (
                *("attach", str(archive), str(folder / "documents" / "calibration-40-00317.txt"), *of_job),
                *("--kind", "certificate", "--serial", "40-00317", "--serial", "40-00318", "--by", job.DEPOSITOR),
            ),
        ),
        DemoStep(
            "See what is still missing.",
            ("progress", str(archive), *of_job),
            look=f"{job.MISSING} was never tested.",
            expected=(0, 1),
        ),
        DemoStep("Years later somebody asks about a link.", ("find", str(archive), "--link", job.FAILING)),
        DemoStep(
            "Its history: the first test failed, the second passes and is the accepted record.",
            ("history", str(archive), job.FAILING, *of_job),
        ),
        DemoStep(
            "Write its claim file: history, curves against the limit, originals, proof.",
            ("claim", str(archive), job.FAILING, *of_job, "--out", str(claim), "--reason", "the demo"),
        ),
        DemoStep(
            "Archive the optical backbone: loss tests in four layouts, and traces from both ends.",
            (
                "deposit",
                str(folder / backbone.FOLDER / "exports"),
                str(folder / backbone.FOLDER / "traces"),
                *of_backbone,
            ),
            look=f"{backbone.DIRTY} fails, {backbone.CROSSED} is crossed, {backbone.DRIFTED} had lost its reference.",
            expected=(0, 1),
        ),
        DemoStep(
            f"The claim file of {backbone.BENT}: its loss test passes, and its traces show a bend.",
            (
                *("claim", str(archive), backbone.BENT, "--job", backbone.JOB),
                *("--out", str(folder / "claim-backbone"), "--reason", "the demo"),
            ),
        ),
        DemoStep("Make sure that nothing in the archive was altered.", ("fixity", str(archive))),
    )


def shown(step: DemoStep, printed: str) -> list[str]:
    """The lines of a command's output that are shown."""
    lines = printed.rstrip().splitlines()
    if step.only:
        wanted = {i + k for i, line in enumerate(lines) if any(word in line for word in step.only) for k in range(3)}
        wanted.add(len(lines) - 1)
        return [line for i, line in enumerate(lines) if i in wanted]
    left = len(lines) - step.lines
    return lines if left <= 1 else [*lines[: step.lines], f"... and {left} lines more"]


def to_open(folder: Path) -> Path | None:
    """The page of the claim file to open in a browser; None where there is none."""
    pages = sorted((folder / "claim" / "data").rglob("*.html"), key=lambda p: (len(p.parts), p.name))
    return pages[0] if pages else None
