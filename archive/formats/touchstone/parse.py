"""A Touchstone file, version 1.1 or 2, as a Network.

Touchstone File Format Specification 1.1 (EIA/IBIS Open Forum) and 2.0 (IBIS Open Forum, 2009), from memory; the
tests hold this reader against scikit-rf.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from archive.errors import Trouble
from archive.formats.touchstone import immittance, keywords, numeric
from archive.formats.touchstone.network import Mode, Network, SetAside
from archive.formats.touchstone.options import SPELLED, UNITS, OptionLine, positive
from archive.formats.touchstone.scan import Scan, decode, scan

SUFFIX = re.compile(r"\.(?:s(\d{1,12})p|ts)", re.IGNORECASE)
"""Suffix of a Touchstone file: .s4p says four ports; .ts leaves it to [Number of Ports]."""


def ports_of_name(path: str) -> int | None:
    """Number of ports that the suffix of a file gives; None where it gives none."""
    match = SUFFIX.fullmatch("." + path.rsplit(".", 1)[-1]) if "." in path else None
    return int(match[1]) if match and match[1] else None


def parse(data: bytes, path: str) -> Network:
    """The network in a file. data: its bytes; path: its name, whose suffix gives the number of ports in version 1.

    Values that are no use (NaN, infinity) come through as they are: the reader sets such a record aside.
    Errors: Trouble with the line where the file is not as the specification says; SetAside where it is, and what it
    holds cannot be had as S-parameters of real impedances.
    """
    text, encoding = decode(data)
    parts = scan(text, path)
    options = parts.options
    assert options is not None
    ports = _ports(parts, path)
    version = "1"
    if "version" in parts.words:
        version = keywords.check_version(parts.words["version"][0], parts.where(parts.words["version"][1]))
    layout = _layout(parts, ports, version)
    numbers = numeric.parse_numbers(parts.body, parts.body_line, path)
    half = layout in ("lower", "upper")
    per_point = 1 + 2 * (ports * (ports + 1) // 2 if half else ports * ports)
    noise = parts.noise.strip()
    if version == "1" and ports == 2 and (cut := numeric.noise_start(parts.body)) is not None:
        noise = parts.body[cut:].strip()
        numbers = numbers[: len(numbers) - len(noise.split())]
    if not len(numbers) or len(numbers) % per_point:
        raise numeric.count_fault(parts.body, parts.body_line, path, ports, per_point)
    table = numbers.reshape(-1, per_point)
    fault = numeric.rising_fault(table[:, 0], parts.body, parts.body_line, path, per_point)
    if fault:
        raise fault
    _check_count(parts, len(table), version)
    values = _matrices(_complex(table[:, 1::2], table[:, 2::2], options.number_format), ports, layout)
    reference, modes = _reference(parts, options, ports), _modes(parts, ports)
    if options.parameter != "S":
        if found := immittance.obstacle(options.parameter, ports, layout, mixed=bool(modes)):
            remedy = "export the measurement as S-parameters"
            raise SetAside(immittance.REASON, found=found, expected="S-parameters", remedy=remedy)
        values = immittance.scattering(values, options.parameter, reference, normalised=version == "1")
    return Network(
        ports=ports,
        version=version,
        frequencies_mhz=_mhz(table[:, 0], UNITS[options.unit]),
        s=values,
        reference_ohm=reference,
        modes=modes,
        kept=tuple(parts.kept),
        numbers=len(numbers),
        noise=noise,
        body=parts.body,
        body_line=parts.body_line,
        layout=layout,
        unit=SPELLED[options.unit],
        parameter=options.parameter,
        number_format=options.number_format,
        encoding=encoding,
    )


def _ports(parts: Scan, path: str) -> int:
    """Number of ports by keyword and suffix, which must agree.

    Errors: Trouble where they do not; SetAside where there is neither.
    """
    named = ports_of_name(path)
    if named is not None:
        keywords.sane_ports(named, path)
    if "number of ports" in parts.words:
        word, line = parts.words["number of ports"]
        stated = keywords.sane_ports(keywords.whole(word, "Number of Ports", parts.where(line)), parts.where(line))
        if named not in (None, stated):
            raise Trouble(
                "[Number of Ports] and the suffix of the file differ",
                code="touchstone.ports",
                where=parts.where(line),
                found=f"{stated} ports",
                expected=f"{named} as the suffix says",
                remedy="export it again, or hand in a copy whose name has the right suffix",
            )
        return stated
    if named is None:
        raise SetAside(
            "nothing says how many ports this network-analyser file has",
            found="another suffix, and no [Number of Ports]",
            expected="a suffix such as .s4p, or [Number of Ports]",
            remedy="hand in a copy whose suffix gives its number of ports",
        )
    return named


def _layout(parts: Scan, ports: int, version: str) -> str:
    """How a matrix is laid out: full, lower, upper, or one of the orders of two ports (21_12, 12_21)."""
    word, line = parts.words.get("matrix format", ("full", 0))
    layout = word.lower()
    if layout not in ("full", "lower", "upper"):
        raise Trouble(
            "[Matrix Format] is not of the specification",
            code="touchstone.keyword-value",
            where=parts.where(line),
            found=repr(word),
            expected="Full, Lower or Upper",
        )
    if ports != 2 or layout != "full":
        return layout
    key = "two-port data order" if "two-port data order" in parts.words else "two-port order"
    if key not in parts.words:
        if version != "1":
            raise Trouble(
                "the order of two-port data is not stated",
                code="touchstone.keyword-value",
                where=parts.path,
                expected="[Two-Port Data Order] 21_12 or 12_21",
                remedy="add the keyword that the measurement had, or export the file again",
            )
        return "21_12"
    word, line = parts.words[key]
    if word not in ("21_12", "12_21"):
        raise Trouble(
            "[Two-Port Data Order] is not of the specification",
            code="touchstone.keyword-value",
            where=parts.where(line),
            found=repr(word),
            expected="21_12 or 12_21",
        )
    return word


def _check_count(parts: Scan, points: int, version: str) -> None:
    if "number of frequencies" not in parts.words:
        return
    word, line = parts.words["number of frequencies"]
    stated = keywords.whole(word, "Number of Frequencies", parts.where(line))
    if stated != points:
        raise Trouble(
            "[Number of Frequencies] does not match the data",
            code="touchstone.point-count",
            where=parts.where(line),
            found=f"{points} frequencies",
            expected=f"{stated}",
            remedy="the file seems to be cut off or edited: export it again",
        )


def _reference(parts: Scan, options: OptionLine, ports: int) -> Any:
    """Reference impedance of every port in ohm, float64 (N,)."""
    values, where = list(options.reference_ohm), parts.path
    if "reference" in parts.words:
        text, line = parts.words["reference"]
        where = parts.where(line)
        values = [positive(word, where) for word in text.split()]
    if len(values) not in (1, ports):
        raise Trouble(
            "the reference impedances do not match the ports",
            code="touchstone.impedance",
            where=where,
            found=f"{len(values)} of them",
            expected=f"1 or {ports}",
            remedy="export the file again with one impedance per port",
        )
    return np.array(values * (ports if len(values) == 1 else 1), dtype=np.float64)


def _modes(parts: Scan, ports: int) -> tuple[Mode, ...]:
    if "mixed-mode order" not in parts.words:
        return ()
    text, line = parts.words["mixed-mode order"]
    return keywords.read_modes(text, ports, parts.where(line))


def _mhz(values: Any, factor: float) -> Any:
    """Frequencies in MHz; the dust of the multiplication is taken off where it is dust (below 1 part in 10^12)."""
    scaled = values / 1e6 if factor == 1e-6 else values / 1e3 if factor == 1e-3 else values * factor
    clean = np.rint(scaled * 1e9) / 1e9
    return np.where(np.abs(clean - scaled) <= 1e-12 * np.abs(scaled), clean, scaled)


def _complex(first: Any, second: Any, number_format: str) -> Any:
    """Complex values of two numbers each: RI real, imaginary; MA magnitude, degrees; DB decibels, degrees."""
    out = np.empty(first.shape, dtype=np.complex128)
    if number_format == "RI":
        out.real, out.imag = first, second
        return out
    with np.errstate(over="ignore", invalid="ignore"):
        size = 10.0 ** (first / 20.0) if number_format == "DB" else first
        angle = np.deg2rad(second)
        out.real, out.imag = size * np.cos(angle), size * np.sin(angle)
    return out


def _matrices(values: Any, ports: int, layout: str) -> Any:
    """Values (F, K) of each point as matrices (F, N, N)."""
    if layout in ("lower", "upper"):
        out = np.empty((len(values), ports, ports), dtype=np.complex128)
        rows, columns = np.tril_indices(ports) if layout == "lower" else np.triu_indices(ports)
        out[:, rows, columns] = values
        out[:, columns, rows] = values
        return out
    out = values.reshape(-1, ports, ports)
    # Two ports stand as S11 S21 S12 S22 unless 12_21 is said: column after column.
    return out.transpose(0, 2, 1) if layout == "21_12" else out
