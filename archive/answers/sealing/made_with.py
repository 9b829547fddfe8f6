"""What pages depend on besides their facts: this program, the libraries that set them, the limits of this machine."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from archive import schemas
from archive.limits import confirm, library
from archive.version import PROGRAM

_LIBRARIES = ("babel", "jinja2", "numpy", "segno", "typst")
_ENDINGS = (".css", ".html", ".po", ".py", ".toml", ".ttf", ".typ")


def made_with() -> dict[str, str]:
    """Names and versions, as a seal holds them: equal ones make equal pages of equal facts."""
    libraries = {name: found for name in _LIBRARIES if (found := _version(name))}
    return {"program": PROGRAM, "code": _code(), "limits": _limits(), **libraries}


def difference(theirs: dict[str, str], ours: dict[str, str]) -> str:
    """What differs, in a few words; "" where nothing does."""
    names = sorted(n for n in {*theirs, *ours} if theirs.get(n) != ours.get(n))
    if not names:
        return ""
    if "program" in names:
        return f"made by {theirs.get('program', 'an unknown version')}, this is {ours['program']}"
    words = {"code": "other code of the same version", "limits": "other limits on this machine"}
    return "made with " + ", ".join(words.get(n, f"{n} {theirs.get(n, 'unknown')}") for n in names)


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return ""


@cache
def _code() -> str:
    """SHA-256 over the files of the program and what it declares; line ends do not count."""
    total = hashlib.sha256()
    for base in (Path(__file__).resolve().parents[2], schemas.root()):
        for path in _files(base):
            content = path.read_bytes().replace(b"\r\n", b"\n")
            name = path.relative_to(base).as_posix()
            total.update(f"{name} {hashlib.sha256(content).hexdigest()}\n".encode())
    return total.hexdigest()


def _files(base: Path) -> Iterator[Path]:
    yield from sorted(
        p for p in base.rglob("*") if p.suffix in _ENDINGS and "_schemas" not in p.relative_to(base).parts
    )


def _limits() -> str:
    """SHA-256 over the limit library and what a person has confirmed or replaced of it on this machine."""
    total = hashlib.sha256(library.digest().encode())
    kept = confirm.folder("")
    for path in sorted(kept.rglob("*.toml")):
        total.update(f"{path.relative_to(kept).as_posix()} {hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    return total.hexdigest()
