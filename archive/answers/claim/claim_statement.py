"""What a claim states: a small TOML file that somebody filled in. It is printed as it is, and never completed.

number = "C-2026-117"
claimant = "Lantern Quay Trust"
symptom = "The link drops to 1 Gbit/s in the afternoon"
application = "10gbase-t"
failed_on = 2026-04-20
notified_on = 2026-05-03
recipient = "Claims desk of the warrantor"
maker = "R. Ostrander, Tern & Daughters"

[warranty]
number = "W-2024-0031"
notice_within_days = 30
covers = ["cable", "jacks", "panels"]

[[components]]
part = "cable"
name = "F/UTP 23 AWG, part 4711"
lot = "drum 118"
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from msgspec import Meta, Struct

from archive import schemas
from archive.errors import Trouble
from archive.structs import Text, convert


class WarrantyTerms(Struct, frozen=True, forbid_unknown_fields=True):
    """Terms of the warranty as somebody states them. first_day, last_day: where they differ from those of the job."""

    number: Text | None = None
    kind: Text | None = None
    issuer: Text | None = None
    first_day: date | None = None
    last_day: date | None = None
    notice_within_days: Annotated[int, Meta(ge=0, le=36_500)] | None = None
    covers: list[Text] = []
    excludes: list[Text] = []
    conditions: list[Text] = []


class ClaimComponent(Struct, frozen=True, forbid_unknown_fields=True):
    """One component of the link. part: cable, jack, panel, cord and so on; lot: lot, drum or delivery."""

    part: Text
    name: Text | None = None
    lot: Text | None = None
    place: Text | None = None


class ClaimInstaller(Struct, frozen=True, forbid_unknown_fields=True):
    """Who installed the link, and by which certification of the firm and of the person."""

    firm: Text | None = None
    firm_certification: Text | None = None
    firm_valid_until: date | None = None
    person: Text | None = None
    person_certification: Text | None = None
    person_valid_until: date | None = None


class ClaimEnvironment(Struct, frozen=True, forbid_unknown_fields=True):
    """What surrounds the link today."""

    temperature: Text | None = None
    bundling: Text | None = None
    power: Text | None = None
    moves: Text | None = None


class ClaimStatement(Struct, frozen=True, forbid_unknown_fields=True):
    """All that a claim states. Each key may be left out; what is left out is listed as not stated.

    application: what fails over the link; failed_on: day on which it was noticed first; notified_on: day on which the
    warrantor was told; recipient: who is to receive the claim file; maker: who makes it; zone: name of the time zone
    of these days.
    """

    number: Text | None = None
    claimant: Text | None = None
    symptom: Text | None = None
    application: Text | None = None
    failed_on: date | None = None
    notified_on: date | None = None
    recipient: Text | None = None
    maker: Text | None = None
    zone: Text | None = None
    warranty: WarrantyTerms = WarrantyTerms()
    components: list[ClaimComponent] = []
    installer: ClaimInstaller = ClaimInstaller()
    environment: ClaimEnvironment = ClaimEnvironment()


def load(path: Path) -> ClaimStatement:
    """The statement of a file. Errors: Trouble where it is no TOML, or has a key or a value that nothing reads."""
    try:
        table = schemas.toml(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise Trouble(
            "the facts of the claim cannot be read",
            code="claim.facts-unreadable",
            where=str(path),
            found=str(error.strerror),
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "the facts of the claim are no TOML",
            code="claim.facts-unreadable",
            where=str(path),
            found=str(error),
            remedy="correct the line it names",
        ) from None
    return stated(table, str(path))


def stated(table: Mapping[str, Any], where: str) -> ClaimStatement:
    """The statement of a table of keys and values. where: what it came from, for messages. Errors: as load."""
    made = convert(dict(table), ClaimStatement, where, code="claim.facts-unreadable")
    if made.failed_on and made.notified_on and made.notified_on < made.failed_on:
        raise Trouble(
            "the claim was notified before the failure",
            code="claim.facts-contradict",
            where=f"{where}, notified_on",
            found=made.notified_on.isoformat(),
            expected=f"{made.failed_on.isoformat()} or later",
        )
    first, last = made.warranty.first_day, made.warranty.last_day
    if first and last and last < first:
        raise Trouble(
            "the warranty ends before it begins",
            code="claim.facts-contradict",
            where=f"{where}, warranty.last_day",
            found=last.isoformat(),
            expected=f"{first.isoformat()} or later",
        )
    return made
