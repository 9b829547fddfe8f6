"""The examples of schemas/mapping.md: a mapping, the files of an export, and what is printed of them.

`python -m tests.formats.mapping.guide` writes what is printed today into the document. Look at each before it is kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from archive import schemas
from archive.cli.side_by_side import side_by_side
from archive.formats.draft.command import tried

GUIDE = schemas.root() / "mapping.md"
_BLOCK = re.compile(r"```(toml|text|result)([^\n]*)\n(.*?)```", re.DOTALL)


@dataclass
class Example:
    """mapping: its text; files: bytes by name, in order; printed: what the document says is printed of them."""

    mapping: str
    files: dict[str, bytes] = field(default_factory=dict)
    printed: str = ""

    def result(self, folder: Path) -> str:
        """What is printed of it today."""
        (folder / "mapping.toml").write_text(self.mapping, "utf-8")
        for name, data in self.files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(data)
        found = tried(folder / "mapping.toml", folder / next(iter(self.files)), 3)
        lines = [line for record in found["records"] for line in side_by_side(record)]
        lines += [f"set aside: {row['place']}: {row['reason']}; found {row['found']}" for row in found["set_aside"]]
        lines += [f"table {t['table']}: {t['why']}" for t in found["tables"] if not t["taken"]]
        return "".join(f"{line}\n" for line in lines)


def examples() -> Iterator[Example]:
    """Every block of the document belongs to one."""
    one: Example | None = None
    for kind, name, text in _BLOCK.findall(GUIDE.read_text("utf-8")):
        if kind == "toml":
            assert one is None, "a mapping has an export and a result"
            one = Example(text)
        elif kind == "text" and one is not None:
            file, _, page = name.strip().partition(" ")
            one.files[file] = text.encode(page or "utf-8")
        elif one is not None:
            one.printed = text
            yield one
            one = None


def _write() -> None:
    listed = list(examples())
    with TemporaryDirectory() as name:
        printed = []
        for i, one in enumerate(listed):
            folder = Path(name) / str(i)
            folder.mkdir()
            printed.append(one.result(folder))
    texts = iter(printed)
    text = re.sub(
        r"```result\n.*?```", lambda _: f"```result\n{next(texts)}```", GUIDE.read_text("utf-8"), flags=re.DOTALL
    )
    GUIDE.write_text(text, "utf-8")


if __name__ == "__main__":
    _write()
