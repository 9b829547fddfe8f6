"""The child process of a piece of work of the desk: it signs as the commands of this user do."""

from __future__ import annotations

import sys
from pathlib import Path


def main() -> None:
    """Does the work whose folder is named."""
    from archive.cli import signer
    from archive.room.desk.worker import run

    run(Path(sys.argv[1]), signer.sign)
