"""Small helpers of layouts: numbers and dates as text."""

from __future__ import annotations

import io
import zipfile
from typing import Any

FT = 0.3048


def num(value: float | None, decimals: int = 1, comma: bool = False) -> str:
    """A number with fixed decimals."""
    if value is None or value != value:
        return ""
    text = f"{value:.{decimals}f}"
    return text.replace(".", ",") if comma else text


def short(value: float) -> str:
    """A number without needless zeros."""
    return f"{value:g}"


def contacts(pairing: str) -> str:
    """12-36 for 1-2/3-6."""
    return pairing.replace("-", "").replace("/", "-")


def zipped(files: dict[str, bytes]) -> bytes:
    """A zip with fixed times."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def lines(rows: list[list[Any]], mark: str, end: str = "\n") -> str:
    """Rows of cells as delimited text, quoted where needed."""

    def cell(c: Any) -> str:
        text = "" if c is None else str(c)
        if mark in text or '"' in text or "\n" in text:
            return '"' + text.replace('"', '""') + '"'
        return text

    return end.join(mark.join(cell(c) for c in r) for r in rows) + end
