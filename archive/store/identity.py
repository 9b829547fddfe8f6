"""Which records are of one link: those of one label whose places agree as far as they are given.

A link is a label at a place: site (or else job), building, floor and space as far as given. A record that gives less
joins the one link that it can be of; where it could be of several it is in doubt, and counts for none of them. Records
of one link that contradict each other as cables do are kept apart, in doubt, until a person says same or different.
What counts as a contradiction: schemas/identity.toml.
Rows are those of `records` in the catalogue: mappings with row, job_id, building, floor, space, medium, cable_type,
length_m, configuration, verdict, reported_verdict, tested_local, tested_at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from archive import schemas
from archive.vocabulary import cables, places
from archive.vocabulary.places import PLACE, Place, agree, place

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Decision:
    """What a person decided of two records, by row: that they are of the same link, or of different ones."""

    first: int
    second: int
    same: bool


@dataclass(frozen=True)
class Side:
    """Records that are taken for one link. doubt: why that is not sure, in a sentence; empty where it is."""

    rows: tuple[int, ...]
    doubt: str = ""


def sides(rows: Iterable[Row], decisions: Iterable[Decision] = ()) -> list[Side]:
    """The links that records of one label at one site are of, in the order of their first record."""
    listed = sorted(rows, key=lambda r: r["row"])
    if len(listed) == 1:
        return [Side((listed[0]["row"],))]
    decided = list(decisions)
    found: list[Side] = []
    for members, doubt in _by_place(listed, decided):
        found.extend(_by_cable(members, doubt, decided))
    return sorted(found, key=lambda s: s.rows[0])


def joined(rows: Iterable[Row]) -> Place:
    """The place of a link by its records: each part as the first gives it that does."""
    return places.joined(place(r) for r in rows)


def contradiction(a: Row, b: Row) -> str:
    """How two records contradict each other as cables do, in a few words; empty where they do not."""
    rules = schemas.load("identity.toml")
    if a["medium"] and b["medium"] and a["medium"] != b["medium"]:
        return f"{a['medium']} and {b['medium']}"
    for one, other in zip(_cable(a), _cable(b), strict=True):
        if one and other and one != other:
            return f"{one} and {other}"
    x, y = a["length_m"], b["length_m"]
    if x is None or y is None or _explained(a, b):
        return ""
    allowed = max(rules["length"]["share"] * max(x, y), rules["length"]["least_m"])
    if a["configuration"] != b["configuration"]:
        allowed += rules["length"]["cords_m"]
    return f"{x:.1f} m and {y:.1f} m" if abs(x - y) > allowed else ""


def _by_place(rows: Sequence[Row], decisions: Sequence[Decision]) -> list[tuple[list[Row], str]]:
    """Groups of records whose places agree, and why one is in doubt.

    A place that agrees with two others which contradict each other is in doubt, unless a person decided where it
    belongs; without such places, those that agree with each other all do.
    """
    at: dict[Place, list[Row]] = defaultdict(list)
    for r in rows:
        at[place(r)].append(r)
    if len(at) == 1:
        return [(list(rows), "")]
    groups, unsure = places.grouped(at)
    made = [[r for p in g for r in at[p]] for g in groups]
    left: list[tuple[list[Row], str]] = []
    for p in (q for q in at if q in unsure):
        home_of = next((g for g in made if _decided(g, at[p], decisions, same=True)), None)
        if home_of is not None:
            home_of.extend(at[p])
        elif all(_decided(g, at[p], decisions, same=False) for g in made):
            left.append((at[p], ""))
        else:
            left.append(
                (at[p], f"it may be any of {len(made)} links of this label at places that it does not tell apart")
            )
    return [(g, "") for g in made] + left


def _by_cable(rows: Sequence[Row], doubt: str, decisions: Sequence[Decision]) -> list[Side]:
    """Records of one place, kept apart where they contradict each other and nobody decided that they are the same."""
    ordered = sorted(rows, key=lambda r: (r["tested_local"] or r["tested_at"] or "", r["row"]))
    groups: list[list[Row]] = []
    for r in ordered:
        fits = [g for g in groups if not _against(r, g, decisions)]
        near = [g for g in fits if any(m["job_id"] == r["job_id"] for m in g)]
        if fits:
            (near or fits)[-1].append(r)
        else:
            groups.append([r])
    groups = _joined(groups, decisions)
    made = []
    for group in groups:
        open_to = [g for g in groups if g is not group and not _decided(g, group, decisions, same=False)]
        told = [doubt] if doubt else []
        if open_to:
            why = dict.fromkeys(_why(group, other) for other in open_to)
            told.append(f"tests of this label contradict each other as cables do: {'; '.join(why)}")
        made.append(Side(tuple(sorted(m["row"] for m in group)), "; ".join(told)))
    return made


def _joined(groups: list[list[Row]], decisions: Sequence[Decision]) -> list[list[Row]]:
    """The groups, those made one of which a person said that they are the same."""
    out: list[list[Row]] = []
    for group in groups:
        homes = [g for g in out if _decided(g, group, decisions, same=True)]
        out = [g for g in out if not any(g is h for h in homes)]
        out.append([r for g in (*homes, group) for r in g])
    return out


def _against(row: Row, group: Sequence[Row], decisions: Sequence[Decision]) -> str:
    """Why a record is not of the link of these; empty where nothing speaks against it."""
    if _decided(group, [row], decisions, same=False):
        return "decided to be different"
    return next((reason for m in group if (reason := contradiction(m, row))), "")


def _why(a: Sequence[Row], b: Sequence[Row]) -> str:
    """The first contradiction between two groups, the earlier record's fact first."""
    first, second = (a, b) if a[0]["row"] < b[0]["row"] else (b, a)
    return next((reason for x in first for y in second if (reason := contradiction(x, y))), "kept apart")


def _decided(a: Sequence[Row], b: Sequence[Row], decisions: Sequence[Decision], *, same: bool) -> bool:
    """Whether a person said of any record of the one and any of the other that they are the same, or different."""
    x, y = {r["row"] for r in a}, {r["row"] for r in b}
    return any(
        d.same == same and ((d.first in x and d.second in y) or (d.first in y and d.second in x)) for d in decisions
    )


def _cable(row: Row) -> tuple[str, str]:
    """Category and construction as far as they are known."""
    parts = cables.known(row["cable_type"])
    return parts.get("class", ""), parts.get("construction", "")


def _explained(a: Row, b: Row) -> bool:
    """Whether the earlier of two tests failed: a repair, or a cable run again, explains another length."""
    earlier = min((a, b), key=lambda r: (r["tested_local"] or r["tested_at"] or "", r["row"]))
    return "fail" in (earlier["verdict"], earlier["reported_verdict"])


__all__ = ["PLACE", "Decision", "Place", "Side", "agree", "contradiction", "joined", "place", "sides"]
