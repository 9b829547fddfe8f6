"""What makers do that the layout does not say: signs and scales, corrected here and reported."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from archive.formats.otdr import decode
from archive.formats.otdr.findings import finding
from archive.formats.otdr.trace_file import TraceFile

_LEAST_NM = 600.0
"""Below it a wavelength was stored as whole nm instead of tenths: no fiber of cabling is tested there."""


@dataclass
class Corrected:
    """nm: of the trace, None where the file gives none. findings: what was corrected."""

    nm: float | None = None
    findings: list[dict[str, Any]] = field(default_factory=list)

    def reflectance(self, event: decode.OtdrEvent) -> float | None:
        """Reflectance of an event as a negative number, dB; None where it has none (0)."""
        return -abs(event.reflectance_db) if event.reflectance_db else None


def corrected(trace: TraceFile) -> Corrected:
    """A file's wavelength and signs as the tables have them."""
    out = Corrected()
    if trace.fixed is not None and trace.fixed.wavelength_nm:
        out.nm = trace.fixed.wavelength_nm
        if out.nm < _LEAST_NM:
            out.nm = round(out.nm * 10, 6)
            out.findings.append(_changed("wavelength", f"{trace.fixed.wavelength_nm:g} nm", f"{out.nm:g} nm"))
    elif trace.general is not None and trace.general.wavelength_nm:
        out.nm = trace.general.wavelength_nm
    events = trace.key_events.events if trace.key_events else ()
    positive = [e for e in events if e.reflectance_db > 0]
    if positive:
        many = f"{len(positive)} above zero, such as {positive[0].reflectance_db:g} dB"
        out.findings.append(_changed("reflectance", many, "below zero"))
    return out


def _changed(where: str, found: str, expected: str) -> dict[str, Any]:
    return finding("trace-number-converted", where=where, found=found, expected=expected, status="input changed")
