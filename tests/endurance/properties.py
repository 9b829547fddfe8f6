"""The property tests with other examples each time. The suite itself runs them from fixed seeds (tests/conftest.py).

What is found here is kept: as an `@example(...)` on the test that it breaks, and then the program or the claim of the
test is corrected.
"""

from __future__ import annotations

import os
import re
import secrets
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[2]


def rounds(seconds: float, where: str = "tests") -> Iterator[dict[str, Any]]:
    """Runs the property tests below a folder, round after round, each with a seed of its own, until the time is up.

    Errors: AssertionError with the example that breaks a property.
    """
    until = time.monotonic() + seconds
    while True:
        seed = secrets.randbelow(2**32)
        command = [sys.executable, "-m", "pytest", "-q", "-m", "hypothesis", "-p", "no:cacheprovider"]
        made = subprocess.run(
            [*command, f"--hypothesis-seed={seed}", where],
            cwd=TOP,
            check=False,
            env={**os.environ, "MUNIMENT_PROPERTIES": "random"},
            capture_output=True,
            text=True,
        )
        assert made.returncode == 0, f"seed {seed} finds:\n{made.stdout[-8000:]}{made.stderr[-2000:]}"
        passed = re.search(r"(\d+) passed", made.stdout)
        assert passed, made.stdout
        yield {"what": "property tests", "seed": seed, "tests": int(passed[1])}
        if time.monotonic() >= until:
            return
