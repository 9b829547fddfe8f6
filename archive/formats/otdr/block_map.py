"""The map of a trace file: which blocks it has, and where.

Format 2 begins with the word Map, and each block with its own name; in format 1 the file begins with the version and
blocks carry no name. Format 1 is known from descriptions alone: no file of it was read here.
Source: OTDR-RFC in schemas/sources.toml.
"""

from __future__ import annotations

from dataclasses import dataclass

from archive.formats.otdr.fields import BlockDamaged, Fields

MOST_BLOCKS = 1000
"""A map that claims more is not one."""


@dataclass(frozen=True)
class BlockSpan:
    """A block: its name and revision (200 is 2.00), where its bytes start in the file, and how many it claims."""

    name: str
    revision: int
    start: int
    size: int


@dataclass(frozen=True)
class BlockMap:
    """format: 1 or 2. revision of the map. blocks in the order of the file, without the map itself."""

    format: int
    revision: int
    blocks: tuple[BlockSpan, ...]

    def body(self, data: bytes, block: BlockSpan) -> Fields:
        """The fields of a block, after its own name. Errors: BlockDamaged where the block is not where the map says."""
        found = data[block.start : block.start + block.size]
        if len(found) < block.size:
            raise BlockDamaged(
                "the file ends within the block",
                place=f"block {block.name}",
                found=f"{len(found)} bytes",
                expected=f"{block.size} bytes",
            )
        if self.format == 1:
            return Fields(found, block.name)
        name = block.name.encode("latin-1", "replace") + b"\0"
        if not found.startswith(name):
            raise BlockDamaged(
                "the block does not begin with its name", place=f"block {block.name}", found=repr(found[:12])
            )
        return Fields(found, block.name, len(name))


def is_map(head: bytes) -> bool:
    """Whether these first bytes (64 or more) are those of a trace file of either format."""
    if head.startswith(b"Map\0"):
        return True
    return head[:2] == b"\x64\x00" and b"GenParams\0" in head[:64]


def read_map(data: bytes) -> BlockMap:
    """The map at the head of a file. Errors: BlockDamaged where it is not whole."""
    second = data.startswith(b"Map\0")
    fields = Fields(data, "Map", 4 if second else 0)
    revision, size, count = fields.u16(), fields.u32(), fields.u16()
    if not 1 <= count <= MOST_BLOCKS:
        raise fields.damage("the map claims an impossible number of blocks", found=str(count))
    start, blocks = size, []
    for _ in range(count - 1):  # the map counts itself
        name, block_revision, block_size = fields.text(), fields.u16(), fields.u32()
        blocks.append(BlockSpan(name, block_revision, start, block_size))
        start += block_size
    return BlockMap(2 if second else 1, revision, tuple(blocks))
