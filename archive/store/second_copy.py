"""The mark of a second copy: what is written there would be lacking in the original, and part the two for good.

catalogue/second-copy.toml says of what archive it is a copy and since when. `export` writes it; a command of its own
takes it away, and says so in the ledger.
"""

from __future__ import annotations

from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.store import clock, files, layout

MARK = "second-copy.toml"


def place(root: Path) -> Path:
    """Where the mark is."""
    return root / layout.CATALOGUE / MARK


def is_second_copy(root: Path) -> bool:
    """Whether an archive is marked as a second copy."""
    return place(root).is_file()


def mark(root: Path, archive_id: str) -> None:
    """Marks a copy, unless it is marked already."""
    if not is_second_copy(root):
        text = (
            "# This folder is a second copy. It is read like any archive; nothing is deposited or changed in it.\n"
            "# Should it take the place of the original: muniment promote FOLDER --reason TEXT\n"
            f'copy_of = "{archive_id}"\nsince = "{clock.text(clock.now())}"\n'
        )
        disk.make_folder(root / layout.CATALOGUE)
        files.put(place(root), text.encode(), root / layout.ASIDE)


def take_mark_away(root: Path) -> None:
    """From now on the folder is written to like any archive."""
    disk.remove(place(root))
    disk.sync_folder(place(root).parent)


def require_original(root: Path) -> None:
    """Errors: Trouble where an archive is a second copy, in which nothing is to be written."""
    if is_second_copy(root):
        raise Trouble(
            "this is a second copy, and nothing is written in it",
            code="copy.second",
            where=str(root),
            expected="the original",
            remedy="work in the original; where it is lost, `muniment promote` makes this copy the original",
        )
