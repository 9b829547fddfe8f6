"""Verdicts in words, for the terminal."""

from __future__ import annotations

from collections import Counter
from typing import Any

from archive import vocabulary
from archive.vocabulary.limit_words import limit_words


def lines(document: dict[str, Any], detail: bool) -> list[str]:
    """What is said of one record against one limit. detail: each parameter too."""
    label = document["link"] or document["record"]
    out = [
        f"{label}: {headline(document)}",
        f"  against {limit_words(document['limit'] or 'no limit')}{_how(document)}",
    ]
    if document["worst"]:
        out.append(f"  worst: {point(document['worst'])}")
    if document["verdict"] != "fail" and document["worst"]:
        out.append(f"  {leading(document)}")
    for left_out in document["left_out"]:
        out.append(f"  left out: {points_left_out(left_out)}")
    if document["reason"]:
        out.append(f"  {document['reason']}")
    if document["decision"]:
        out.append(f"  {document['decision']}")
    if detail and document["overall"]:
        out += [f"  {line}" for line in table(document)]
        out += [f"  mean of both directions: {point(mean)}" for mean in document["averages"]]
    return out


def plain_pass(document: dict[str, Any]) -> bool:
    """Whether a verdict is a pass that nothing qualifies: not provisional, not marginal, and the instrument agrees."""
    told = ("provisional", "marginal", "within_resolution", "reason")
    return document["verdict"] == "pass" and document["agrees"] is not False and not any(document[k] for k in told)


def brief(document: dict[str, Any]) -> str:
    """A pass in one line: its leading margin, or else the worst, and where it is."""
    found, what = document["leading"], "leading"
    if found is None:
        found, what = document["worst"], "worst"
    margin = f"; {what}: {_margin(found)}" if found and found["margin"] is not None else ""
    return f"{document['link'] or document['record']}: pass{margin}"


def in_common(document: dict[str, Any]) -> str:
    """What brief leaves out and many links have in common: limit, points left out by rules, how it was decided."""
    names = sorted({f"{vocabulary.parameter(x['parameter']).name} ({x['rule']})" for x in document["left_out"]})
    parts = [f"against {limit_words(document['limit'] or 'no limit')}"]
    parts += [f"points left out: {', '.join(names)}"] if names else []
    return "; ".join([*parts, *([document["decision"]] if document["decision"] else [])])


def _margin(worst: dict[str, Any]) -> str:
    """NEXT 3-6/4-5 remote at 484 MHz, margin 2.2 dB."""
    meant = vocabulary.parameter(worst["parameter"])
    at = f" at {worst['frequency_mhz']:g} MHz" if worst["frequency_mhz"] is not None else ""
    return f"{' '.join(x for x in (meant.name, place(worst)) if x)}{at}, margin {worst['margin']:.2f} {meant.unit}"


def headline(document: dict[str, Any]) -> str:
    """The verdict with everything that must not be overlooked about it."""
    parts = [document["verdict"]]
    if document["provisional"]:
        parts.append(f"provisional ({document['provisional_because']})")
    if document["marginal"]:
        parts.append(f"marginal, {document['marginal_basis']}")
    if document["within_resolution"]:
        parts.append("within the resolution of the export")
    if document["agrees"] is False:
        parts.append("differs from the instrument")
    return ", ".join(parts)


def _how(document: dict[str, Any]) -> str:
    covers = document["covers_mhz"]
    parts = [f"{covers[0]:g}-{covers[1]:g} MHz covered"] if covers else []
    if document["reported"]:
        parts.append(f"the instrument says {document['reported']}")
    if document["confirmed_by"]:
        parts.append(document["confirmed_by"])
    return "".join(f"; {part}" for part in parts)


def point(worst: dict[str, Any]) -> str:
    """NEXT 3-6/4-5 remote at 484 MHz: 29.1 dB against 26.9, margin 2.2."""
    meant = vocabulary.parameter(worst["parameter"])
    where = place(worst)
    where = f"{meant.name} {where}" if where else meant.name
    at = f" at {worst['frequency_mhz']:g} MHz" if worst["frequency_mhz"] is not None else ""
    if worst["value"] is None or worst["margin"] is None:
        return f"{where}{at}: no finite number"
    return f"{where}{at}: {worst['value']:.6g} {meant.unit} against {worst['limit']:.2f}, margin {worst['margin']:.2f}"


def place(entry: dict[str, Any]) -> str:
    """3-6/4-5 remote; of optical links fibre 7 local-remote 850 nm."""
    nm = entry.get("wavelength_nm")
    fiber = f"fibre {entry['pairing']}" if nm is not None and entry["pairing"] else entry["pairing"]
    return " ".join(x for x in (fiber, entry["end"], entry.get("direction"), "" if nm is None else f"{nm:g} nm") if x)


def leading(document: dict[str, Any]) -> str:
    """The leading margin, with insertion loss beside it; or that there is none."""
    found = document["leading"]
    if found is None:
        return "no leading margin: neither return loss nor crosstalk was graded"
    beside = found["insertion_loss_margin_db"]
    return f"leading: {point(found)}" + ("" if beside is None else f"; insertion loss {beside:.2f} dB beside it")


def points_left_out(left_out: dict[str, Any]) -> str:
    """Return loss: 64 points from 1 to 2.05 MHz, insertion loss below 3 dB (C)."""
    name = vocabulary.parameter(left_out["parameter"]).name
    extent = f"{left_out['from_mhz']:g} to {left_out['to_mhz']:g} MHz"
    return f"{name}: {left_out['points']} points from {extent}, {left_out['rule']}"


def table(document: dict[str, Any]) -> list[str]:
    """Each parameter: verdict, worst margin, the instrument's, where."""
    worst: dict[str, dict[str, Any]] = {}
    for entry in document["parameters"]:
        worst.setdefault(entry["parameter"], entry)
    rows = [("parameter", "verdict", "margin", "instrument's", "where", "")]
    for overall in document["overall"]:
        entry = worst.get(overall["parameter"])
        found = entry and (entry["worst_margin"] or entry["worst_value"])
        where = place(entry) if entry else ""
        if found and found["frequency_mhz"] is not None:
            where += f" at {found['frequency_mhz']:g} MHz"
        verdict = overall["verdict"] + (", provisional" if overall["provisional"] else "")
        meant = vocabulary.parameter(overall["parameter"])
        theirs = overall["reported_margin"]
        rows.append(
            (
                meant.name,
                verdict,
                "" if overall["margin"] is None else f"{overall['margin']:.2f} {meant.unit}",
                "" if theirs is None else f"{theirs:.6g}",
                where.strip(),
                overall["reason"] or "",
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    return ["  ".join([*(c.ljust(w) for c, w in zip(row, widths, strict=False)), row[5]]).rstrip() for row in rows]


class VerdictCount:
    """Counts verdicts and says the sum in one line."""

    def __init__(self) -> None:
        self.verdicts: Counter[str] = Counter()
        self.provisional = self.marginal = self.differ = self.set_aside = 0

    def add(self, document: dict[str, Any]) -> None:
        """Takes one document into account."""
        self.verdicts[document["verdict"]] += 1
        self.provisional += bool(document["provisional"])
        self.marginal += bool(document["marginal"])
        self.differ += document["agrees"] is False

    @property
    def anything_to_look_at(self) -> bool:
        """A fail, a disagreement, something not graded or set aside."""
        return bool(self.verdicts["fail"] or self.verdicts["not graded"] or self.differ or self.set_aside)

    def __str__(self) -> str:
        parts = [f"{self.verdicts[word]} {word}" for word in ("pass", "fail", "not graded")]
        parts += [f"{n} {word}" for n, word in ((self.provisional, "provisional"), (self.marginal, "marginal")) if n]
        parts += [f"{self.differ} differ from the instrument"] if self.differ else []
        parts += [f"{self.set_aside} set aside"] if self.set_aside else []
        return ", ".join(parts)
