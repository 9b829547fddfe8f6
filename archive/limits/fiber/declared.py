"""The files of schemas/fiber as structures. Units: dB, dB/km, nm, m."""

from __future__ import annotations

from functools import cache
from typing import Literal

from msgspec import Struct, field

from archive import schemas
from archive.structs import Positive, Text, convert

Confidence = Literal["A", "B", "C"]
Bandwidth = tuple[Positive, Literal["laser", "overfilled"], Positive, Confidence, tuple[Text, ...]]
Coefficient = tuple[Positive, Positive, Confidence, tuple[Text, ...]]
ApplicationRow = tuple[tuple[Text, ...], Positive, Positive, Confidence, Positive, Confidence, tuple[Text, ...]]
LIMITS, APPLICATIONS = "fiber/limits.toml", "fiber/applications.toml"


class Allowance(Struct, frozen=True, forbid_unknown_fields=True):
    """A number in dB with its letter and sources."""

    db: float
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source")


class Wavelengths(Struct, frozen=True, forbid_unknown_fields=True):
    """At which wavelengths, nm, a kind of fiber is tested."""

    required: tuple[float, ...]
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source")


class Directions(Struct, frozen=True, forbid_unknown_fields=True):
    """In how many directions each fiber is tested."""

    count: int
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source")


class Reference(Struct, frozen=True, forbid_unknown_fields=True):
    """How many end connections of the link a reference method leaves in the result."""

    ends: int
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source")


class OpticalEdition(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One edition. fibers: by class, rows of nm, dB/km, letter, sources. end_reference_grade: by kind of fiber, an end
    connection measured against a plug of reference grade. open: why nothing of it is established."""

    title: Text
    document: Text
    published: Text
    clause: str = ""
    connection: Allowance | None = None
    splice: Allowance | None = None
    directions: Directions | None = None
    end_reference_grade: dict[str, Allowance] = {}
    reference_grade_open: str = ""
    open: str = ""
    fibers: dict[str, list[Coefficient]]


class EventLimits(Struct, frozen=True, forbid_unknown_fields=True):
    """Limits of the events of a trace. reflectance: by kind of fiber. one_way_error: by how much a loss seen from one
    side alone may be off."""

    title: Text
    document: Text
    connection: Allowance
    splice: Allowance
    reflectance: dict[str, Allowance]
    one_way_error: Allowance


class PolarityMaps(Struct, frozen=True, forbid_unknown_fields=True):
    """Where fibers arrive. duplex: by position. plugs: positions in a row by those of a plug; methods whose rows
    are straight, reversed, or crossed pair by pair."""

    confidence: Confidence
    sources: tuple[str, ...] = field(name="source")
    duplex: dict[str, str]
    plugs: dict[str, int]
    straight: tuple[str, ...]
    reversed: tuple[str, ...]
    crossed: tuple[str, ...]


class FormulaWords(Struct, frozen=True, forbid_unknown_fields=True):
    """The formula in words, with {connection} and {splice} for what each may lose."""

    formula: Text
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source")


class OpticalLimitsFile(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """schemas/fiber/limits.toml."""

    meaning: FormulaWords
    wavelengths: dict[str, Wavelengths | list[tuple[float, float, float]]]
    bandwidth: dict[str, list[Bandwidth]]
    reference: dict[str, Reference]
    polarity: PolarityMaps
    editions: dict[str, OpticalEdition]
    events: EventLimits
    words: dict[str, dict[str, list[str | int]]]


class ApplicationTable(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One application. fibers: how many it takes. rows: fiber classes, nm, most m, its letter, most dB, its letter,
    sources."""

    rows: tuple[ApplicationRow, ...]
    fibers: int
    clause: str = ""
    note: str = ""


class Family(Struct, frozen=True, forbid_unknown_fields=True):
    """Whose applications."""

    title: Text


class OpticalApplicationsFile(Struct, frozen=True, forbid_unknown_fields=True):
    """schemas/fiber/applications.toml."""

    families: dict[str, Family]
    applications: dict[str, ApplicationTable]


@cache
def limits_file() -> OpticalLimitsFile:
    """The limits of links and events."""
    return convert(schemas.load(LIMITS), OpticalLimitsFile, LIMITS, code="limit.declaration")


@cache
def applications_file() -> OpticalApplicationsFile:
    """The applications."""
    return convert(schemas.load(APPLICATIONS), OpticalApplicationsFile, APPLICATIONS, code="limit.declaration")
