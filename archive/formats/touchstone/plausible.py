"""Whether a sweep and its port map can be true: passive, reciprocal, pairs where the map says, polarity."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from archive.formats.touchstone.findings import finding, tolerances
from archive.formats.touchstone.mixed_mode import to_modes
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.phase import LinePhase, line_phase
from archive.formats.touchstone.port_map import Pair
from archive.formats.touchstone.quantities import Modes


def faults(f_mhz: Any, s: Any, pairs: Sequence[Pair]) -> Iterator[dict[str, Any]]:
    """Findings about a whole sweep. f_mhz: float64 (F,); s: complex128 (F, N, N) over single ports, all of which are
    the map's; pairs: with ports counted in s."""
    yield from _passive(f_mhz, s)
    yield from _reciprocal(f_mhz, s)
    yield from _through_paths(f_mhz, s, pairs)


def line_faults(f_mhz: Any, modes: Modes, pairs: Sequence[Pair]) -> tuple[list[dict[str, Any]], dict[str, LinePhase]]:
    """Findings about the phase of each pair that was seen at both ends, and that phase by pair."""
    rows: list[dict[str, Any]] = []
    phases: dict[str, LinePhase] = {}
    for pair in pairs:
        through = modes.wave((pair.name, "remote", "D"), (pair.name, "local", "D"))
        if through is None:
            continue
        phase = phases[pair.name] = line_phase(f_mhz, through, tolerances("polarity-crossed"))
        least = tolerances("nothing-between-the-ends")["least_ns"]
        if phase.polarity == "crossed":
            rows.append(
                finding(
                    "polarity-crossed",
                    where=pair.name,
                    found="its transmission turns to 180 degrees towards 0 Hz",
                    expected="0 degrees",
                )
            )
        elif not phase.polarity:
            rows.append(
                finding(
                    "polarity-crossed",
                    where=pair.name,
                    status="could not look",
                    message=f"Whether pair {pair.name} is crossed could not be told: {phase.reason}.",
                )
            )
        if phase.delay_ns is not None and phase.delay_ns < least:
            rows.append(
                finding(
                    "nothing-between-the-ends",
                    where=pair.name,
                    found=f"{phase.delay_ns:.3f} ns",
                    expected=f"{least:g} ns or more",
                )
            )
    return rows, phases


def _judged(f_mhz: Any, rule: str) -> Any:
    """Which frequencies a rule judges."""
    return f_mhz <= tolerances(rule)["to_mhz"]


def _blind(rule: str, f_mhz: Any, what: str) -> dict[str, Any]:
    return finding(
        rule,
        status="could not look",
        message=f"Whether the sweep is {what} was not judged: it begins at {f_mhz[0]:g} MHz, above "
        f"{tolerances(rule)['to_mhz']:g} MHz.",
    )


def _passive(f_mhz: Any, s: Any) -> Iterator[dict[str, Any]]:
    import numpy as np

    judged = _judged(f_mhz, "not-passive")
    if not judged.any():
        yield _blind("not-passive", f_mhz, "passive")
        return
    largest = np.linalg.svd(s[judged], compute_uv=False)[:, 0]
    most = tolerances("not-passive")["largest"]
    if (largest > most).any():
        yield _worst("not-passive", f_mhz[judged], largest, most)


def _reciprocal(f_mhz: Any, s: Any) -> Iterator[dict[str, Any]]:
    import numpy as np

    judged = _judged(f_mhz, "not-reciprocal")
    if not judged.any():
        yield _blind("not-reciprocal", f_mhz, "reciprocal")
        return
    apart = np.abs(s[judged] - s[judged].transpose(0, 2, 1)).max(axis=(1, 2))
    most = tolerances("not-reciprocal")["largest"]
    if (apart > most).any():
        yield _worst("not-reciprocal", f_mhz[judged], apart, most)


def _worst(rule: str, f_mhz: Any, values: Any, most: float) -> dict[str, Any]:
    """A finding that names the worst point and how many there are."""
    at = int(values.argmax())
    over = int((values > most).sum())
    return finding(
        rule,
        where=f"{f_mhz[at]:g} MHz ({over} of {len(values)} points to {f_mhz[-1]:g} MHz)",
        found=f"{values[at]:.3f}",
        expected=f"{most:g} or less",
    )


def _through_paths(f_mhz: Any, s: Any, pairs: Sequence[Pair]) -> Iterator[dict[str, Any]]:
    """A port that hears a strange port best, or a pair whose four ports divide better into other ends."""
    import numpy as np

    t = tolerances("through-path-not-where-the-map-says")
    size = np.abs(s[0])
    np.fill_diagonal(size, 0.0)
    judged = _judged(f_mhz, "through-path-not-where-the-map-says")
    for pair in pairs:
        if not pair.local or not pair.remote:
            continue
        fault = _stranger(size, pair, t["louder_db"])
        if not fault and judged.any() and len(pair.local) == len(pair.remote) == 2:
            fault = _other_ends(s[judged], pair)
        if fault:
            yield finding(
                "through-path-not-where-the-map-says", where=f"pair {pair.name}", found=fault[0], expected=fault[1]
            )


def _stranger(size: Any, pair: Pair, louder_db: float) -> tuple[str, str] | None:
    """The first port of the pair that hears another port clearly louder than its own far end."""
    for near, far in ((pair.local, pair.remote), (pair.remote, pair.local)):
        for port in near:
            heard = size[:, port - 1]
            own = max(heard[p - 1] for p in far)
            loudest = int(heard.argmax())
            if loudest + 1 not in far and heard[loudest] > own * 10 ** (louder_db / 20):
                return f"port {port} is heard best at port {loudest + 1}", f"at port {_or(far)}"
    return None


def division_fit(s: Any, local: tuple[int, int], remote: tuple[int, int]) -> float:
    """How well four ports of s (F, N, N) divide into two ends of one pair: mean of transmitted power less reflected
    power of the difference mode; 1 for a perfect line, 0 or less where the division is wrong."""
    import numpy as np

    m = np.abs(to_modes(s, (Mode("D", local), Mode("D", remote)))) ** 2
    return float(np.mean(m[:, 1, 0] - (m[:, 0, 0] + m[:, 1, 1]) / 2))


def divisions(ports: Sequence[int]) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """The three ways to divide four ports into two ends."""
    a, b, c, d = ports
    return [((a, b), (c, d)), ((a, c), (b, d)), ((a, d), (b, c))]


def clearly_better(fit: float, own: float) -> bool:
    """Whether one division fits so much better than another that noise and short lines do not explain it."""
    share = tolerances("through-path-not-where-the-map-says")["fits_better"]
    return fit - own > share * (abs(fit) + abs(own))


def _other_ends(s: Any, pair: Pair) -> tuple[str, str] | None:
    ports = sorted((*pair.local, *pair.remote))
    mapped = frozenset((frozenset(pair.local), frozenset(pair.remote)))
    fits = {
        frozenset((frozenset(one), frozenset(other))): (division_fit(s, one, other), one, other)
        for one, other in divisions(ports)
    }
    own = fits[mapped][0]
    best, one, other = max(fits.values())
    if not clearly_better(best, own):
        return None
    return (
        f"ports {_and(one)} look like one end and {_and(other)} like the other",
        f"{_and(pair.local)} and {_and(pair.remote)}",
    )


def _or(ports: Sequence[int]) -> str:
    return " or ".join(map(str, ports))


def _and(ports: Sequence[int]) -> str:
    return ",".join(map(str, ports))
