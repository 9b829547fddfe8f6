"""Packings other than zips (gzip, tar, 7z, mail), changed with their structure in mind.

Sizes, offsets, kinds and names are changed and what is checked over them is made right again, so that a change gets
past the first look. Sources of the structures: RFC 1952 (gzip), POSIX.1-2017 pax (tar), the description of 7z in the
public domain that py7zr follows, RFC 5322 and 2045 (mail).
"""

from __future__ import annotations

import gzip
import random
import re
import struct
import tarfile
import zlib
from collections.abc import Callable, Iterator
from email.message import EmailMessage
from functools import partial
from io import BytesIO

import py7zr

from tests.endurance.fuzz_changes import INTS, PIECES, TEXTS, changed, number, overwritten
from tests.endurance.fuzz_specimens import FIXTURES, Specimen, read


def _inner() -> dict[str, bytes]:
    """Files to pack: the open form, an export that no mapping reads, and a folder's name that is not ASCII."""
    record = (FIXTURES / "conformance" / "good" / "minimal.xml").read_bytes()
    return {"week/job.xml": record, "week/Prüfung.csv": b"Link;Verdict\n1A-A01;pass\n", "readme.txt": b"invented\n"}


def _in_gzip(data: bytes, draw: random.Random) -> bytes:
    """What is packed, in one member or several; fields of the head; the digest and the size at the end."""
    try:
        held = gzip.decompress(data)
    except (OSError, EOFError, zlib.error):
        return changed(data, draw)
    held = (_in_tar if held[257:262] == b"ustar" else changed)(held, draw)
    cut = draw.randint(0, len(held))
    parts = [held] if draw.random() < 0.7 else [held[:cut], held[cut:], b""]
    out = b"".join(gzip.compress(part, draw.choice((0, 1, 9))) for part in parts)
    match draw.randrange(5):
        case 0:
            out = overwritten(out, draw.choice((3, 4, 8, 9)), bytes([draw.randrange(256)]))
        case 1:
            out = overwritten(out, len(out) - draw.choice((4, 8)), number(draw, 4))
        case 2:
            out += draw.choice((bytes(512), b"\x1f\x8b", draw.choice(PIECES)))
    return out


_TAR_FIELDS = {"name": (0, 100), "mode": (100, 8), "size": (124, 12), "mtime": (136, 12), "kind": (156, 1)} | {
    "linkname": (157, 100),
    "magic": (257, 8),
    "prefix": (345, 155),
}
_TAR_VALUES = {
    "name": (
        b"../x",
        b"/etc/x",
        b"a/../../x",
        b"C:/x",
        b"",
        b".",
        b"./",
        b"a\\..\\..\\x",
        b"\xff\xfe",
        b"x" * 100,
        b"a//b",
    ),
    "size": (b"77777777777\0", b"-1\0", b"\xff" * 12, b"\x80" + b"\xff" * 11, b"0\0", b"abc\0", b"00000000001\0"),
    "kind": tuple(bytes([k]) for k in b"01234567gxXLKSDMNV\0"),
}


def _in_tar(data: bytes, draw: random.Random) -> bytes:
    """Fields of the heads of members, with the checksum over them right; members added, left out, swapped; padding."""
    try:
        with tarfile.open(fileobj=BytesIO(data), mode="r:") as packed:
            heads = [m.offset for m in packed.getmembers()]
    except (tarfile.TarError, ValueError, UnicodeError, OverflowError):
        heads = []
    if not heads:
        return changed(data, draw)
    at = draw.choice(heads)
    match draw.randrange(6):
        case 0 | 1 | 2:
            field = draw.choice(list(_TAR_FIELDS))
            offset, size = _TAR_FIELDS[field]
            value = draw.choice((*_TAR_VALUES.get(field, ()), draw.choice(TEXTS)))[:size].ljust(size, b"\0")
            data = overwritten(data, at + offset, value)
        case 3:
            data = data[:at] + data[at : at + 1024] * draw.choice((2, 40)) + data[at + 1024 :]
        case 4:
            record = b"path=" + draw.choice((*_TAR_VALUES["name"], draw.choice(TEXTS))) + b"\n"
            claim = draw.choice((len(record) + 3, 0, 9_999_999_999, -1))
            body = b"%d " % claim + record
            head = tarfile.TarInfo("pax")
            head.type, head.size = tarfile.XHDTYPE, len(body)
            data = data[:at] + head.tobuf() + body.ljust(-len(body) // 512 * -512, b"\0") + data[at:]
        case _:
            return data[: draw.randint(0, len(data))] if draw.random() < 0.5 else changed(data, draw)
    return _checksums(data, heads)


def _checksums(data: bytes, heads: list[int]) -> bytes:
    made = bytearray(data)
    for at in heads:
        head = made[at : at + 512]
        if len(head) == 512:
            head[148:156] = b" " * 8
            made[at + 148 : at + 156] = b"%06o\0 " % sum(head)
    return bytes(made)


_SEVEN_BYTES = (0, 1, 2, 5, 6, 0x0B, 0x11, 0x17, 0x7F, 0x80, 0xC0, 0xFE, 0xFF)
"""Kinds of properties, and numbers of one byte and of several."""


def _in_seven(data: bytes, draw: random.Random) -> bytes:
    """Bytes of the header at the end, with its size, offset and digests right; or what is packed."""
    if draw.random() < 0.3:
        files = _inner()
        name = draw.choice(list(files))
        return _seven({**files, name: changed(files[name], draw)}, None, plain=True)
    if len(data) < 32:
        return changed(data, draw)
    offset, size = struct.unpack("<QQ", data[12:28])
    body, header = data[32 : 32 + offset], bytearray(data[32 + offset : 32 + offset + size])
    if not header or draw.random() < 0.15:
        return changed(data, draw)
    for _ in range(draw.choice((1, 1, 2, 4))):
        at = draw.randrange(len(header))
        match draw.randrange(5):
            case 0 | 1:
                header[at] = draw.choice(
                    (0, 1, 2, 5, 6, 0x0B, 0x11, 0x17, 0x7F, 0x80, 0xC0, 0xFE, 0xFF, draw.randrange(256))
                )
            case 2:
                header[at : at + 1] = draw.choice((b"", number(draw, 4), number(draw, 8), bytes(30)))
            case 3:
                body = changed(body, draw) if body else body
            case _:
                names = header.find(b"j\0o\0b\0")
                if names >= 0:
                    header[names : names + 6] = draw.choice(("../", "/ab", "C:/", "a\0b", "\ud800"[:1] * 3)).encode(
                        "utf-16-le", "surrogatepass"
                    )
    start = struct.pack("<QQI", len(body), len(header), zlib.crc32(header))
    if draw.random() < 0.1:
        start = struct.pack("<QQI", draw.choice(INTS), draw.choice(INTS), zlib.crc32(header))
    return data[:8] + struct.pack("<I", zlib.crc32(start)) + start + body + bytes(header)


def _seven(files: dict[str, bytes], filters: list[dict[str, int]] | None, *, plain: bool, password: str = "") -> bytes:
    out = BytesIO()
    with py7zr.SevenZipFile(out, "w", filters=filters, password=password or None) as packed:
        packed.set_encoded_header_mode(not plain)
        for name, held in files.items():
            packed.writestr(held, name)
    return out.getvalue()


_MAIL_WORDS = (
    *(b"base64 quoted-printable 7bit 8bit x-uuencode binary utf-8 utf-7 utf-16 us-ascii iso-2022-kr".split()),
    *(b"multipart/mixed multipart/alternative multipart/digest message/rfc822 message/partial text/html".split()),
    *(b"message/delivery-status application/ms-tnef inline attachment boundary name* filename*0*".split()),
    *(b"=?utf-8?B?////?= =?x?Q?=FF?= =?utf-8?q?=0A..?= utf-8''%2e%2e%2fx".split()),
)


_MAIL_FIELDS = (b"Content-Type: ", b"Content-Disposition: attachment; filename=", b"Subject: ", b"From: ")


def _in_mail(data: bytes, draw: random.Random) -> bytes:
    """Words of its fields become other words of fields; boundaries, parts and encodings are moved about."""
    for _ in range(draw.choice((1, 2, 4))):
        match draw.randrange(5):
            case 0 | 1:
                found = list(re.finditer(rb"[\w/.+*-]{3,40}", data[:6_000]))
                if found:
                    hit = draw.choice(found)
                    word = draw.choice((*_MAIL_WORDS, draw.choice(TEXTS), draw.choice(found)[0]))
                    data = data[: hit.start()] + word + data[hit.end() :]
            case 2:
                lines = [m.start() for m in re.finditer(rb"^--=", data, re.MULTILINE)] or [0]
                at, to = draw.choice(lines), draw.choice(lines)
                data = data[:to] + data[at : at + 400] * draw.choice((1, 1, 60)) + data[to:]
            case 3:
                new = draw.choice(
                    (b"Content-Type: ", b"Content-Disposition: attachment; filename=", b"Subject: ", b"From: ")
                )
                at = draw.choice([m.end() for m in re.finditer(rb"\n", data[:6_000])] or [0])
                data = data[:at] + new + draw.choice((*_MAIL_WORDS, draw.choice(TEXTS))) + b"\n" + data[at:]
            case _:
                data = changed(data, draw)
    return data


def _mail(files: dict[str, bytes], *, inside: int = 0) -> bytes:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = "crew@quay.example", "records@quay.example", "Ergebnisse für Etage 2"
    mail["Message-ID"] = "<1@quay.example>"
    mail.set_content("Here they are: grüße\n")
    mail.add_alternative("<p>Here they are</p>", subtype="html")
    for name, held in files.items():
        mail.add_attachment(held, maintype="application", subtype="octet-stream", filename=name.rpartition("/")[2])
    mail.add_attachment("Link;Verdict\n1A-A02;pass\n", filename="text.csv")
    if inside:
        inner = EmailMessage()
        inner["From"], inner["Subject"], inner["Message-ID"] = "x@quay.example", "forwarded", "<2@quay.example>"
        inner.set_content("as before")
        for name, held in files.items():
            inner.add_attachment(held, maintype="text", subtype="xml", filename=f"inner-{name.rpartition('/')[2]}")
        mail.add_attachment(inner)
    for at, part in enumerate(p for p in mail.walk() if p.get_content_maintype() == "multipart"):
        part.set_boundary(f"=={at}==invented==")  # else another one in each run
    return mail.as_bytes()


def _tar(files: dict[str, bytes], mode: str, form: int) -> bytes:
    out = BytesIO()
    with tarfile.open(fileobj=out, mode=mode, format=form) as packed:  # type: ignore[call-overload]
        for name, held in files.items():
            info = tarfile.TarInfo(name)
            info.size = len(held)
            packed.addfile(info, BytesIO(held))
    return out.getvalue()


def _one(name: str, data: bytes, change: Callable[[bytes, random.Random], bytes]) -> Specimen:
    return Specimen({name: data}, [name], read, change)


def _gzips() -> Iterator[Specimen]:
    files = _inner()
    yield _one("job.xml.gz", gzip.compress(files["week/job.xml"]), _in_gzip)
    yield _one("job.tgz", _tar(files, "w:gz", tarfile.PAX_FORMAT), _in_gzip)
    yield _one("job.gz", gzip.compress(gzip.compress(_tar(files, "w", tarfile.GNU_FORMAT))), _in_gzip)


def _tars() -> Iterator[Specimen]:
    files = _inner()
    for form in (tarfile.PAX_FORMAT, tarfile.GNU_FORMAT, tarfile.USTAR_FORMAT):
        yield _one("job.tar", _tar(files, "w", form), _in_tar)
    long = {f"{'long ' * 60}/{'é' * 90}.xml": files["week/job.xml"], "in.tar": _tar(files, "w", tarfile.PAX_FORMAT)}
    yield _one("job.tar", _tar(long, "w", tarfile.GNU_FORMAT), _in_tar)


def _sevens() -> Iterator[Specimen]:
    make = partial(_seven, _inner())
    for method in (py7zr.FILTER_LZMA2, py7zr.FILTER_COPY, py7zr.FILTER_DEFLATE, py7zr.FILTER_BZIP2):
        filters = [{"id": method}] if method != py7zr.FILTER_LZMA2 else None
        for plain in (True, False):
            yield _one("job.7z", make(filters, plain=plain), _in_seven)
    yield _one("job.7z", make(None, plain=True, password="invented"), _in_seven)


def _mails() -> Iterator[Specimen]:
    files = _inner()
    yield _one("results.eml", _mail(files), _in_mail)
    yield _one("results.eml", _mail({"job.tgz": _tar(files, "w:gz", tarfile.PAX_FORMAT)}), _in_mail)
    yield _one("results.eml", _mail(files, inside=1), _in_mail)
    yield _one("results.eml", _mail({"again.eml": _mail(files)}), _in_mail)


READERS: dict[str, Callable[[], Iterator[Specimen]]] = {
    "gzip": _gzips,
    "tar": _tars,
    "7z": _sevens,
    "mail": _mails,
}
