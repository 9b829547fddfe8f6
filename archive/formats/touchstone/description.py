"""What a network-analyser file holds, for `muniment survey`: nothing is converted, and no port map is needed."""

from __future__ import annotations

from collections import Counter
from typing import Any

from archive.formats.description import Description, counted
from archive.formats.recognition import Entry
from archive.formats.touchstone import port_map as maps
from archive.formats.touchstone.cell_account import account
from archive.formats.touchstone.draft_map import draft
from archive.formats.touchstone.network import Network, SetAside
from archive.formats.touchstone.read_network import load

_FORMATS = {"DB": "dB and degrees", "MA": "magnitude and degrees", "RI": "real and imaginary part"}


def describe(entry: Entry, *, mapping: Any = None) -> Description:
    """Ports, points, range, impedance, and what a conversion would leave unmapped; without a port map, a draft of it.

    Errors: Trouble where the file or its port map is not as it must be.
    """
    try:
        network = load(entry)
    except SetAside as aside:
        remedy = str(aside.columns["remedy"])
        said = f"{aside.reason}; found {aside.columns['found']}. {remedy[0].upper()}{remedy[1:]}"
        return Description(entry.name, layout="touchstone", set_aside=[said])
    out = Description(entry.name, layout="touchstone", encoding=network.encoding, decimal_mark=".")
    out.units = [network.unit, _FORMATS[network.number_format]]
    out.notes.append(_shape(network))
    path = maps.given(mapping) or maps.find(entry)
    if path is None:
        out.set_aside.append("no port map says which ports are at which pair")
        out.unmapped = counted(Counter(k.name for k in network.kept))
        out.draft = draft(network, entry.name)
        return out
    port_map = maps.read_map(path, entry.path.name, network.ports)
    out.records, out.evidence = 1, "full-sweep"
    pairs = ", ".join(p.name for p in port_map.pairs)
    out.notes.append(f"port map {port_map.where}: link {port_map.link}, pair{'s' * (len(port_map.pairs) > 1)} {pairs}")
    out.unmapped = counted(Counter(row["name"] for row in account(network, port_map).extras))
    return out


def _shape(network: Network) -> str:
    f = network.frequencies_mhz
    ohm = sorted({f"{v:g}" for v in network.reference_ohm}, key=float)
    kind = "mixed-mode" if network.modes else "single-ended"
    ports = f"{network.ports} port{'s' * (network.ports > 1)}"
    converted = "" if network.parameter == "S" else f", {network.parameter}-parameters converted to S"
    return (
        f"Touchstone {network.version}, {ports} ({kind}), {network.points} frequencies from {f[0]:g} to "
        f"{f[-1]:g} MHz, reference {', '.join(ohm)} ohm{converted}"
    )
