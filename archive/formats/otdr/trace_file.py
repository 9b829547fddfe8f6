"""A trace file as its blocks, each decoded on its own: a damaged block is lost alone, and says so."""

from __future__ import annotations

from dataclasses import dataclass, field

from archive.formats.otdr import checksum, decode
from archive.formats.otdr.block_map import BlockMap, BlockSpan, read_map
from archive.formats.otdr.fields import BlockDamaged, Fields

STANDARD = ("GenParams", "SupParams", "FxdParams", "KeyEvents", "LnkParams", "DataPts", "Cksum")
"""Blocks that the layout describes; every other name is a maker's own."""


@dataclass
class TraceFile:
    """What a trace file holds. A block that is missing or damaged is None; damages say which and why.

    own_blocks: names of blocks that only their maker can read. repeated: names of blocks that stand more than once, of
    which the first was read. checksum: match, mismatch or absent; it decides nothing.
    """

    map: BlockMap
    general: decode.GeneralParameters | None = None
    supplier: decode.Supplier | None = None
    fixed: decode.FixedParameters | None = None
    key_events: decode.KeyEvents | None = None
    traces: tuple[decode.TracePoints, ...] = ()
    checksum: checksum.State = "absent"
    damages: list[BlockDamaged] = field(default_factory=list)
    own_blocks: list[str] = field(default_factory=list)
    repeated: list[str] = field(default_factory=list)


def parse(data: bytes) -> TraceFile:
    """Reads a file of either format. Errors: BlockDamaged where the map at its head cannot be read."""
    made = TraceFile(read_map(data))
    seen: set[str] = set()
    for block in made.map.blocks:
        if block.name not in STANDARD:
            made.own_blocks.append(block.name)
        elif block.name in seen:
            made.repeated.append(block.name)
        else:
            seen.add(block.name)
            try:
                _decode(made, data, block, made.map.body(data, block))
            except BlockDamaged as damage:
                made.damages.append(damage)
    return made


def _decode(made: TraceFile, data: bytes, block: BlockSpan, fields: Fields) -> None:
    """Puts one block's content in its place. Errors: BlockDamaged."""
    match block.name:
        case "GenParams":
            made.general = decode.general(fields, made.map.format)
        case "SupParams":
            made.supplier = decode.supplier(fields)
        case "FxdParams":
            made.fixed = decode.fixed(fields, made.map.format)
        case "KeyEvents":
            made.key_events = decode.key_events(fields, made.map.format)
        case "DataPts":
            made.traces = decode.data_points(fields)
        case "Cksum":
            made.checksum = checksum.state(data, fields.u16(), block.start + block.size - 2)
