"""Modal bandwidth of multimode fiber: what the reach of applications rests on; no test in the field measures it."""

from __future__ import annotations

from dataclasses import dataclass

from archive.limits.fiber.declared import limits_file


@dataclass(frozen=True)
class ModalBandwidth:
    """Least modal bandwidth of a class of fiber at a wavelength, nm, by launch: laser (effective) or overfilled."""

    nm: float
    launch: str
    mhz_km: float
    confidence: str
    sources: tuple[str, ...]

    @property
    def text(self) -> str:
        """In words."""
        return f"{self.mhz_km:g} MHz km at {self.nm:g} nm, {self.launch} launch ({self.confidence})"


def bandwidths(fiber: str) -> tuple[ModalBandwidth, ...]:
    """All of a class of fiber; none of single-mode fiber, or of a class that nothing is known of."""
    return tuple(ModalBandwidth(*row) for row in limits_file().bandwidth.get(fiber, ()))


def needed(fiber: str, nm: float) -> ModalBandwidth | None:
    """What an application at a wavelength rests on: the laser's where there is one; 910 nm goes with the nearest."""
    known = bandwidths(fiber)
    near = min({b.nm for b in known}, key=lambda at: abs(at - nm), default=None)
    return next((b for b in known if b.nm == near), None)
