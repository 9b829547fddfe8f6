"""A new, empty archive: built aside, then renamed into place with its first ledger entry inside. On an object store its
first entry is written last."""

from __future__ import annotations

import secrets
import tempfile
from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.objects import StorePath, place
from archive.store import clock, files, layout
from archive.store.archive import Archive, open_archive
from archive.store.guide import guide, schema_files
from archive.store.ledger import Ledger, Taken

_FOLDERS = (
    layout.SCHEMA,
    layout.LEDGER,
    layout.DEPOSITS,
    layout.ASSESSMENTS,
    layout.EVENTS,
    layout.CATALOGUE,
    layout.ASIDE,
)


def create(path: Path) -> Archive:
    """Makes an archive in a folder that is empty or not there yet.

    Errors: Trouble where something stands there already; OSError where the folder cannot be written.
    """
    target = place(path)
    if isinstance(target, StorePath):
        return _create_on_store(target)
    if target.is_dir() and (target / layout.SETTINGS).exists():
        raise _there_already(target)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise Trouble(
            "the folder is not empty",
            code="archive.folder-not-empty",
            where=str(target),
            remedy="name a folder that is empty or new",
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    archive_id = f"ar-{secrets.token_hex(16)}"
    building = target.parent / f".{target.name[:80]}.{archive_id[:11]}"
    try:
        _build(building, archive_id)
        if target.is_dir():
            target.rmdir()
        disk.rename(building, target)
    except OSError:
        disk.remove_tree(building)
        raise
    disk.sync_folder(target.parent)
    return open_archive(target)


def _settings(archive_id: str) -> bytes:
    at = clock.text(clock.now())
    return f'[archive]\nid = "{archive_id}"\nformat = {layout.FORMAT}\ncreated = "{at}"\n'.encode()


def _others() -> dict[str, bytes]:
    """What an archive begins with beside its settings and its ledger."""
    return {layout.GUIDE: guide().encode(), **{f"{layout.SCHEMA}/{n}": data for n, data in schema_files().items()}}


def _create_on_store(root: StorePath) -> Archive:
    """The settings are created, so that of two who make it at once one owns it; the first entry comes last. What a
    stopped run left is finished by the next one: an archive without an entry is none yet."""
    ours = _others()
    there = {p.relative_to(root).as_posix() for p in root.rglob("*")}
    if layout.entry_path(root, 0).relative_to(root).as_posix() in there:
        raise _there_already(root)
    if left := sorted(n for n in there - ours.keys() - {layout.SETTINGS} if not n.startswith(f"{layout.ASIDE}/")):
        raise Trouble(
            "something lies under this address already",
            code="archive.folder-not-empty",
            where=str(root),
            found=left[0],
            remedy="name a prefix under which nothing lies",
        )
    root.bucket.require_conditions(root.key)
    for name, data in ours.items():
        disk.put(root / name, data)
    settings = root / layout.SETTINGS
    new = _settings(f"ar-{secrets.token_hex(16)}")
    if layout.SETTINGS in there or not settings.bucket.create(settings.key, new):
        new = settings.read_bytes()
    made = open_archive(root)
    committed = {
        n: {"sha256": files.sha256(data), "bytes": len(data)} for n, data in {layout.SETTINGS: new, **ours}.items()
    }
    with tempfile.TemporaryDirectory(prefix="muniment-") as aside:
        try:
            made.ledger.append(0, {"kind": "created", "files": committed}, Path(aside))
        except Taken:
            raise _there_already(root) from None
    return made


def _there_already(root: Path) -> Trouble:
    return Trouble("there is an archive already", code="archive.there-already", where=str(root))


def _build(root: Path, archive_id: str) -> None:
    disk.make_folder(root)
    for name in _FOLDERS:
        disk.make_folder(root / name)
    contents = {layout.SETTINGS: _settings(archive_id), **_others()}
    committed = {name: files.write_new(root / name, data) for name, data in contents.items()}
    disk.sync_folder(root / layout.SCHEMA)
    listed = {name: {"sha256": p.sha256, "bytes": p.bytes} for name, p in committed.items()}
    Ledger(root, archive_id).append(0, {"kind": "created", "files": listed}, root / layout.ASIDE)
    disk.sync_folder(root / layout.LEDGER)
    disk.sync_folder(root)
