"""Frames of a mapping become the tables."""

from __future__ import annotations

from archive.formats.mapping.build.builder import Builder

__all__ = ["Builder"]
