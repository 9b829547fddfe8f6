"""All limits by id."""

from __future__ import annotations

import difflib
import hashlib
from functools import cache, lru_cache
from pathlib import Path

from archive import schemas
from archive.errors import Trouble
from archive.limits import confirm, editions
from archive.limits.build import build
from archive.limits.limit import Limit
from archive.limits.own import load_own


def version() -> str:
    """Version of the limit library; verdicts carry it."""
    return str(schemas.load(f"{editions.FOLDER}/library.toml")["version"])


def digest() -> str:
    """SHA-256 over all that the version stands for: the editions in their order, field, cords, rules for words, optical
    links."""
    names = [f"{editions.FOLDER}/{name}.toml" for name in editions.edition_ids()]
    names += [f"{editions.FOLDER}/{name}.toml" for name in ("field", "cords")] + ["limit-words.toml"]
    names += [f"fiber/{name}.toml" for name in ("limits", "applications")]
    total = hashlib.sha256()
    for name in names:
        content = (schemas.root() / name).read_bytes().replace(b"\r\n", b"\n")
        total.update(f"{name} {hashlib.sha256(content).hexdigest()}\n".encode())
    return total.hexdigest()


@cache
def ids() -> tuple[str, ...]:
    """Every limit id of the library, edition by edition."""
    return tuple(editions.limit_ids())


def get(limit_id: str) -> Limit:
    """A limit by its id, or from a file of the user's own (a path that ends in .toml).

    What a person has confirmed (see archive.limits.confirm) is in it. Errors: Trouble for an id that the library does
    not have, or that names several limits (the message lists them).
    """
    if limit_id.endswith(".toml"):
        return load_own(limit_id)
    if limit_id not in ids():
        raise unknown(limit_id)
    paths = confirm.stored(limit_id)
    return _get(limit_id, tuple((path, path.stat().st_mtime_ns, path.stat().st_size) for path in paths))


@lru_cache(maxsize=512)
def _get(limit_id: str, confirmations: tuple[tuple[Path, int, int], ...]) -> Limit:
    found = editions.declaration(limit_id)
    assert found is not None
    edition, table = found
    paths = tuple(path for path, _, _ in confirmations)
    table = {**confirm.applied(limit_id, table, paths), "also_named": edition.head.also_named}
    return build(limit_id, edition.head.title, table, where=f"limit {limit_id}", files=(*edition.files, *paths))


def candidates(limit_id: str) -> tuple[str, ...]:
    """Limits that a shortened id may mean: a bare permanent-link of ISO/IEC is the one with 2 or with 3 connections."""
    shortened = (f"{limit_id}-2", f"{limit_id}-3", f"{limit_id}/")
    return tuple(known for known in ids() if known.startswith(shortened))


def unknown(limit_id: str) -> Trouble:
    """The trouble of an id that names no single limit."""
    several = candidates(limit_id)
    if several:
        return Trouble(
            "this names several limits",
            code="limit.several",
            found=f"'{limit_id}'",
            expected=f"one of {', '.join(several)}",
        )
    near = difflib.get_close_matches(limit_id, ids(), n=3, cutoff=0.6)
    expected = f"perhaps {', '.join(near)}" if near else ""
    remedy = "see `muniment limits list`"
    return Trouble("no such limit", code="limit.unknown", found=f"'{limit_id}'", expected=expected, remedy=remedy)
