"""The account of cells: every number of a file is a cell, and so is every comment, keyword and option line.

A number is mapped where it is a frequency or lies between two ports that the map names: the curves and the findings
are made of these. It is ignored where the map ignores one of its ports by name. Every other number is kept as extra,
in the words of the file, under the name of its parameter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from archive.formats.touchstone.network import Network
from archive.formats.touchstone.port_map import PortMap


@dataclass(frozen=True)
class NetworkAccount:
    """cells: the columns cells_* of `sources`; extras: rows of `extras` without their record."""

    cells: dict[str, int]
    extras: list[dict[str, Any]]


def account(network: Network, port_map: PortMap) -> NetworkAccount:
    """What became of every cell of a file."""
    mapped, ignored, extra = [], [], []
    for place, (row, column) in enumerate(_entries(network)):
        ports = {*_ports(network, row), *_ports(network, column)}
        if ports & set(port_map.ignored):
            ignored.append(place)
        elif ports <= set(port_map.ports):
            mapped.append(place)
        else:
            extra.append((place, row, column))
    extras = [{"name": k.name, "place": k.place, "value": k.value} for k in network.kept]
    noise = len(network.noise.split())
    if noise:
        extras.append({"name": "noise data", "place": "noise data", "value": network.noise})
    if extra:
        words = network.body.split()[: network.numbers]
        for place, row, column in extra:
            first = words[1 + 2 * place :: network.per_point]
            second = words[2 + 2 * place :: network.per_point]
            value = " ".join(f"{a} {b}" for a, b in zip(first, second, strict=True))
            extras.append({"name": _name(network, row, column), "place": "network data", "value": value})
    points = network.points
    cells = {
        "cells_read": network.numbers + noise + len(network.kept),
        "cells_mapped": points * (1 + 2 * len(mapped)),
        "cells_extra": points * 2 * len(extra) + noise + len(network.kept),
        "cells_ignored": points * 2 * len(ignored),
    }
    return NetworkAccount(cells, extras)


def _entries(network: Network) -> list[tuple[int, int]]:
    """Row and column, from 0, of each S-parameter in the order of the file."""
    n, layout = network.ports, network.layout
    if layout == "21_12":
        return [(i, j) for j in range(n) for i in range(n)]
    if layout == "lower":
        return [(i, j) for i in range(n) for j in range(i + 1)]
    if layout == "upper":
        return [(i, j) for i in range(n) for j in range(i, n)]
    return [(i, j) for i in range(n) for j in range(n)]


def _ports(network: Network, index: int) -> tuple[int, ...]:
    return network.modes[index].ports if network.modes else (index + 1,)


def _name(network: Network, row: int, column: int) -> str:
    if not network.modes:
        return f"{network.parameter}{row + 1},{column + 1}"
    return "S" + " ".join(m.kind + ",".join(map(str, m.ports)) for m in (network.modes[row], network.modes[column]))
