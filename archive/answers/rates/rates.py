"""Rates of an archive: groups, their total, their differences, and what a reader must know beside the numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive import schemas, vocabulary
from archive.answers.progress import counts_of
from archive.answers.rates.cable_shares import cable_notes
from archive.answers.rates.compare import differences
from archive.answers.rates.count import counts, refused, row_of
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.group import RateGroup, total
from archive.answers.rates.source import Choice, CountingSource
from archive.errors import Trouble
from archive.store import Archive
from archive.store.counting.blocks import counting
from archive.vocabulary.link_counts import LinkCounts

COMPARISONS = ("auto", "pairs", "rest", "none")


@dataclass(frozen=True)
class Rates:
    """What was counted. rows: one per group, see count.row_of; total: the same over all; differences: see compare.

    counts: of the links, where a whole job was chosen.
    """

    fields: Sequence[GroupField]
    rows: list[dict[str, Any]]
    total: dict[str, Any]
    differences: list[dict[str, Any]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    counts: LinkCounts | None = None

    def name(self, row: dict[str, Any]) -> str:
        """What a group is called: its values, joined."""
        return name_of(self.fields, row)


def rates(
    archive: Archive,
    by: Iterable[str] = (),
    choice: Choice | None = None,
    *,
    compare: str = "auto",
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> Rates:
    """Counts an archive. by: names of fields (fields.FIELDS). compare: one of COMPARISONS.

    Errors: Trouble for a field, value or comparison that there is not, or a damaged archive.
    """
    if compare not in COMPARISONS:
        raise Trouble(
            "no such comparison", code="rates.unknown-comparison", found=compare, expected=", ".join(COMPARISONS)
        )
    choice = choice or Choice()
    fields = chosen(by, choice.length_edges)
    refused(choice, fields)
    source = CountingSource(counting(archive, watch))
    groups = counts(source, choice, fields, by_job=compare != "none")
    rows = [_with_unit(row_of(g, fields), g, fields) for g in groups]
    single = any(f.name == "parameter" for f in fields)
    everything = RateGroup(()) if single else total(groups)
    found = [] if single else differences(groups, [name_of(fields, r) for r in rows], compare)
    counted = counts_of(archive, choice.filters, choice.role) if not choice.only else None
    notes = cable_notes(source, choice, [f.name for f in fields])
    notes += _notes(rows, groups, choice, single)
    return Rates(fields, rows, row_of(everything, ()), found, notes, counted)


def name_of(fields: Sequence[GroupField], row: dict[str, Any]) -> str:
    """What a group is called."""
    return ", ".join("unknown" if row[f.name] is None else str(row[f.name]) for f in fields) or "all"


def _with_unit(row: dict[str, Any], group: RateGroup, fields: Sequence[GroupField]) -> dict[str, Any]:
    """The row with the unit of its margins: dB, or that of the parameter."""
    parameter = next((v for f, v in zip(fields, group.key, strict=True) if f.name == "parameter"), None)
    return {**row, "margin_unit": "dB" if parameter is None else vocabulary.parameter(parameter).unit}


def _notes(rows: list[dict[str, Any]], groups: Sequence[RateGroup], choice: Choice, single: bool) -> list[str]:
    """What a reader must know to trust the numbers."""
    rules = schemas.load("rates.toml")
    out = []
    missing = sum(g.not_graded for g in groups)
    if missing and not single:
        out.append(
            f"{missing} links are not graded and stand in no rate; rate_at_least and rate_at_most say what they could "
            "change"
        )
    by_instrument = sum(g.by_instrument for g in groups)
    if by_instrument and choice.verdicts == "best" and not single:
        out.append(
            f"{by_instrument} links rest on the instrument's verdict alone: no curves came along (--verdicts program "
            "leaves them out)"
        )
    small = sum(1 for r in rows if r["small"])
    if small:
        out.append(f"{small} of {len(rows)} groups have fewer than {rules['small']['below']} links")
    if choice.filters.verdict is not None:
        out.append("records were chosen by their verdict: rates over them say nothing about the cabling")
    perfect = sum(1 for g in groups if g.links > rules["unusual"]["links"] and _perfect(g))
    if perfect:
        out.append(
            f"{perfect} groups of over {rules['unusual']['links']} links pass without one failure or retest: unusual; "
            "perhaps failures were filtered out of the export"
        )
    return out


def _perfect(g: RateGroup) -> bool:
    return g.passed == g.links and g.first_passed == g.first_links and g.retested == 0
