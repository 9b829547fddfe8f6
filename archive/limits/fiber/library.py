"""All optical limits and applications by id."""

from __future__ import annotations

import difflib
from functools import cache
from pathlib import Path

from archive import schemas
from archive.errors import Trouble
from archive.limits.confirm import stored
from archive.limits.fiber.application import OpticalApplication
from archive.limits.fiber.confirmed import applied
from archive.limits.fiber.declared import APPLICATIONS, LIMITS, OpticalEdition, applications_file, limits_file
from archive.limits.fiber.link_limit import REFERENCE_GRADE, OpticalLimit, kind_of
from archive.vocabulary.limit_words import EVENTS

EXPORTED = "export/own-limit"
"""Id under which a record is graded against the limit that its export states beside each loss."""


@cache
def limit_ids() -> tuple[str, ...]:
    """Every limit of a link, edition by edition."""
    return tuple(
        f"{name}/{fiber}/{configuration}"
        for name, edition in limits_file().editions.items()
        for fiber in edition.fibers
        for configuration in _configurations(edition)
    )


@cache
def application_ids() -> tuple[str, ...]:
    """Every application."""
    return tuple(applications_file().applications)


def ids() -> tuple[str, ...]:
    """Every id that `get` knows."""
    return (*limit_ids(), *application_ids())


def known(limit_id: str | None) -> bool:
    """Whether an id is one of an optical limit, of an application over fiber, of events or of an export's own limit."""
    text = limit_id or ""
    return text in limit_ids() or text in application_ids() or text == EXPORTED or text.startswith(EVENTS + "/")


def get(limit_id: str) -> OpticalLimit | OpticalApplication:
    """A limit or an application by its id, with what a person has confirmed of it.

    Errors: Trouble for an unknown id; its message lists similar ones.
    """
    if limit_id in application_ids():
        return OpticalApplication(limit_id, applications_file().applications[limit_id])
    if limit_id not in limit_ids():
        near = difflib.get_close_matches(limit_id, ids(), n=3, cutoff=0.5)
        expected = f"perhaps {', '.join(near)}" if near else ""
        raise Trouble("no such limit", code="limit.unknown", found=f"'{limit_id}'", expected=expected,
                      remedy="see `muniment limits list`")  # fmt: skip
    found = _limit(limit_id)
    return applied(found) if stored(limit_id) else found


def files(limit_id: str) -> tuple[Path, ...]:
    """The files that a limit's numbers rest on; none for an export's own limit."""
    if limit_id == EXPORTED:
        return ()
    declared = schemas.root() / (APPLICATIONS if limit_id in application_ids() else LIMITS)
    return (declared, *(stored(limit_id) if limit_id in limit_ids() else ()))


def _configurations(edition: OpticalEdition) -> tuple[str, ...]:
    graded = edition.end_reference_grade or edition.reference_grade_open
    return ("link", REFERENCE_GRADE) if graded else ("link",)


@cache
def _limit(limit_id: str) -> OpticalLimit:
    """As it is declared."""
    name, fiber, configuration = limit_id.split("/")
    edition = limits_file().editions[name]
    kind = kind_of(fiber)
    reference = configuration == REFERENCE_GRADE
    closed = edition.open or (edition.reference_grade_open if reference else "")
    required = limits_file().wavelengths[kind]
    assert not isinstance(required, list)
    return OpticalLimit(
        id=limit_id,
        edition=limit_id.split("/")[0],
        title=edition.title,
        document=edition.document,
        clause=edition.clause,
        fiber=fiber,
        configuration=configuration,
        coefficients={nm: (db, letter, sources) for nm, db, letter, sources in edition.fibers[fiber]},
        connection=edition.connection,
        end=edition.end_reference_grade.get(kind) if reference else edition.connection,
        splice=edition.splice,
        required_nm=required.required,
        directions=edition.directions,
        closed=f"limit not established: {closed}" if closed else "",
    )
