"""Writes fixtures/exports/: every invented export and its truth. Seeded: it gives the same bytes each time.

    python tests/formats/mapping/make_fixtures.py

The mapping of each layout (mapping.toml beside it) is kept by hand: drafted once, then corrected.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from invented.all import LAYOUTS

from archive import formats

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "exports"


def main() -> None:
    """Writes all."""
    for name, layout in LAYOUTS.items():
        files, truth = layout()
        folder = FOLDER / name
        folder.mkdir(parents=True, exist_ok=True)
        for file, data in files.items():
            (folder / file).write_bytes(data)
        formats.write([truth.batch()], folder / "truth.zip", "csv", replace=True)


if __name__ == "__main__":
    main()
