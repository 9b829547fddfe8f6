"""Whether a sweep and its port map can be true: passive, reciprocal, pairs where the map says, polarity."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from archive.formats.touchstone.findings import finding, tolerances
from archive.formats.touchstone.mixed_mode import to_modes
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.phase import LinePhase, line_phase
from archive.formats.touchstone.port_map import PairPorts
from archive.formats.touchstone.quantities import Modes
from archive.vocabulary import ENDS


def faults(f_mhz: Any, s: Any, modes: Modes, pairs: Sequence[PairPorts]) -> tuple[list[dict[str, Any]], set[str]]:
    """Findings about a whole sweep, and the pairs that do not arrive where the map says.

    f_mhz: float64 (F,); s: complex128 (F, N, N) over single ports, all of which are the map's; modes: of s; pairs:
    with ports counted in s.
    """
    rows = [*_passive(f_mhz, s), *_reciprocal(f_mhz, s)]
    misplaced = dict(_through_paths(f_mhz, s, modes, pairs))
    return rows + list(misplaced.values()), set(misplaced)


def line_faults(
    f_mhz: Any, modes: Modes, pairs: Sequence[PairPorts]
) -> tuple[list[dict[str, Any]], dict[str, LinePhase]]:
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
                    message=f"Whether pair {pair.name} is crossed could not be determined: {phase.reason}.",
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
    """Which frequencies a rule judges. Not 0 Hz: analysers do not measure there, they continue the sweep towards it."""
    return (f_mhz > 0) & (f_mhz <= tolerances(rule)["to_mhz"])


def _blind(rule: str, f_mhz: Any, what: str) -> dict[str, Any]:
    to = tolerances(rule)["to_mhz"]
    message = f"Whether the sweep is {what} was not judged: it has no frequency above 0 Hz and up to {to:g} MHz."
    return finding(rule, status="could not look", message=message)


def _passive(f_mhz: Any, s: Any) -> Iterator[dict[str, Any]]:
    judged = _judged(f_mhz, "not-passive")
    if not judged.any():
        yield _blind("not-passive", f_mhz, "passive")
        return
    largest = np.linalg.svd(s[judged], compute_uv=False)[:, 0]
    most = tolerances("not-passive")["largest"]
    if (largest > most).any():
        yield _worst("not-passive", f_mhz[judged], largest, most)


def _reciprocal(f_mhz: Any, s: Any) -> Iterator[dict[str, Any]]:
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


def _through_paths(
    f_mhz: Any, s: Any, modes: Modes, pairs: Sequence[PairPorts]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """By its name, a pair that arrives elsewhere, or whose four ports divide better into other ends."""
    rule = "through-path-not-where-the-map-says"
    for pair in pairs:
        if not pair.remote:
            continue
        fault = _elsewhere(modes, pair, pairs)
        if not fault and len(pair.local) == len(pair.remote) == 2:
            fault = _other_ends(f_mhz, s, pair)
        if fault:
            yield pair.name, finding(rule, where=f"pair {pair.name}", found=fault[0], expected=fault[1])


def _elsewhere(modes: Modes, pair: PairPorts, pairs: Sequence[PairPorts]) -> tuple[str, str] | None:
    """Where the pair's signal arrives loudly at an end that is not its own, at the lowest frequency. Crosstalk of
    cabling is never loud there; a pair under the name of another is."""
    t = tolerances("through-path-not-where-the-map-says")
    own = modes.wave((pair.name, "remote", "D"), (pair.name, "local", "D"))
    heard = {
        (other.name, end): modes.wave((other.name, end, "D"), (pair.name, "local", "D"))
        for other in pairs
        for end in ENDS
        if other is not pair
    }
    levels = {at: float(np.abs(wave[0])) for at, wave in heard.items() if wave is not None}
    if not levels:
        return None
    name, end = max(levels, key=lambda at: levels[at])
    level, level_own = levels[name, end], float(np.abs(own[0]))
    if level < 10 ** (-t["loud_db"] / 20) or level < level_own * 10 ** (-t["clear_db"] / 20):
        return None
    return (
        f"its signal arrives at the {end} end of pair {name} ({_db(level)})",
        f"at its own remote end ({_db(level_own)}), clearly louder than anywhere else",
    )


def _db(level: float) -> str:
    return f"{-20 * np.log10(level):.1f} dB" if level > 0 else "nothing"


def divisions(ports: Sequence[int]) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """The three ways to divide four ports into two ends."""
    a, b, c, d = ports
    return [((a, b), (c, d)), ((a, c), (b, d)), ((a, d), (b, c))]


def division_fits(f_mhz: Any, s: Any, ports: Sequence[int]) -> list[float]:
    """How well four ports of s (F, N, N) divide into two ends of one pair, for each of the divisions: mean of
    transmitted power less reflected power of the difference mode; 1 for a perfect line, 0 or less where the division
    is wrong. Only the frequencies count at which some division transmits; empty where there are none."""
    t = tolerances("through-path-not-where-the-map-says")
    powers = []
    for local, remote in divisions(ports):
        m = np.abs(to_modes(s, (Mode("D", local), Mode("D", remote)))) ** 2
        powers.append((m[:, 1, 0], m[:, 1, 0] - (m[:, 0, 0] + m[:, 1, 1]) / 2))
    transmits = np.max([through for through, _ in powers], axis=0) > 10 ** (-t["transmits_db"] / 10)
    told = transmits & (f_mhz <= t["to_mhz"])
    return [float(np.mean(fit[told])) for _, fit in powers] if told.any() else []


def clearly_better(fit: float, own: float) -> bool:
    """Whether one division fits so much better than another that noise and short lines do not explain it."""
    return fit - own > tolerances("through-path-not-where-the-map-says")["fits_better"] * (abs(fit) + abs(own))


def _other_ends(f_mhz: Any, s: Any, pair: PairPorts) -> tuple[str, str] | None:
    """The division of the pair's ports that fits clearly better than the map's, if there is one."""
    ports = sorted((*pair.local, *pair.remote))
    fits = division_fits(f_mhz, s, ports)
    mapped = {frozenset(pair.local), frozenset(pair.remote)}
    listed = list(zip(fits, divisions(ports), strict=False))
    own = [fit for fit, ends in listed if {frozenset(e) for e in ends} == mapped]
    if not own:
        return None
    best, (one, other) = max(listed)
    least = tolerances("through-path-not-where-the-map-says")["fits_at_least"]
    if best < least or not clearly_better(best, own[0]):
        return None
    return (
        f"ports {_and(one)} look like one end and {_and(other)} like the other",
        f"{_and(pair.local)} and {_and(pair.remote)}",
    )


def _and(ports: Sequence[int]) -> str:
    return ",".join(map(str, ports))
