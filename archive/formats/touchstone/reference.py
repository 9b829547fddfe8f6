"""Reference impedances: every port of the map at 50 ohm, so that a pair refers to 100 ohm."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from archive.formats.touchstone.findings import finding, tolerances
from archive.formats.touchstone.mixed_mode import renormalise, to_ports
from archive.formats.touchstone.network import Network, SetAside
from archive.formats.touchstone.port_map import PortMap

_NOT_NORMALISED = re.compile(r"not\s+(re)?normali[sz]ed", re.IGNORECASE)
_IMPEDANCES = re.compile(r"port\s+impedance\s*:?\s*(.*)", re.IGNORECASE)
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?")


def at_reference(network: Network, port_map: PortMap) -> tuple[Any, list[dict[str, Any]]]:
    """The matrix over single ports, the map's ports at 50 ohm (100 where a port is a whole pair), and what was changed.

    Errors: SetAside where the impedance of a differential port is not known, or the matrix cannot be converted.
    """
    s = to_ports(network.s, network.modes) if network.modes else network.s
    old, new = network.reference_ohm.copy(), network.reference_ohm.copy()
    stated = port_map.facts.reference_ohm
    want = tolerances("reference-impedance-changed")
    pair_ohm, port_ohm = want["pair_ohm"], want["port_ohm"]
    for pair in port_map.pairs:
        for ports in (pair.local, pair.remote):
            for port in ports:
                old[port - 1] = stated or old[port - 1]
                new[port - 1] = pair_ohm if len(ports) == 1 else port_ohm
                if len(ports) == 1 and stated is None and old[port - 1] != pair_ohm:
                    raise SetAside(
                        "it is not known to which impedance a differential port refers",
                        place=f"port {port}",
                        found=f"{old[port - 1]:g} ohm in the file, which may be that of the analyser before a balun",
                        expected="100 ohm, or reference_ohm in the port map",
                        remedy="add reference_ohm = 100 to the port map if the calibration was made behind the baluns",
                    )
    if stated is None and (said := doubt(network)):
        raise SetAside(
            "it is not known to which impedance the S-parameters refer",
            place="comments",
            found=said,
            expected="one real impedance per port, in the option line or [Reference]",
            remedy="export the measurement renormalised to 50 ohm, or add reference_ohm to the port map",
        )
    other = [p for p in port_map.ports if old[p - 1] != new[p - 1]]
    if not other:
        return s, []
    try:
        s = renormalise(s, old, new)
    except np.linalg.LinAlgError:
        s = np.full_like(s, np.nan)
    if not np.isfinite(s).all():
        raise SetAside(
            "the S-parameters cannot be converted to the reference impedance of cabling",
            found=_ohms(old, other),
            expected=_ohms(new, other),
            remedy="export the measurement at 50 ohm per port",
        )
    changed = finding(
        "reference-impedance-changed",
        where=f"port{'s' * (len(other) > 1)} {', '.join(map(str, other))}",
        found=_ohms(old, other),
        expected=_ohms(new, other),
        status="input changed",
    )
    return s, [changed]


def doubt(network: Network) -> str:
    """What the comments of a simulator say against the reference impedance of the option line; "" where nothing."""
    for comment in network.comments:
        if _NOT_NORMALISED.search(comment):
            return comment
        match = _IMPEDANCES.match(comment)
        numbers = [float(w) for w in match[1].split() if _NUMBER.fullmatch(w)] if match else []
        real, imaginary = numbers[::2], numbers[1::2]
        if any(imaginary) or any(abs(z - r) > 1e-6 * r for z, r in zip(real, network.reference_ohm, strict=False)):
            return comment
    return ""


def _ohms(values: Any, ports: list[int]) -> str:
    return ", ".join(f"{v:g}" for v in dict.fromkeys(float(values[p - 1]) for p in ports)) + " ohm"
