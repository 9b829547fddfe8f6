"""The one thing to do after a deposit."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from archive.answers.receipt.receipt_facts import ReceiptFacts


def next_step(facts: ReceiptFacts) -> str:
    """What comes next, in one line: the first that applies of what was set aside, read by a draft, here under another
    job, in a folder that raises a doubt, in conflict, missing; else the acceptance of the job."""
    told = facts.told
    archive, job = shlex.quote(facts.archive), shlex.quote(facts.job or "")
    of_job = f" --job {job}" if facts.job else ""
    unplaced = next((d["file"] for d in told.get("drafted", []) if d["unplaced"] and not d["accepted"]), None)
    if unplaced is not None:
        path = _handed_in(unplaced, facts.inputs)
        return (
            f"muniment mapping draft {shlex.quote(path)} -o layout.toml, and deposit with --mapping layout.toml"
            if path
            else f"muniment mapping draft FILE -o layout.toml, where FILE is {unplaced} as it was handed in, and "
            "deposit with --mapping layout.toml"
        )
    if told.get("elsewhere"):
        first = told["elsewhere"][0]
        return (
            f"muniment amend {archive} --deposit {first['deposit']} --set job_id={job} moves what is meant for this job"
        )
    if facts.dry_run:
        return "the same command without --dry-run"
    if told["deposit"] is None:
        return f"muniment progress {archive}{of_job}"
    if told["set_aside"]:
        return f"muniment setaside {archive}{of_job}"
    if told.get("settling"):
        return f"muniment identity {archive}{of_job} {told['settling']} (or keep)"
    if told.get("conflicts"):
        look = "compare each with the other record of its test, and withdraw the wrong one"
        return f"muniment find {archive}{of_job} shows what is in conflict; {look}"
    if facts.progress is None or not facts.progress.counts.complete:
        return f"muniment progress {archive}{of_job}"
    return f"muniment accept {archive}{of_job} --on DAY, when the job is handed over"


def _handed_in(name: str, inputs: Sequence[Path]) -> str:
    """Path of a file, also of one inside a zip, by its name in what was handed in; "" where it is not there."""
    for given in inputs:
        folder = given if given.is_dir() else given.parent
        path = folder / name
        outside = not given.is_dir() and Path(name).parts[0] != given.name
        if not outside and any(p.is_file() for p in (path, *path.parents)):
            return str(path)
    return ""
