"""A new, empty archive: built aside, then renamed into place with its first ledger entry inside."""

from __future__ import annotations

import secrets
from pathlib import Path

from archive import disk
from archive.errors import Trouble
from archive.store import clock, files, layout
from archive.store.archive import Archive, open_archive
from archive.store.guide import guide, schema_files
from archive.store.ledger import Ledger

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
    target = Path(path)
    if target.is_dir() and (target / layout.SETTINGS).exists():
        raise Trouble("there is an archive already", code="archive.there-already", where=str(target))
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


def _build(root: Path, archive_id: str) -> None:
    disk.make_folder(root)
    for name in _FOLDERS:
        disk.make_folder(root / name)
    at = clock.now()
    settings = f'[archive]\nid = "{archive_id}"\nformat = {layout.FORMAT}\ncreated = "{clock.text(at)}"\n'
    committed = {
        layout.SETTINGS: files.write_new(root / layout.SETTINGS, settings.encode()),
        layout.GUIDE: files.write_new(root / layout.GUIDE, guide().encode()),
        **{
            f"{layout.SCHEMA}/{name}": files.write_new(root / layout.SCHEMA / name, data)
            for name, data in schema_files().items()
        },
    }
    disk.sync_folder(root / layout.SCHEMA)
    listed = {name: {"sha256": p.sha256, "bytes": p.bytes} for name, p in committed.items()}
    Ledger(root, archive_id).append(0, {"kind": "created", "files": listed}, root / layout.ASIDE)
    disk.sync_folder(root / layout.LEDGER)
    disk.sync_folder(root)
