"""Numbers and words in text that somebody made long."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from archive.formats.base import numbers
from archive.formats.base.numbers import Writing
from archive.formats.draft.sniff import _BEYOND_ASCII


def test_steps_beside_text_that_is_longer_in_bytes_than_in_letters() -> None:
    """A point behind many letters that UTF-8 writes in two bytes: its place is counted in bytes."""
    found = numbers.read(pa.array(["70.25", "ü" * 5_000 + ".5", "12", None]), Writing())
    assert found.values[0] == 70.25
    assert found.values[2] == 12.0
    assert np.isnan(found.values[1])
    assert found.step[0] == 0.01
    assert found.step[2] == 1.0


def test_words_beyond_ascii_are_found_in_one_pass() -> None:
    """A run of a million letters was tried from each of them, which nothing interrupts."""
    text = "A" * 1_000_000 + " Länge °C µ"
    assert _BEYOND_ASCII.findall(text) == ["Länge", "°C", "µ"]
