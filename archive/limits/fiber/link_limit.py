"""The limit of an optical link by formula: coefficient x length + connections + splices."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from archive.limits.fiber.declared import Allowance, Confidence, Directions, Reference, limits_file

REFERENCE_GRADE = "link-reference-grade"
"""Configuration of a limit whose end connections were measured against plugs of reference grade."""


def kind_of(fiber: str) -> str:
    """multimode or single-mode, by a class of fiber; "" where the word is none."""
    if fiber.startswith("om") or fiber in ("62.5-160", "50-400"):
        return "multimode"
    return "single-mode" if fiber.startswith("os") or fiber == "indoor-outdoor" else ""


def nominal(nm: float, fiber: str) -> float | None:
    """The nominal wavelength, nm, of which a source's wavelength is one; None outside every window.

    1300 nm of multimode and 1310 nm of single-mode fiber share a window.
    """
    windows = limits_file().wavelengths["windows"]
    assert isinstance(windows, list)
    skip = {"multimode": (1310,), "single-mode": (1300,)}.get(kind_of(fiber), ())
    return next((centre for centre, low, high in windows if low <= nm <= high and centre not in skip), None)


def least_sure(letters: Iterable[str]) -> str:
    """The least sure of some letters; "" of none."""
    return max(letters, default="")


@dataclass(frozen=True)
class LossLimit:
    """A limit that was rebuilt: db, and its parts. fiber_db, connections_db, splices_db add up to it."""

    db: float
    confidence: str
    fiber_db: float
    connections_db: float
    splices_db: float
    coefficient_db_km: float


@dataclass(frozen=True)
class OpticalLimit:
    """The limit of one class of fiber in one edition.

    coefficients: dB/km by nominal nm, with letter and sources. end: what an end connection in the result may lose; None
    where it is not established. required_nm: wavelengths that must be measured. closed: why it cannot be used, "".
    """

    id: str
    edition: str
    title: str
    document: str
    clause: str
    fiber: str
    configuration: str
    coefficients: Mapping[float, tuple[float, Confidence, tuple[str, ...]]]
    connection: Allowance | None
    end: Allowance | None
    splice: Allowance | None
    required_nm: tuple[float, ...]
    directions: Directions | None
    closed: str = ""
    confirmations: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        """multimode or single-mode."""
        return kind_of(self.fiber)

    @property
    def formula(self) -> str:
        """The formula in words, with what a connection and a splice may lose."""
        parts = {"connection": self.connection, "splice": self.splice}
        said = {name: f"{part.db:.2f} dB" if part else f"loss of a {name}" for name, part in parts.items()}
        return limits_file().meaning.formula.format(**said)

    @property
    def established(self) -> bool:
        """Whether there is anything to grade with."""
        return bool(self.coefficients) and not self.closed

    @property
    def confidence(self) -> str:
        """The least sure letter of what a pass needs; "" where nothing is established."""
        if not self.established:
            return ""
        needed = [self.coefficients[nm][1] for nm in self.required_nm if nm in self.coefficients]
        parts = (self.connection, self.end, self.splice, self.directions)
        return least_sure([*needed, *(part.confidence for part in parts if part)])

    @property
    def sources(self) -> tuple[str, ...]:
        """Ids of every source, each once."""
        parts = (self.connection, self.end, self.splice, self.directions)
        listed = [s for _, _, sources in self.coefficients.values() for s in sources]
        return tuple(dict.fromkeys([*listed, *(s for part in parts if part for s in part.sources)]))

    def loss(self, nm: float, length_m: float, connections: int, splices: int, method: str) -> LossLimit | str:
        """The loss limit at a wavelength.

        nm: of the source. length_m: of the fiber. connections: in the result, its end connections included. method: a
        word of reference_method. Returns the limit, or in words why there is none.
        """
        if not self.established:
            return self.closed or "limit not established"
        found = self.coefficients.get(nominal(nm, self.fiber) or -1.0)
        if found is None:
            return f"limit not established at {nm:g} nm"
        reference = limits_file().reference[method]
        ends = min(reference.ends, connections)
        assert self.connection is not None and self.splice is not None
        if self.end is None and ends:
            return "limit not established for end connections of reference grade"
        db_km, letter, _ = found
        letters: list[str] = [letter, reference.confidence if connections else "A"]
        end_db = self.end.db if self.end is not None else 0.0
        joints = ends * end_db + (connections - ends) * self.connection.db
        letters += [self.end.confidence] if self.end is not None and ends else []
        letters += [self.connection.confidence] if connections > ends else []
        letters += [self.splice.confidence] if splices else []
        fiber, fused = db_km * length_m / 1000, splices * self.splice.db
        return LossLimit(fiber + joints + fused, least_sure(letters), fiber, joints, fused, db_km)


def reference(method: str) -> Reference | None:
    """What a reference method leaves in the result; None for a word that is none."""
    return limits_file().reference.get(method)
