"""A Touchstone file and its port map as a batch of one record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.formats.touchstone import port_map as maps
from archive.formats.touchstone.account import account
from archive.formats.touchstone.facts import notes, record_facts
from archive.formats.touchstone.findings import finding, tolerances
from archive.formats.touchstone.mixed_mode import renormalise, to_ports
from archive.formats.touchstone.network import Network
from archive.formats.touchstone.numeric import line_of
from archive.formats.touchstone.parse import parse
from archive.formats.touchstone.phase import LinePhase
from archive.formats.touchstone.plausible import faults, line_faults
from archive.formats.touchstone.port_map import Pair, PortMap
from archive.formats.touchstone.quantities import Modes, curves
from archive.tables import Batch, axis_row, row_id
from archive.version import __version__
from archive.vocabulary import PAIRS

LAYOUT = "touchstone"
MOST_BYTES = 1 << 30
"""Larger files are refused: no sweep of cabling comes near."""


class _SetAside(Exception):
    """The record cannot be used; the columns of its row of set_aside."""

    def __init__(self, reason: str, **columns: Any) -> None:
        super().__init__(reason)
        self.reason, self.columns = reason, columns


def load(entry: Entry) -> Network:
    """The network in a file. Errors: Trouble where it is not as the specification says, or too large."""
    if entry.size > MOST_BYTES:
        raise Trouble(
            "this file is too large for a sweep of cabling",
            where=entry.name,
            found=f"{entry.size} bytes",
            expected=f"{MOST_BYTES} at the most",
            remedy="check that the file is what its name says",
        )
    return parse(entry.path.read_bytes(), entry.name)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """One batch of one record, or of a row of set_aside where there is no port map or a value is no use.

    mapping: path of a port map; a mapping of another kind is none of ours. By default the map beside the file.
    draft has no effect: a port map is never guessed.
    Errors: Trouble where the file or its port map is not as it must be.
    """
    network = load(entry)
    path = maps.given(mapping) or maps.find(entry)
    source = entry.source(layout=LAYOUT, reader=f"muniment {__version__} {LAYOUT}", encoding=network.encoding)
    if path is None:
        stem = Path(entry.name).stem
        row = entry.set_aside(
            "no port map says which ports are at which pair",
            found=f"{network.ports} ports, {network.points} frequencies",
            expected=f"{stem}.toml or {maps.FOLDER_MAPS[0]} beside the file",
            remedy=f"`muniment survey {entry.name}` prints a draft of the map: complete it and save it as {stem}.toml",
        )
        yield Batch.from_rows({"sources": [source], "set_aside": [row]})
        return
    port_map = maps.read_map(path, Path(entry.name).name, network.ports)
    source["mapping_sha256"] = port_map.sha256
    try:
        yield Batch.from_rows(_rows(entry, network, port_map, source))
    except _SetAside as aside:
        row = entry.set_aside(aside.reason, link_label=port_map.link, **aside.columns)
        yield Batch.from_rows({"sources": [source], "set_aside": [row]})


def _rows(entry: Entry, network: Network, port_map: PortMap, source: dict[str, Any]) -> dict[str, Any]:
    """All rows of the batch. Errors: _SetAside, Trouble."""
    _usable(network)
    s, changed = _at_reference(network, port_map)
    pairs = _renumbered(port_map)
    keep = [p - 1 for p in port_map.ports]
    s = s[:, keep][:, :, keep]
    record_id = row_id("re", entry.sha256, LAYOUT, f"{LAYOUT} 1", port_map.sha256)
    columns, shared, found = record_facts(port_map)
    cells = account(network, port_map)
    f_mhz = network.frequencies_mhz
    axis = axis_row(f_mhz)
    modes = Modes(s, pairs)
    sweeps, empty = _sweeps(modes, pairs, record_id, axis["axis_id"])
    found += changed
    found += faults(f_mhz, s, pairs)
    more, phases = line_faults(f_mhz, modes, pairs)
    found += more + empty + _coverage(pairs) + _noise(network)
    record = {
        **columns,
        "record_id": record_id,
        "evidence": "full-sweep",
        "source_id": entry.sha256,
        "source_place": "network data",
    }
    extras = cells.extras + [
        {"name": f"ports of pair {p.name}", "place": port_map.where, "value": _spelled(p)} for p in port_map.pairs
    ]
    extras += [
        {"name": name, "place": f"{port_map.where} notes", "value": text} for name, text in notes(port_map.facts)
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
    """Errors: _SetAside where a value is NaN or infinite."""
    import numpy as np

    bad = np.argwhere(~np.isfinite(network.s))
    if not len(bad):
        return
    point, row, column = (int(k) for k in bad[0])
    line = line_of(network.body, network.body_line, point * network.per_point)
    raise _SetAside(
        "a value of the sweep is no number",
        place=f"line {line} and after, {network.frequencies_mhz[point]:g} MHz",
        found=f"S{row + 1},{column + 1} is not finite, and {len(bad) - 1} other values",
        expected="numbers only",
        remedy="measure or export the link again",
    )


def _at_reference(network: Network, port_map: PortMap) -> tuple[Any, list[dict[str, Any]]]:
    """The matrix over single ports, the map's ports at 50 ohm (100 where a port is a whole pair), and what was changed.

    Errors: _SetAside where the impedance of a differential port is not known, or the matrix cannot be converted.
    """
    import numpy as np

    s = to_ports(network.s, network.modes) if network.modes else network.s
    old, new = network.reference_ohm.copy(), network.reference_ohm.copy()
    stated = port_map.facts.get("reference_ohm")
    want = tolerances("reference-impedance-changed")
    pair_ohm, port_ohm = want["pair_ohm"], want["port_ohm"]
    for pair in port_map.pairs:
        for ports in (pair.local, pair.remote):
            for port in ports:
                old[port - 1] = stated or old[port - 1]
                new[port - 1] = pair_ohm if len(ports) == 1 else port_ohm
                if len(ports) == 1 and stated is None and old[port - 1] != pair_ohm:
                    raise _SetAside(
                        "it is not known to which impedance a differential port refers",
                        place=f"port {port}",
                        found=f"{old[port - 1]:g} ohm in the file, which may be that of the analyser before a balun",
                        expected="100 ohm, or reference_ohm in the port map",
                        remedy="add reference_ohm = 100 to the port map if the calibration was made behind the baluns",
                    )
    other = [p for p in port_map.ports if old[p - 1] != new[p - 1]]
    if not other:
        return s, []
    try:
        s = renormalise(s, old, new)
    except np.linalg.LinAlgError:
        s = np.full_like(s, np.nan)
    if not np.isfinite(s).all():
        raise _SetAside(
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


def _ohms(values: Any, ports: list[int]) -> str:
    return ", ".join(f"{v:g}" for v in dict.fromkeys(float(values[p - 1]) for p in ports)) + " ohm"


def _renumbered(port_map: PortMap) -> list[Pair]:
    """The pairs with their ports counted among the map's ports alone."""
    number = {port: i for i, port in enumerate(port_map.ports, 1)}
    return [
        replace(p, local=tuple(number[k] for k in p.local), remote=tuple(number[k] for k in p.remote))
        for p in port_map.pairs
    ]


def _sweeps(
    modes: Modes, pairs: list[Pair], record_id: str, axis_id: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of sweeps, and a finding where points have no value."""
    import numpy as np

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
    if "length_m" in port_map.facts:
        rows.append(
            {
                "record_id": record_id,
                "quantity": "length",
                "origin": "stated",
                "value": port_map.facts["length_m"],
            }
        )
    return rows


def _coverage(pairs: list[Pair]) -> list[dict[str, Any]]:
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


def _spelled(pair: Pair) -> str:
    """The ports of a pair in words."""
    ends = [("local", pair.local), ("remote", pair.remote)]
    return "; ".join(f"{end} {','.join(map(str, ports))}" for end, ports in ends if ports)
