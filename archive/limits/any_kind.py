"""Limits of curves and of optical links side by side, for those who only pass their ids on."""

from __future__ import annotations

from pathlib import Path

from archive.limits import fiber, library


def all_ids() -> tuple[str, ...]:
    """Every id of a limit or an application, those of curves first."""
    return (*library.ids(), *fiber.ids())


def is_established(limit_id: str) -> bool:
    """Whether anything can be graded against a limit. Errors: Trouble for an unknown id."""
    if fiber.known(limit_id):
        found = fiber.get(limit_id)
        return not isinstance(found, fiber.OpticalLimit) or found.established
    return bool(library.get(limit_id).lines)


def files_of(limit_id: str) -> tuple[Path, ...]:
    """Every file that a limit's numbers rest on. Errors: Trouble for an unknown id."""
    return fiber.files(limit_id) if fiber.known(limit_id) else library.get(limit_id).files
