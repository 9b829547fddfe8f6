"""What is packed otherwise than in a zip: gzip, tar, 7z, and mails with attachments, each unpacked into a folder.

The bounds are those of formats.containers: paths stay inside, links and devices are refused, and every byte that comes
out is counted by `take`, which refuses what is too much. What a packing declares of itself is not believed.
"""

from __future__ import annotations

import email
import email.policy
import gzip
import re
import tarfile
import zlib
from collections.abc import Callable, Iterator
from email.message import EmailMessage
from pathlib import Path, PurePosixPath

from archive.confined import Confined
from archive.errors import Trouble

Take = Callable[[int, str], None]
"""So many bytes more come out of that place. Errors: Trouble where that is too much."""

MOST_FILES = 1_000_000
MOST_MAIL = 256 << 20
"""Bytes of a mail that is taken apart."""
MOST_PARTS = 10_000
_BLOCK = 1 << 20
_GZIP, _SEVEN = b"\x1f\x8b\x08", b"7z\xbc\xaf\x27\x1c"
_TAR = (b"ustar\x00", b"ustar ")
_FIELD = re.compile(rb"([A-Za-z][A-Za-z0-9-]{0,60}):|[ \t]")
_DAMAGED = (
    *(EOFError, OSError, zlib.error, tarfile.TarError, ValueError, UnicodeError),
    *(OverflowError, MemoryError),  # of sizes that a head claims
)


def kind(head: bytes) -> str:
    """gzip, tar, 7z or mail by the head of a file; "" for anything else."""
    if head.startswith(_GZIP):
        return "gzip"
    if head.startswith(_SEVEN):
        return "7z"
    if head[257:263] in _TAR:
        return "tar"
    return "mail" if is_mail(head) else ""


def is_mail(head: bytes) -> bool:
    """Whether a file begins with the fields of a mail (RFC 5322): from whom, and what only a mail has."""
    if _FIELD.match(head) is None and not head.startswith(b"From "):  # most files, told by their first bytes
        return False
    lines = re.split(rb"\r?\n", head.partition(b"\n\n")[0].partition(b"\r\n\r\n")[0])
    if lines[0].startswith(b"From "):  # as a mailbox has it
        del lines[0]
    found = [_FIELD.match(line) for line in lines[:-1] or lines]
    names = {m[1].lower() for m in found if m is not None and m[1]}
    return all(found) and b"from" in names and bool(names & {b"mime-version", b"message-id", b"received"})


def unpack(path: Path, target: Path, name: str, take: Take) -> None:
    """Unpacks a file into a folder that is there and empty. name: of the file, for messages.

    Errors: Trouble where it is damaged, refused, or too much; the folder is left as it is then.
    """
    with path.open("rb") as opened:
        what = kind(opened.read(65536))
    try:
        {"gzip": _gzip, "tar": _tar, "7z": _seven, "mail": _mail}[what](path, target, name, take)
    except tarfile.FilterError as error:
        raise _leaves(name, str(error)) from None
    except _DAMAGED as error:
        if isinstance(error, OSError) and error.errno is not None and not isinstance(error, gzip.BadGzipFile):
            raise
        raise Trouble(
            f"is damaged or no {what}",
            code="zip.damaged",
            where=name,
            found=f"{type(error).__name__}: {error}"[:200],
            remedy="copy it again from where it came",
        ) from None


def _gzip(path: Path, target: Path, name: str, take: Take) -> None:
    """One file, or the files of the tar that was packed."""
    inner = PurePosixPath(name.replace("\\", "/")).name
    inner = re.sub(r"\.tgz$", ".tar", inner, flags=re.IGNORECASE)
    inner = re.sub(r"\.gz$", "", inner, flags=re.IGNORECASE) or "unpacked"
    out = target / _plain(inner)
    with gzip.open(path) as source, out.open("xb") as sink:
        while block := source.read(_BLOCK):
            take(len(block), name)
            sink.write(block)
    with out.open("rb") as opened:
        packed = kind(opened.read(65536)) == "tar"
    if packed:
        beside = out.rename(target / ".tar")
        _tar(beside, target, name, lambda count, where: None)  # its bytes are counted already
        beside.unlink()


def _tar(path: Path, target: Path, name: str, take: Take) -> None:
    with tarfile.open(path, "r:") as packed:
        for number, member in enumerate(packed):
            if number >= MOST_FILES:
                raise Trouble(f"holds more than {MOST_FILES} files", code="zip.too-many-files", where=name)
            if member.isdir():
                continue
            where = f"{name}: {member.name}"
            if not member.isfile():
                raise Trouble(
                    "an entry is a link or a device", code="zip.link", where=where, remedy="pack the file it points to"
                )
            source = packed.extractfile(member)
            assert source is not None
            with _inside(target, member.name, name).open("xb") as sink:
                while block := source.read(_BLOCK):
                    take(len(block), where)
                    sink.write(block)


def _inside(target: Path, inner: str, name: str) -> Path:
    """Where a file of a packing goes, its folders made. Errors: Trouble where that is outside, or there already."""
    parts = PurePosixPath(inner.replace("\\", "/")).parts
    parts = parts[1:] if parts[:1] == (".",) else parts
    if not parts or inner.startswith(("/", "\\")) or ".." in parts or ":" in parts[0] or "\0" in inner:
        raise _leaves(name, inner)
    out = target.joinpath(*parts)
    out.parent.mkdir(parents=True, exist_ok=True)
    if out.exists():
        raise Trouble(
            "two entries have the same path", code="zip.path-twice", where=f"{name}: {inner}", remedy="pack it again"
        )
    return out


def _leaves(name: str, inner: str) -> Trouble:
    return Trouble(
        "a path leaves it",
        code="zip.path-leaves",
        where=name,
        found=repr(inner[:120]),
        expected="paths inside it",
        remedy="do not open it; ask who sent it",
    )


def _seven(path: Path, target: Path, name: str, take: Take) -> None:
    """By py7zr, in a process that holds no more memory than one file may: dictionaries can be of gigabytes."""
    with Confined(name, path.stat().st_size) as process:
        for inner, size in process.stream(listed_7z, str(path), name):
            _inside(target, str(inner), name)
            take(int(size), f"{name}: {inner}")
        for _ in process.stream(extracted_7z, str(path), str(target)):
            pass
    if any(p.is_symlink() for p in target.rglob("*")):
        raise Trouble("an entry is a link", code="zip.link", where=name, remedy="pack the file it points to")


def listed_7z(path: str, name: str) -> Iterator[list[object]]:
    """Path and size of each file of a 7z. Errors: Trouble where it is encrypted, has a link, or no library reads it."""
    try:
        import py7zr
    except ImportError:
        raise Trouble(
            "a library is missing that reads 7z",
            code="pack.library-missing",
            where=name,
            expected="py7zr",
            remedy="install muniment[sevenzip], or unpack it yourself",
        ) from None
    try:
        with py7zr.SevenZipFile(path) as packed:
            if packed.needs_password():
                raise Trouble(
                    "is encrypted",
                    code="zip.encrypted",
                    where=name,
                    remedy="unpack it with its password and hand in the files",
                )
            for member in packed.list():
                if member.is_symlink:
                    raise Trouble("an entry is a link", code="zip.link", where=f"{name}: {member.filename}")
                if not member.is_directory:
                    yield [member.filename, member.uncompressed]
    except py7zr.exceptions.PasswordRequired:
        raise Trouble(
            "is encrypted", code="zip.encrypted", where=name, remedy="unpack it with its password and hand in the files"
        ) from None
    except py7zr.Bad7zFile as error:
        raise Trouble(
            "is damaged or no 7z",
            code="zip.damaged",
            where=name,
            found=str(error)[:200],
            remedy="copy it again from where it came",
        ) from None


def extracted_7z(path: str, target: str) -> Iterator[int]:
    """Unpacks a 7z whose paths and sizes were looked at."""
    import py7zr

    with py7zr.SevenZipFile(path) as packed:
        packed.extractall(target)
    yield 1


def _mail(path: Path, target: Path, name: str, take: Take) -> None:
    if path.stat().st_size > MOST_MAIL:
        raise Trouble(
            f"a mail of more than {MOST_MAIL:,} bytes",
            code="zip.cannot-unpack",
            where=name,
            remedy="save its attachments and hand them in",
        )
    for file, content in attachments(path.read_bytes()):
        take(len(content), f"{name}: {file}")
        (target / file).write_bytes(content)


def attachments(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each attachment of a mail; names are plain and told apart."""
    seen: set[str] = set()
    for number, part in enumerate(parsed(data).walk()):
        if number >= MOST_PARTS:
            return
        file = "" if part.is_multipart() else part.get_filename() or ""
        if not file:
            continue
        file = _plain(PurePosixPath(file.replace("\\", "/")).name)
        while file.casefold() in seen:
            file = f"{len(seen) + 1}-{file}"
        seen.add(file.casefold())
        content = part.get_payload(decode=True)
        yield file, content if isinstance(content, bytes) else b""


def parsed(data: bytes) -> EmailMessage:
    """A mail with its fields decoded."""
    return email.message_from_bytes(data, policy=email.policy.default)


def _plain(name: str) -> str:
    """A file name that is safe in a folder: no control characters, no dot in front, at most 200 characters."""
    cleaned = "".join(c if c.isprintable() and c not in '/\\:"<>|?*' else "_" for c in name).strip().lstrip(".")
    return cleaned[-200:] or "attachment"
