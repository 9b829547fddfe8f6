"""One measurement and its port map as the rows of one record."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from archive.formats.recognition import Entry
from archive.formats.touchstone.cell_account import account
from archive.formats.touchstone.findings import finding
from archive.formats.touchstone.network import Network, SetAside
from archive.formats.touchstone.numeric import line_of
from archive.formats.touchstone.phase import LinePhase
from archive.formats.touchstone.plausible import faults, line_faults
from archive.formats.touchstone.port_map import PairPorts, PortMap
from archive.formats.touchstone.quantities import Modes, curves
from archive.formats.touchstone.record_facts import notes, record_facts
from archive.formats.touchstone.reference import at_reference
from archive.tables import axis_row, row_id
from archive.vocabulary import PAIRS

LAYOUT = "touchstone"
"""Name of the layout, in `sources`."""
PLACE = "network data"
"""Where in its source a record stands."""


def record_rows(entry: Entry, network: Network, port_map: PortMap, source: dict[str, Any]) -> dict[str, Any]:
    """All rows of the batch. Errors: SetAside, Trouble."""
    _usable(network)
    s, changed = at_reference(network, port_map)
    pairs = _renumbered(port_map)
    keep = [p - 1 for p in port_map.ports]
    s = s[:, keep][:, :, keep]
    # The link is in it, because a map of a folder can say of two equal files that they are two links.
    record_id = row_id("re", entry.sha256, PLACE, f"{LAYOUT} 1", port_map.sha256, port_map.link)
    columns, shared, found = record_facts(port_map)
    cells = account(network, port_map)
    f_mhz = network.frequencies_mhz
    axis = axis_row(f_mhz)
    modes = Modes(s, pairs)
    sweeps, empty = _sweeps(modes, pairs, record_id, axis["axis_id"])
    found += changed
    implausible, misplaced = faults(f_mhz, s, modes, pairs)
    more, phases = line_faults(f_mhz, modes, [p for p in pairs if p.name not in misplaced])
    found += _converted(network) + implausible + more + empty + _coverage(pairs) + _noise(network)
    record = {
        **columns,
        "record_id": record_id,
        "evidence": "full-sweep",
        "source_id": entry.sha256,
        "source_place": PLACE,
    }
    extras = cells.extras + [
        {"name": f"ports of pair {p.name}", "place": port_map.where, "value": _spelled(p)} for p in port_map.pairs
    ]
    extras += [
        {"name": name, "place": f"{port_map.where} notes", "value": text} for name, text in notes(port_map.facts.notes)
    ]
    return {
        **shared,
        "axes": [axis],
        "sources": [{**source, **cells.cells}],
        "records": [record],
        "readings": _readings(port_map, phases, record_id),
        "sweeps": sweeps,
        "extras": [{"record_id": record_id, **row} for row in extras],
        "findings": [{**row, "record_id": record_id, "link_label": port_map.link} for row in found],
    }


def _usable(network: Network) -> None:
    """Errors: SetAside where a value is NaN or infinite."""
    bad = np.argwhere(~np.isfinite(network.s))
    if not len(bad):
        return
    point, row, column = (int(k) for k in bad[0])
    line = line_of(network.body, network.body_line, point * network.per_point)
    raise SetAside(
        "a value of the sweep is no number",
        place=f"line {line} and after, {network.frequencies_mhz[point]:g} MHz",
        found=f"{network.parameter}{row + 1},{column + 1} is not finite, and {len(bad) - 1} other values",
        expected="numbers only",
        remedy="measure or export the link again",
    )


def _renumbered(port_map: PortMap) -> list[PairPorts]:
    """The pairs with their ports counted among the map's ports alone."""
    number = {port: i for i, port in enumerate(port_map.ports, 1)}
    return [
        replace(p, local=tuple(number[k] for k in p.local), remote=tuple(number[k] for k in p.remote))
        for p in port_map.pairs
    ]


def _sweeps(
    modes: Modes, pairs: list[PairPorts], record_id: str, axis_id: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of sweeps, and a finding where points have no value."""
    rows: list[dict[str, Any]] = []
    empty, where = 0, []
    for parameter, end, pairing, origin, values in curves(modes, pairs):
        missing = np.isnan(values)
        listed: Any = values
        if missing.any():
            listed = [None if gone else v for v, gone in zip(values.tolist(), missing.tolist(), strict=True)]
            if origin == "measured":
                empty += int(missing.sum())
                where.append(" ".join(filter(None, (parameter, end, pairing))))
        rows.append(
            {
                "record_id": record_id,
                "parameter": parameter,
                "end": end,
                "pairing": pairing,
                "origin": origin,
                "axis_id": axis_id,
                "values": listed,
            }
        )
    if not empty:
        return rows, []
    named = ", ".join(where[:3]) + (f" and {len(where) - 3} other curves" if len(where) > 3 else "")
    note = finding("signal-of-zero", where=named, found=f"{empty} point{'s' * (empty > 1)}", status="input changed")
    return rows, [note]


def _readings(port_map: PortMap, phases: dict[str, LinePhase], record_id: str) -> list[dict[str, Any]]:
    """Delay at 10 MHz of each pair, from the phase of its transmission; the length that the map states."""
    rows: list[dict[str, Any]] = [
        {
            "record_id": record_id,
            "quantity": "propagation_delay",
            "subject": name,
            "frequency_mhz": 10.0,
            "origin": "measured",
            "value": phase.delay_10_ns,
        }
        for name, phase in phases.items()
        if phase.delay_10_ns is not None
    ]
    if port_map.facts.length_m is not None:
        rows.append(
            {
                "record_id": record_id,
                "quantity": "length",
                "origin": "stated",
                "value": port_map.facts.length_m,
            }
        )
    return rows


def _coverage(pairs: list[PairPorts]) -> list[dict[str, Any]]:
    lacking = [name for name in PAIRS if name not in {p.name for p in pairs}]
    one_end = [p.name for p in pairs if not p.remote]
    if not lacking and not one_end:
        return []
    covered = [p.name + (" at the local end" if not p.remote else "") for p in pairs]
    return [
        finding(
            "fewer-than-four-pairs",
            where=", ".join(lacking) or "remote end",
            found=f"pair{'s' * (len(covered) > 1)} {', '.join(covered)}"
            + ("; no crosstalk between pairs" if len(pairs) == 1 else ""),
            expected="pairs 1-2, 3-6, 4-5, 7-8 at both ends",
        )
    ]


def _noise(network: Network) -> list[dict[str, Any]]:
    if not network.noise:
        return []
    count = len(network.noise.split())
    return [finding("noise-data-left-out", where="the end of the file", found=f"{count} numbers")]


def _converted(network: Network) -> list[dict[str, Any]]:
    if network.parameter == "S":
        return []
    ohm = ", ".join(f"{v:g}" for v in dict.fromkeys(network.reference_ohm.tolist())) + " ohm"
    unit = f"normalised to {ohm}" if network.version == "1" else "in ohm and siemens"
    return [
        finding(
            "parameters-converted",
            where="the network data",
            found=f"{network.parameter}-parameters {unit}",
            expected=f"S-parameters at {ohm}",
            status="input changed",
        )
    ]


def _spelled(pair: PairPorts) -> str:
    """The ports of a pair in words."""
    ends = [("local", pair.local), ("remote", pair.remote)]
    return "; ".join(f"{end} {','.join(map(str, ports))}" for end, ports in ends if ports)
