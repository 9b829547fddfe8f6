"""The command, where the folder `archive` is still ours.

Another distribution may bring a folder of the same name. Whichever is installed last, or taken away, then writes over
files of the other, without a word from the installer. This can only tell of it.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Runs the command; where another distribution has taken the folder, says so in one line and ends with 2."""
    try:
        import archive
    except Exception:  # noqa: BLE001 - whatever stands there instead may do anything
        ours = False
    else:
        ours = getattr(archive, "DISTRIBUTION", "") == "muniment"
    if ours:
        try:
            from archive.cli import main as run
        except ImportError as error:
            if not (error.name or "").startswith("archive"):
                raise
        else:
            run()
            return
    sys.stderr.write(f"{_told()}\n")
    sys.exit(2)


def _told() -> str:
    others = ", ".join(_others()) or "another distribution"
    return (
        f"muniment: its folder `archive` was written over, or taken away, by {others}. Install muniment in an "
        "environment of its own (python -m venv), and the other one anew where it was"
    )


def _others() -> list[str]:
    """Names of other distributions that have, by their own list, files in a folder `archive`."""
    from importlib.metadata import distributions

    found = set()
    for distribution in distributions():
        name = distribution.metadata["Name"]
        if name != "muniment" and any(path.parts[0] == "archive" for path in distribution.files or ()):
            found.add(name)
    return sorted(found)
