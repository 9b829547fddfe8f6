"""Pages made again from the data beside them, where the same version of the program looks at them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from difflib import SequenceMatcher
from pathlib import Path

from archive.answers.claim.saved_claim import FACTS, RESTS_ON, pages, restored, written_with
from archive.answers.sealing.made_with import difference, made_with
from archive.errors import Trouble
from archive.store.bags import Damage


def compare(folder: Path, broken: Collection[str], notes: list[str]) -> Iterator[Damage]:
    """Pages that are not those which the data give. broken: paths of files that are not as they were written; notes:
    gets why pages were not made again."""
    data = folder / "data"
    if not (data / FACTS).is_file():
        notes.append("the pages were not made again: a book does not hold the data for it")
        return
    changed = sorted({f"data/{name}" for name in RESTS_ON} & set(broken))
    if changed:
        notes.append(f"the pages were not made again: {changed[0]} is not as it was written")
        return
    try:
        other = difference(written_with(data), made_with())
        if other:
            notes.append(f"the pages were not made again: {other}")
            return
        facts, words, paper = restored(data)
        record = (data / "record.xml").read_bytes() if (data / "record.xml").is_file() else None
        made = {name: page() for name, page in pages(facts, words, paper, record).items()}
    except (Trouble, ValueError, KeyError, TypeError, IndexError, AttributeError, OSError, RuntimeError) as error:
        yield Damage(f"data/{FACTS}", f"the pages cannot be made again from it: {error}")
        return
    for name, page in made.items():
        there = data / name
        if there.is_file() and there.read_bytes() != page:
            yield Damage(f"data/{name}", f"is not the page that the data give{_first(there.read_bytes(), page)}")


def _first(there: bytes, made: bytes) -> str:
    """Where the words of two pages differ first, for pages that are text."""
    if not there.startswith(b"<!"):
        return ""
    old, new = _words(there), _words(made)
    for tag, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes() if len(old) < 4000 else ():
        if tag != "equal":
            return f": it says {' '.join(old[a : b + 3])!r} where the data say {' '.join(new[c : d + 3])!r}"
    return ""


def _words(page: bytes) -> list[str]:
    return re.sub(r"<(style|svg)\b.*?</\1>|<[^>]*>", " ", page.decode("utf-8", "replace"), flags=re.DOTALL).split()
