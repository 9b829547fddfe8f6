"""Files that leave the room: always as attachments, never shown on the room's own address."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from urllib.parse import quote

from starlette.responses import Response

_WHEN = (1980, 1, 1, 0, 0, 0)
_SANDBOX = "default-src 'none'; sandbox"


def download(data: bytes | str, name: str, media_type: str = "application/octet-stream") -> Response:
    """A file to keep. name: as a person gave it; a browser gets it as data (RFC 6266, with the form of RFC 8187)."""
    bare = name.replace("\\", "/").rpartition("/")[2] or "file"
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._- ") else "_" for c in bare)
    headers = {
        "content-disposition": f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(bare, safe='')}",
        "content-security-policy": _SANDBOX,
    }
    return Response(data, media_type=media_type, headers=headers)


def zipped(folder: Path) -> bytes:
    """A folder as a zip with its own name before each path; the same folder gives the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            info = zipfile.ZipInfo(f"{folder.name}/{path.relative_to(folder).as_posix()}", _WHEN)
            packed.writestr(info, path.read_bytes(), zipfile.ZIP_DEFLATED)
    return out.getvalue()
