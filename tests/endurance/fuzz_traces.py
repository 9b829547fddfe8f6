"""Optical traces, changed with their structure in mind: fields, texts, blocks, and what the map says of them.

Source of the structure: OTDR-RFC in schemas/sources.toml.
"""

from __future__ import annotations

import random
import re
import struct
from collections.abc import Callable, Iterator
from dataclasses import replace

from archive.demo.backbone.trace_bytes import trace_file
from archive.formats.otdr.block_map import BlockMap, BlockSpan, read_map
from tests.endurance.fuzz_changes import INTS, TEXTS, changed, number, overwritten
from tests.endurance.fuzz_specimens import Specimen, read
from tests.formats.otdr.otdr_making import content


def _in_trace(data: bytes, draw: random.Random) -> bytes:
    """Fields, texts, blocks and what the map says of them."""
    try:
        found = read_map(data)
    except Exception:  # noqa: BLE001 - a second change of what is no trace any more
        return changed(data, draw)
    blocks = [(b, data[b.start : b.start + b.size]) for b in found.blocks]
    for _ in range(draw.choice((1, 1, 2, 3, 6))):
        at = draw.randrange(len(blocks))
        span, body = blocks[at]
        place = draw.randint(min(len(body), len(span.name) + 1), len(body))
        match draw.randrange(7):
            case 0 | 1:
                body = overwritten(body, place, number(draw, draw.choice((2, 4))))
            case 2:
                body = body[:place] + body[place + draw.choice((1, 2, 4, 22, 500)) :]
            case 3:
                body = body[:place] + draw.choice((draw.choice(TEXTS), b"\0", bytes(40))) + body[place:]
            case 4:
                texts = list(re.finditer(rb"[ -~]{2,}\0", body))
                if texts:
                    hit = draw.choice(texts)
                    body = body[: hit.start()] + draw.choice(TEXTS) + body[hit.end() - 1 :]
            case 5:
                other = draw.randrange(len(blocks))
                blocks[at], blocks[other] = blocks[other], blocks[at]
                continue
            case _:
                blocks[at : at + 1] = [blocks[at]] * draw.choice((0, 2, 2, 30)) or blocks[:1]
                continue
        blocks[at] = span, body
    lies = draw.random() < 0.2
    return _mapped(found, blocks, draw if lies else None)


def _mapped(found: BlockMap, blocks: list[tuple[BlockSpan, bytes]], lying: random.Random | None) -> bytes:
    listed = b""
    for span, body in blocks:
        size = len(body) if lying is None or lying.random() < 0.7 else lying.choice(INTS)
        listed += span.name.encode("latin-1") + b"\0" + struct.pack("<HI", span.revision, size)
    count = len(blocks) + 1 if lying is None or lying.random() < 0.7 else lying.choice(INTS[:8])
    name = b"Map\0" if found.format == 2 else b""
    head = name + struct.pack("<HIH", found.revision, len(name) + 8 + len(listed), count)
    return head + listed + b"".join(body for _, body in blocks)


def _traces() -> Iterator[Specimen]:
    made = content()
    few = replace(made, events=made.events[:2], levels_db=made.levels_db[:300])
    none = replace(made, events=())
    both = {"F1_1310.sor": trace_file(made), "F1_1550.sor": trace_file(replace(made, nm=1550.0))}
    first = replace(made, form=1, own_blocks=[("OwnBlock", b"invented bytes")])
    for files in (both, *({"F2.sor": trace_file(one)} for one in (few, none, first))):
        yield Specimen(files, list(files), read, _in_trace)


READERS: dict[str, Callable[[], Iterator[Specimen]]] = {"traces": _traces}
