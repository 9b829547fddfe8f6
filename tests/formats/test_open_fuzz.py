"""Whatever is done to a good document, a reader gives batches or one line of trouble, never a traceback."""

from __future__ import annotations

import io
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats.open_csv import METADATA
from archive.tables.sound import sound
from tests.formats import conformance_kit as kit

ROUNDS = int(os.environ.get("MUNIMENT_FUZZ", "40"))
"""Damaged documents of each kind; more by hand."""

# Pieces that break parsers, put in at random places.
PIECES = [b"<", b">", b"&", b'"', b"'", b"\0", b"\xff", b"\xc3", b"NaN", b"INF", b"-", b"1e", b"1e999", b" ", b"\n"]
PIECES += [
    b"\r\n",
    b"]]>",
    b"<!--",
    b"<!DOCTYPE a>",
    b"&#0;",
    b"&a;",
    b"\\u{110000}",
    b"\\u{d800}",
    b"\\",
    b"\\N",
    b",",
]
PIECES += [b'""', b"=", b"\xef\xbf\xbe", b"\xe2\x80\xa8", b"-9223372036854775809", b"0001-01-01", b"\x1b[31m"]
PIECES += [b" xmlns='urn:a'"]


def damaged(whole: bytes, chance: np.random.Generator) -> bytes:
    """One to three changes: a piece put in or over, a stretch taken out or doubled, a flipped byte, a cut end."""
    for _ in range(int(chance.integers(1, 4))):
        at, length = int(chance.integers(len(whole) + 1)), int(chance.integers(1, 40))
        piece = PIECES[int(chance.integers(len(PIECES)))]
        flipped = bytes([whole[at] ^ (1 << int(chance.integers(8)))]) if at < len(whole) else b""
        whole = [
            whole[:at] + piece + whole[at:],
            whole[:at] + piece + whole[at + len(piece) :],
            whole[:at] + whole[at + length :],
            whole[:at] + whole[at : at + length] + whole[at:],
            whole[:at] + flipped + whole[at + 1 :],
            whole[:at] + flipped + whole[at + 1 :],
            whole[:at],
        ][int(chance.choice(7, p=[0.25, 0.2, 0.15, 0.15, 0.1, 0.1, 0.05]))]
    return whole


def _survives(path: Path) -> None:
    try:
        for batch in archive.formats.read(path, draft=False):
            sound(batch)
    except Trouble as trouble:
        assert "\n" not in str(trouble)


@pytest.mark.parametrize("name", ["every-table", "texts", "numbers"])
def test_damaged_xml(tmp_path: Path, name: str) -> None:
    whole = (kit.KIT / "good" / f"{name}.xml").read_bytes()
    for seed in range(ROUNDS):
        # The start stays, so that the document is still taken for ours.
        path = tmp_path / f"{name}-{seed}.xml"
        path.write_bytes(whole[:120] + damaged(whole[120:], np.random.default_rng(seed)))
        _survives(path)


@pytest.mark.parametrize("name", ["every-table", "texts", "numbers"])
def test_damaged_csv(tmp_path: Path, name: str) -> None:
    with zipfile.ZipFile(io.BytesIO((kit.KIT / "good" / f"{name}.zip").read_bytes())) as packed:
        files = {n: packed.read(n) for n in packed.namelist()}
    filled = [n for n, content in files.items() if n != METADATA and content.count(b"\n") > 1]
    for seed in range(ROUNDS):
        chance = np.random.default_rng(seed)
        chosen = filled[int(chance.integers(len(filled)))]
        folder = tmp_path / str(seed)
        folder.mkdir()
        for n, content in files.items():
            (folder / n).write_bytes(damaged(content, chance) if n == chosen else content)
        _survives(folder)


def test_damaged_zip(tmp_path: Path) -> None:
    whole = (kit.KIT / "good" / "one-sweep.zip").read_bytes()
    for seed in range(ROUNDS):
        path = tmp_path / f"{seed}.zip"
        path.write_bytes(damaged(whole, np.random.default_rng(seed)))
        _survives(path)
