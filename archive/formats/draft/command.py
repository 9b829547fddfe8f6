"""What `muniment mapping draft` and `muniment mapping try` do."""

from __future__ import annotations

import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.containers import entries
from archive.formats.draft import group
from archive.formats.draft.answers import Answers
from archive.formats.draft.write import Draft
from archive.formats.folders import Refused, path_text
from archive.formats.mapping import trial
from archive.formats.mapping.load import load
from archive.formats.mapping.model import Mapping
from archive.formats.recognition import Entry


def draft_of(path: Path, answers: Answers | None = None) -> Draft:
    """The draft for a file, also one inside a zip (z.zip/sub/a.csv, as receipts and survey name it), or for a folder or
    zip whose files belong together. answers: to what an earlier draft
    asked. Errors: Trouble."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        lead = _lead(path, Path(folder))
        made = group.drafted(lead, answers=answers)
        if made.fields and made.against:
            made = replace(made, questions=[*made.questions, f"this draft is not to be used as it is: {made.against}"])
    if not made.fields:
        raise Trouble(
            "nothing in it could be placed",
            code="draft.nothing-placed",
            where=str(path),
            found=f"{len(made.unplaced)} names or lines that are not sure, or say nothing of cabling"
            if made.unplaced
            else "headings at most, and no rows",
            expected="an export with results",
            remedy=f"answer what it asks: {'; '.join(made.questions)}"
            if made.questions
            else "if it is one, write its mapping by hand: schemas/mapping.md explains how",
        )
    return made


def _lead(path: Path, temporary: Path) -> Entry:
    """The file to begin with: the only one, or the one with which others are read."""
    units = _units(path, temporary)
    found = [u for u in units if isinstance(u, Entry) and u.size]
    refused = [u for u in units if isinstance(u, Refused)] if not found else []
    if not found:
        raise (
            refused[0].trouble if refused else Trouble("there is nothing in it", code="input.nothing", where=str(path))
        )
    alike = Counter(group.pattern_of(f.path, f.path.parent) for f in found)
    taken: set[Path] = set()
    leads = []
    for f in sorted(found, key=lambda f: alike[group.pattern_of(f.path, f.path.parent)]):
        # Files that stand alone come first: one of them may name all the others.
        if f.path not in taken:
            taken |= {e.path for e in group.others(f)}
            leads.append(f)
            if len(taken) + 1 >= len(found):
                break
    return next(f for f in found if f in leads and f.path not in taken)


def _units(path: Path, temporary: Path) -> list[Entry | Refused]:
    """The files of a file, folder or zip, or of what a path names inside a zip.

    Errors: Trouble where nothing is there.
    """
    packed = next((p for p in path.parents if p.is_file()), None) if not path.exists() else None
    if packed is None:
        return list(entries(path, temporary))
    inside = path_text((packed.name / path.relative_to(packed)).as_posix())
    found = [u for u in entries(packed, temporary) if u.name == inside or u.name.startswith(f"{inside}/")]
    if not found:
        raise Trouble(
            "there is no such file in it",
            code="input.not-there",
            where=str(packed),
            found=inside,
            remedy="`muniment survey` lists what is there",
        )
    return found


def tried(mapping: Path, export: Path, most: int) -> dict[str, Any]:
    """The first records of an export as a mapping reads them: each cell of the source beside where it went."""
    m = load(mapping)
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        entry = next((e for e in _units(export, Path(folder)) if isinstance(e, Entry) and _begins(e, m)), None)
        if entry is None:
            raise Trouble(
                "no file of the mapping is there",
                code="try.no-file",
                where=str(export),
                expected=m.files[0].pattern,
            )
        found = trial.tried(entry, m, most)
    return {"layout": m.layout, **vars(found), "set_aside": found.set_aside[:50]}


def _begins(entry: Entry, mapping: Mapping) -> bool:
    from archive.formats.mapping.together import is_lead

    return mapping.alone or is_lead(entry, mapping)
