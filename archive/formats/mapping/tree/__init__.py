"""XML and JSON: records are members of a tree, and their tables are repeated members below."""

from __future__ import annotations

from archive.formats.mapping.tree.tree_chunks import chunks

__all__ = ["chunks"]
