"""What `muniment limits` does with limits of optical links."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from archive.cli.common import print_json, print_line, print_next, print_text, say
from archive.limits import confirm as confirming
from archive.limits import fiber
from archive.limits.fiber import OpticalApplication, OpticalLimit, confirmed, worksheet
from archive.limits.fiber import show as shown

OpticalBound = OpticalLimit | OpticalApplication


def named(words: str) -> OpticalBound | None:
    """The optical limit or application that an id or free words name; None where they name none."""
    from archive.grading.fiber import asked_for

    found, _ = asked_for([words])
    if found:
        return found[0]
    meant = None if words.endswith(".toml") else fiber.find(words)
    return fiber.get(meant.limit_id) if meant is not None and meant.limit_id else None


def listed(limit: OpticalBound) -> dict[str, Any]:
    """A row of `limits list --json`."""
    link = limit if isinstance(limit, OpticalLimit) else None
    return {
        "limit": limit.id,
        "edition": limit.id.split("/")[0],
        "title": limit.title,
        "established": link is None or link.established,
        "confidence": limit.confidence or None,
        "range_mhz": None,
        "configuration": link.configuration if link else None,
        "connections": None,
        "same_as": None,
        "confirmations": list(link.confirmations) if link else [],
    }


def state(limit: OpticalBound) -> str:
    """A line of `limits list`."""
    if isinstance(limit, OpticalApplication):
        return f"{limit.confidence}  over {', '.join(f.upper() if f[0] == 'o' else f for f in limit.fibers)}"
    if not limit.established:
        return "-  limit not established"
    return f"{limit.confidence}  {', '.join(f'{nm:g}' for nm in limit.coefficients)} nm"


def show(limit: OpticalBound, lengths: Sequence[str], as_json: bool) -> None:
    """`limits show`."""
    if as_json:
        print_json(shown.document(limit, lengths))
    else:
        print_text(shown.text(limit, lengths))


def confirm(limit: OpticalBound, file: str | None, as_json: bool, quiet: bool) -> bool:
    """`limits confirm`, and withdrawing where no file is given; whether something is left open. Errors: Trouble."""
    if not isinstance(limit, OpticalLimit):
        raise worksheet.of_application(limit.id)
    left: list[str] = []
    if file is None:
        kept = list(confirming.withdraw(limit.id))
    else:
        path = Path(file)
        content = path.read_bytes()
        if path.suffix.lower() == ".csv":
            content, left = worksheet.read(limit, path)
        kept = [confirmed.keep(limit, content, path)]
    now = fiber.get(limit.id)
    assert isinstance(now, OpticalLimit)
    if as_json:
        print_json({"limit": limit.id, "kept": [str(p) for p in kept], "confirmations": list(now.confirmations),
                    "left": left, "confidence": now.confidence or None})  # fmt: skip
        return bool(left)
    for confirmation in now.confirmations:
        say(confirmation, quiet=quiet)
    say(
        f"{limit.id}: {'withdrawn' if file is None else 'kept in'} {', '.join(map(str, kept)) or 'nothing'}",
        quiet=quiet,
    )
    for name in left:
        print_line(f"not confirmed: {name}")
    if not quiet:
        print_next("limits", "show", limit.id)
    return bool(left)
