"""Every step that changes a disk, in one place, so that a test can count the steps and stop at each of them.

Nothing else in the store opens a file for writing, syncs, links, renames or removes. `watcher`, where it is set,
is called before each step with its name, its path and, for a rename or a link, the former path; a test that raises
there has stopped the program at that step.
The steps that only a file system with links can do stand in `claim` alone. On an object store a step is a request: the
claim of a file is a create, a folder that gets its place is sent object by object under a name that nobody else uses,
and what a store has not (folders, syncs, rights) is nothing.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from archive.objects import StorePath

Watcher = Callable[[str, Path, Path | None], None]

watcher: Watcher | None = None
"""Set by tests only."""

_NO_LINKS = {errno.EPERM, errno.EOPNOTSUPP, errno.ENOTSUP, errno.ENOSYS, errno.EMLINK, errno.EXDEV, errno.EINVAL}


def _step(what: str, path: Path, old: Path | None = None) -> None:
    if watcher is not None:
        watcher(what, path, old)


def create(path: Path) -> BinaryIO:
    """A new file, open for writing. Errors: FileExistsError where there is one already."""
    _step("create", path)
    return path.open("xb")


def append(path: Path, data: bytes) -> None:
    """Adds a line to a log in one write; a log that is new may be written by whoever may write in its folder.

    Errors: OSError, always on an object store, which appends nothing."""
    if isinstance(path, StorePath):
        raise OSError(errno.ENOTSUP, "a store appends nothing", str(path))
    _step("append", path)
    new = not path.exists()
    with path.open("ab", buffering=0) as file:
        file.write(data)
    if new and os.name != "nt":
        path.chmod(stat.S_IMODE(path.parent.stat().st_mode) & 0o666)


def sync(file: BinaryIO, path: Path) -> None:
    """Bytes written so far reach the disk."""
    file.flush()
    _step("fsync", path)
    os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Names in a folder reach the disk. Windows keeps no handle of folders; there it does nothing."""
    if isinstance(folder, StorePath):
        return
    _step("fsync", folder)
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network file systems refuse it for folders
            raise
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """A folder with the rights of the folder it lies in, which is made too; nothing where it is there already."""
    if isinstance(folder, StorePath) or folder.is_dir():
        return
    make_folder(folder.parent)
    _step("mkdir", folder)
    try:
        folder.mkdir()
    except FileExistsError:
        return
    if os.name != "nt":
        wanted = stat.S_IMODE(folder.parent.stat().st_mode)
        if stat.S_IMODE(folder.stat().st_mode) != wanted:
            folder.chmod(wanted)


def rename(old: Path, new: Path) -> None:
    """Gives a file or a folder its place. A file that stands there is replaced in one step."""
    _step("rename", new, old)
    old.replace(new)


def move_in(old: Path, new: Path) -> None:
    """Gives a finished folder its place, in a folder that is made where it is missing; the names reach the disk.

    Between an object store and a disk or another place on the store it is copied; whoever made the folder ends it."""
    if isinstance(new, StorePath):
        _send(old, new)
        return
    if not new.parent.is_dir():
        make_folder(new.parent)
        sync_folder(new.parent.parent)
    rename(old, new)
    sync_folder(new.parent)


def _send(old: Path, new: StorePath) -> None:
    """Every object under a new name; what is on the store already moves."""
    for file in sorted(p for p in old.rglob("*") if p.is_file()) or [old]:
        target = new / file.relative_to(old)
        _step("rename", target, file)
        if isinstance(file, StorePath):
            file.bucket.copy(file.key, target.key)
            file.bucket.delete(file.key)
        else:
            target.bucket.put(target.key, file)


def put(place: StorePath, data: bytes) -> None:
    """Gives an object its bytes in one step; what stood there is replaced."""
    _step("rename", place, place)
    place.bucket.put(place.key, data)


def claim(old: Path, new: Path) -> bool:
    """Gives a finished file its place unless there is one already: True where the place was free.

    link(2), which is atomic and never replaces; else a rename that never replaces; else exclusive creation,
    which alone can leave an unfinished file if the machine stops in the middle. On an object store a create, of which
    the finished file stays where nobody can tell whether it was done.
    """
    _step("link", new, old)
    if isinstance(new, StorePath):
        done = new.bucket.create(new.key, old.read_bytes())
        if done:
            remove(old)
        return done
    try:
        os.link(old, new)
    except FileExistsError:
        return False
    except (OSError, AttributeError) as error:
        if isinstance(error, OSError) and error.errno not in _NO_LINKS:
            raise
        return _claim_by_rename(old, new)
    remove(old)
    return True


def _claim_by_rename(old: Path, new: Path) -> bool:
    if sys.platform == "win32":
        try:
            old.rename(new)
        except FileExistsError:
            return False
        return True
    done = _rename_without_replace(old, new)
    return _claim_by_creation(old, new) if done is None else done


def _rename_without_replace(old: Path, new: Path) -> bool | None:
    """renameat2(2) with RENAME_NOREPLACE; None where the system or the file system has no such thing."""
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if call is None:
        return None
    if call(-100, os.fsencode(old), -100, os.fsencode(new), 1) == 0:  # AT_FDCWD, RENAME_NOREPLACE
        return True
    return False if ctypes.get_errno() == errno.EEXIST else None


def _claim_by_creation(old: Path, new: Path) -> bool:
    """The finished file stays until the other one is whole: it says what is meant where the writer stops between."""
    sync_folder(old.parent)
    meant = old.read_bytes()
    try:
        with create(new) as file:
            file.write(meant)
            sync(file, new)
    except FileExistsError:
        return False
    except OSError:
        if new.is_file() and new.read_bytes() != meant:  # unless somebody else has finished it meanwhile
            remove(new)
        raise
    remove(old)
    return True


def remove(path: Path) -> None:
    """Takes a file away; nothing where it is gone already."""
    _step("remove", path)
    if isinstance(path, StorePath):
        path.bucket.delete(path.key)
        return
    path.unlink(missing_ok=True)


def remove_tree(folder: Path) -> None:
    """Takes a folder away with everything in it; nothing where it is gone already."""
    if isinstance(folder, StorePath):
        for path in folder.rglob("*"):
            remove(path)
        return
    if not folder.exists():
        return
    _step("remove", folder)
    for _ in range(5):
        try:
            shutil.rmtree(folder)
        except FileNotFoundError:  # somebody else takes it away at the same time
            continue
        return


def close_for_writing(path: Path) -> None:
    """Takes the right to write from a file, so that no program changes it by mistake."""
    if os.name != "nt":
        path.chmod(stat.S_IMODE(path.stat().st_mode) & ~0o222)
