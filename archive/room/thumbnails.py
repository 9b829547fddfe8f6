"""Small pictures of filed photographs. They come from strangers: each is decoded in a process of its own, within
bounds, and drawn anew as a PNG; nothing of the file itself reaches the page."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from typing import Any

from starlette.responses import Response

from archive.confined import Confined
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.documents import filed

_SIDE = 320
_MOST_BYTES = 20_000_000
_MOST_PIXELS = 120_000_000
_ENDINGS = (".png", ".jpg", ".jpeg")


def may_be_shown(document: Mapping[str, Any]) -> bool:
    """Whether a document may have a small picture, by its name and size alone."""
    name = str(document["file_name"] or "").casefold()
    return bool(document["path"]) and name.endswith(_ENDINGS) and (document["bytes"] or 0) <= _MOST_BYTES


def page(asked: PageRequest) -> Response:
    """The small picture of a document. Errors: Trouble where it cannot be drawn."""
    name, data = filed(asked)
    if len(data) > _MOST_BYTES:
        raise Trouble("it is too large for a small picture", code="room.no-picture", where=name)
    with Confined(name, len(data)) as process:
        drawn = next(iter(process.stream(draw, data)), None)
    if drawn is None:
        raise Trouble("no picture can be drawn of it", code="room.no-picture", where=name)
    return Response(drawn, media_type="image/png")


def draw(data: bytes) -> Iterator[bytes]:
    """A PNG of at most _SIDE pixels a side; nothing where the bytes are no PNG or JPEG that can be decoded."""
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = _MOST_PIXELS
    try:
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as found:
            found.draft("RGB", (_SIDE, _SIDE))
            small = ImageOps.exif_transpose(found)
            small.thumbnail((_SIDE, _SIDE))
            out = io.BytesIO()
            small.convert("RGB").save(out, "PNG")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return
    yield out.getvalue()
