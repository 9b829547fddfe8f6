"""A draft of the port map, inferred from the data: a person fills in the rest and compares it with the bench."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from archive.formats.touchstone.comment_facts import measured_on, serial_of
from archive.formats.touchstone.findings import tolerances
from archive.formats.touchstone.mixed_mode import to_modes, to_ports
from archive.formats.touchstone.network import Mode, Network
from archive.formats.touchstone.phase import line_phase
from archive.formats.touchstone.plausible import clearly_better, division_fits, divisions
from archive.formats.touchstone.reference import doubt
from archive.vocabulary import PAIRS


def draft_pairs(network: Network) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Ports of each pair, near end and far end; the far ports in the order in which the near ones arrive.

    A through path is the largest transmission between two ports at the lowest frequency. Two through paths whose near
    ports couple most make a pair; four ports that fit another division better are divided so. The near end is that of
    the lower port. A file in mixed mode names the ports of each pair itself: its difference modes are the ends, and
    one without a partner is an end alone. One port is a pair seen at one end.
    """
    s = _single_ended(network)
    if network.modes:
        return _by_modes(network, s)
    if network.ports == 1:
        return [((1,), ())]
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
        'link = "{stem}"          # the name of the file: put the label of the link, as administered',
        'tested_by = ""',
        *_tested(network),
        '# zone = "Europe/Lisbon" # only where somebody states it',
        'cable = ""               # the cable, in your own words',
        'limit = ""               # the limit it is tested to, in your own words',
        "# length_m = 35.4",
    ]
    pairs = draft_pairs(network)
    lines += _reference(network, pairs)
    serial = serial_of(network.comments)
    lines += ["[instrument]" if serial else "# [instrument]", '# maker = ""']
    lines.append(f"serial = {_quoted(serial)} # from a comment" if serial else '# serial = ""')
    if not pairs:
        lines.append(f"# {network.ports} ports are not pairs seen at both ends: name the pairs by hand.")
        lines += ['[pairs."1-2"]', "local = [1, 2]"]
    for i, (near, far) in enumerate(pairs):
        if not far:
            lines.append("# Seen at one end alone: return loss, and crosstalk between pairs at this end.")
        elif len(near) == 2 and not _looks_like_a_pair(network, near, far):
            lines.append("# These ports do not look like a pair that is seen at both ends:")
        label = PAIRS[i] if i < len(PAIRS) else "?"
        mark = "# " if i >= len(PAIRS) else ""
        lines += [f'{mark}[pairs."{label}"]', f"{mark}local = {list(near)}"]
        lines += [f"{mark}remote = {list(far)}"] if far else []
    return "\n".join(lines) + "\n"


def _tested(network: Network) -> list[str]:
    found, comment = measured_on(network.comments)
    if not found:
        return ['tested = ""              # local time, such as 2019-06-05T16:55:11']
    return [f"# a comment says: {_quoted(comment)[1:-1]}", f'tested = "{found}"']


def _reference(network: Network, pairs: Sequence[tuple[tuple[int, ...], tuple[int, ...]]]) -> list[str]:
    """Lines on the impedance: what the file states, where a port is a whole pair or a comment says otherwise."""
    stated = sorted({float(network.reference_ohm[p - 1]) for near, far in pairs for p in (*near, *far)})
    if said := doubt(network):
        return [
            f"# a comment says: {_quoted(said)[1:-1]}",
            "# reference_ohm = 50     # the impedance to which the numbers truly refer, where it is one and real",
        ]
    whole = any(len(near) == 1 for near, _ in pairs)
    if not whole or stated == [tolerances("reference-impedance-changed")["pair_ohm"]]:
        return []
    if len(stated) > 1:
        return ["# reference_ohm = 100    # the ports are whole pairs, and the file states several impedances"]
    return [f"reference_ohm = {stated[0]!r}     # as the file states; 100 if it was calibrated behind baluns"]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _by_modes(network: Network, s: Any) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    ends = [m.ports for m in network.modes if m.kind == "D"]
    if not ends:
        return []
    size = np.abs(to_modes(s, [Mode("D", e) for e in ends])[0])
    matched = [_sorted(two) for two in _match(size + size.T, from_one=False)]
    out: list[tuple[tuple[int, ...], tuple[int, ...]]] = []
    for i, j in matched:
        near, far = sorted((ends[i], ends[j]))
        out.append((near, _arriving(network.frequencies_mhz, s, near, far)))
    alone = set(range(len(ends))) - {i for two in matched for i in two}
    return sorted([*out, *((ends[i], ()) for i in alone)])


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
    return near, _arriving(f_mhz, s, near, far)


def _arriving(f_mhz: Any, s: Any, near: tuple[int, ...], far: tuple[int, ...]) -> tuple[int, ...]:
    """The far ports in the order in which the near ones arrive."""
    through = to_modes(s, [Mode("D", near), Mode("D", far)])[:, 1, 0]
    polarity = line_phase(f_mhz, through, tolerances("polarity-crossed")).polarity
    if not polarity:
        size = np.abs(s[0])
        straight = size[far[0] - 1, near[0] - 1] + size[far[1] - 1, near[1] - 1]
        polarity = (
            "straight" if straight >= size[far[1] - 1, near[0] - 1] + size[far[0] - 1, near[1] - 1] else "crossed"
        )
    return far if polarity == "straight" else (far[1], far[0])


def _sorted(two: tuple[int, int]) -> tuple[int, int]:
    return (min(two), max(two))
