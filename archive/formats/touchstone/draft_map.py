"""A draft of the port map, inferred from the data: a person fills in the rest and compares it with the bench."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from archive.formats.touchstone.findings import tolerances
from archive.formats.touchstone.mixed_mode import to_modes, to_ports
from archive.formats.touchstone.network import Mode, Network
from archive.formats.touchstone.phase import line_phase
from archive.formats.touchstone.plausible import clearly_better, division_fits, divisions
from archive.vocabulary import PAIRS


def draft_pairs(network: Network) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Ports of each pair, near end and far end; the far ports in the order in which the near ones arrive.

    A through path is the largest transmission between two ports at the lowest frequency. Two through paths whose near
    ports couple most make a pair; four ports that fit another division better are divided so. The near end is that of
    the lower port.
    """
    s = _single_ended(network)
    if network.ports == 2:
        return [((1,), (2,))]
    if network.ports % 4:
        return []
    size = np.abs(s[0])
    wires = [_sorted(wire) for wire in _match(size + size.T)]
    near = [wire[0] for wire in wires]
    coupling = np.abs(s[:, [n - 1 for n in near]][:, :, [n - 1 for n in near]]).mean(axis=0)
    two_wires = [_sorted(two) for two in _match(coupling + coupling.T, from_one=False)]
    return sorted(_divide(network.frequencies_mhz, s, wires[i], wires[j]) for i, j in two_wires)


def draft(network: Network, name: str) -> str:
    """The draft as TOML, for the file `name`."""
    lines = [
        f"# Port map for {name}, drafted from its data. Compare it with the connections at the analyser:",
        "# from the data alone nobody can tell which end is local, which pair is which, or whether a pair is crossed.",
        'link = ""                # label of the link, as administered',
        'tested_by = ""',
        'tested = ""              # local time, such as 2019-06-05T16:55:11',
        '# zone = "Europe/Lisbon" # only where somebody states it',
        'cable = ""               # the cable, in your own words',
        'limit = ""               # the limit it is tested to, in your own words',
        "# length_m = 35.4",
        "# [instrument]",
        '# maker = ""',
        '# serial = ""',
    ]
    pairs = draft_pairs(network)
    if not pairs:
        lines.append(f"# {network.ports} ports are not pairs seen at both ends: name the pairs by hand.")
        lines += ['[pairs."1-2"]', "local = [1, 2]"]
    for i, (near, far) in enumerate(pairs):
        if len(near) == 2 and not _looks_like_a_pair(network, near, far):
            lines.append("# These ports do not look like a pair that is seen at both ends:")
        label = PAIRS[i] if i < len(PAIRS) else "?"
        mark = "# " if i >= len(PAIRS) else ""
        lines += [f'{mark}[pairs."{label}"]', f"{mark}local = {list(near)}", f"{mark}remote = {list(far)}"]
    return "\n".join(lines) + "\n"


def _single_ended(network: Network) -> Any:
    return to_ports(network.s, network.modes) if network.modes else network.s


def _looks_like_a_pair(network: Network, near: Sequence[int], far: Sequence[int]) -> bool:
    fits = division_fits(network.frequencies_mhz, _single_ended(network), [*near, *far])
    return bool(fits) and fits[0] > 0


def _match(weight: Any, *, from_one: bool = True) -> list[tuple[int, int]]:
    """Pairs of indices, the heaviest first, each index once; counted from 1, or from 0."""
    left = np.array(weight, dtype=float)
    np.fill_diagonal(left, -1.0)
    out = []
    for _ in range(len(left) // 2):
        i, j = (int(k) for k in np.unravel_index(int(left.argmax()), left.shape))
        out.append((i + from_one, j + from_one))
        left[[i, j], :] = -1.0
        left[:, [i, j]] = -1.0
    return out


def _divide(
    f_mhz: Any, s: Any, wire: tuple[int, int], other: tuple[int, int]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The ends of a pair of two through paths: their lower ports and their higher ones, or the division that fits
    clearly better; the far ports in the order in which the near ones arrive."""
    near, far = _sorted((wire[0], other[0])), _sorted((wire[1], other[1]))
    fits = division_fits(f_mhz, s, [*near, *far])
    if fits:
        # The first of the divisions is that of the wires.
        best, ends = max(zip(fits, divisions([*near, *far]), strict=True))
        if clearly_better(best, fits[0]):
            near, far = sorted((_sorted(ends[0]), _sorted(ends[1])))
    through = to_modes(s, [Mode("D", near), Mode("D", far)])[:, 1, 0]
    polarity = line_phase(f_mhz, through, tolerances("polarity-crossed")).polarity
    if not polarity:
        size = np.abs(s[0])
        straight = size[far[0] - 1, near[0] - 1] + size[far[1] - 1, near[1] - 1]
        polarity = (
            "straight" if straight >= size[far[1] - 1, near[0] - 1] + size[far[0] - 1, near[1] - 1] else "crossed"
        )
    return near, far if polarity == "straight" else (far[1], far[0])


def _sorted(two: tuple[int, int]) -> tuple[int, int]:
    return (min(two), max(two))
