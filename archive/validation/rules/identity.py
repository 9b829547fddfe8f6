"""Rules about the identifier of the link, of one record by itself."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

import numpy as np

from archive.validation.catalogue.registry import Answer, Raised, Tolerances, rule
from archive.validation.look import RecordLook


@rule("identifier-syntax")
def identifier_syntax(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The job's own pattern where the policy gives one, else the forms of ANSI/TIA-606."""
    own = limits["pattern"]
    forms = [re.compile(p) for p in ([own] if own else limits["forms"])]
    labels = look.words("link_label")
    strange = {x for x in set(labels) if x.strip() and not any(f.fullmatch(x.strip()) for f in forms)}
    rows = np.flatnonzero([x in strange for x in labels])
    expected = f"the pattern {own}" if own else "a form of ANSI/TIA-606, such as 1A-B07 or 1A.AD02-35:05"
    yield Raised(rows, found=[repr(x) for x in labels[rows]], expected=expected)


@rule("identifier-look-alikes")
def identifier_look_alikes(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Blanks around it or doubled, dashes that are no hyphen, control characters, letters of another script."""
    labels = look.words("link_label")
    strange = {x: what for x in set(labels) if (what := _strange(x))}
    rows = np.flatnonzero([x in strange for x in labels])
    yield Raised(rows, where=[repr(x) for x in labels[rows]], found=[strange[x] for x in labels[rows]])


def _strange(label: str) -> str:
    """What in a label looks like something else, "" where nothing does."""
    if label != label.strip():
        return "blanks before or after it"
    if "  " in label:
        return "two blanks in a row"
    if label.isascii() and label.isprintable():
        return ""
    for c in label:
        kind = unicodedata.category(c)
        if kind in ("Cc", "Cf", "Co", "Cn") or (kind == "Zs" and c != " "):
            return f"an invisible character, U+{ord(c):04X}"
        if kind == "Pd" and c != "-":
            return f"a dash that is no hyphen, U+{ord(c):04X}"
    scripts = {unicodedata.name(c, "?").split()[0] for c in label if c.isalpha()}
    if len(scripts) > 1:
        return "letters of two scripts: " + ", ".join(sorted(scripts)).lower()
    return ""


@rule("both-ends-in-one-place")
def both_ends_in_one_place(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Both ends of the record are at one and the same place, floor, space, panel and port."""
    local, remote = look.words("local_place_id"), look.words("remote_place_id")
    rows = np.flatnonzero((local != "") & (local == remote))
    ports = look.joined("local_place_id", "places", "port")
    rows = rows[ports[rows] != ""]
    yield Raised(rows, found=list(ports[rows]))
