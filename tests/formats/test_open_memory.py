"""Reading needs no more memory for a larger document: a ceiling, taken in a process of its own.

The endurance run does the same with a document of 2 GB (tests/endurance/open_forms.py).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.endurance.open_forms import MEASURE, grow

MEGABYTES = 90
CEILING = 450
"""Megabytes. Measured: 290 for open XML, 370 to 410 for CSV by the release of Arrow, of which 75 to 150 are the
libraries; a CSV of twice the size takes 15 more."""


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="the peak of memory is read from Linux's /proc")
@pytest.mark.parametrize("form", ["xml", "csv"])
def test_reading_stays_below_a_ceiling(tmp_path: Path, form: str) -> None:
    path, records = grow(tmp_path, form, MEGABYTES)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True, timeout=300
    )
    read, peak = map(int, done.stdout.split())
    assert read == records
    assert peak < CEILING
