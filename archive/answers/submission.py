"""What is handed in for a deposit: files, folders and zips in any layout, and bags that this program made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.reading import Elsewhere, FileOutcome, Reading, sound
from archive.formats.recognition import Entry
from archive.store import bags, layout
from archive.store.parquet import FOLDER
from archive.store.parquet.foreign_bag import damaged, foreign_batches
from archive.tables import Batch, no_rows, tables

_DECLARATION = "bagit.txt"


class Submission:
    """An iterator over the batches of inputs; `again` counts records that came twice from the same place of a file,
    `files` says how each was read, bags apart, and `mappings` holds the bytes of what read them, by their SHA-256.

    Of a deposit's bag the archived tables are read, of any other bag the open forms in it or else its payload; a bag
    is verified first. Errors: Trouble where nothing can be read, a bag is damaged, or an input is a whole archive.
    """

    def __init__(
        self,
        inputs: Sequence[Path],
        mapping: Any = None,
        leave_out: Sequence[Path] = (),
        *,
        draft: bool = True,
        elsewhere: Elsewhere | None = None,
    ) -> None:
        """mapping, leave_out, draft, elsewhere: as for formats.reading.Reading. Errors: Trouble for a mapping that
        cannot be read."""
        self.again = 0
        self.files: list[FileOutcome] = []
        self.mappings: dict[str, bytes] = {}
        self._leave_out, self._draft, self._elsewhere = list(leave_out), draft, elsewhere
        self._inputs = list(inputs)
        self._mapping = mapping
        self._bags: list[Path] = []
        self._reading: Reading | None = None
        self._prepared = False

    def beside(self) -> dict[Path, list[Path]]:
        """Files that are read with an input that is one file, by that input. The inputs are recognised by this, once.

        Errors: as the iterator.
        """
        self._prepare()
        return {} if self._reading is None else self._reading.beside()

    def _prepare(self) -> None:
        """Tells bags from exports; once."""
        if self._prepared:
            return
        self._prepared = True
        plain: list[Path] = []
        for path in self._inputs:
            if (path / layout.SETTINGS).is_file():
                raise Trouble(
                    "this is an archive",
                    code="submission.is-an-archive",
                    where=str(path),
                    remedy="join it with `muniment merge`",
                )
            if (path / _DECLARATION).is_file():
                _verified(path)
                if (path / "data" / FOLDER / "records.parquet").is_file():
                    self._bags.append(path)
                    continue
                plain += _forms(path)
            else:
                plain.append(path)
        if plain:
            self._reading = Reading(
                plain,
                mapping=self._mapping,
                draft=self._draft,
                tell_again=False,
                leave_out=self._leave_out,
                elsewhere=self._elsewhere,
            )

    def __iter__(self) -> Iterator[Batch]:
        self._prepare()
        for bag in self._bags:
            yield from _of_deposit(bag)
        if (reading := self._reading) is not None:
            yield from reading
            self.again += reading.again
            self.files += reading.files
            self.mappings |= reading.mappings


def _verified(bag: Path) -> None:
    for damage in bags.self_check(bag):
        raise Trouble(
            "the bag is damaged", code="submission.bag-damaged", where=f"{bag}: {damage.path}", found=damage.what
        )


def _of_deposit(bag: Path) -> Iterator[Batch]:
    """Records of a deposit's bag, without what was said of them then."""
    empty: dict[str, Any] = {n: no_rows(n) for n, t in tables().items() if t.level == "statement"}
    entry = Entry(bag / "data" / FOLDER / "records.parquet", f"{bag.name}/data/{FOLDER}/records.parquet")
    for batch in foreign_batches(bag, bag.name):
        try:
            yield sound(batch.replace(**empty), entry)
        except ValueError as error:
            raise damaged(bag.name, str(error)) from None


def _forms(bag: Path) -> list[Path]:
    """The open XML in a bag where there is some, else its payload."""
    data = bag / "data"
    return sorted(data.glob("*.xml")) or [data]
