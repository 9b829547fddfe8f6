"""Pairs of records with the same curves, as findings of the rules in schemas/rules/copies.toml."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pyarrow as pa

from archive.validation.catalogue import findings
from archive.validation.catalogue.answering import finding
from archive.validation.catalogue.policy import OFF, Policy
from archive.validation.catalogue.registry import AboutLinks, NotLooked, Raised
from archive.validation.copies import detector
from archive.validation.copies.detector import CopiedPair, Copies
from archive.validation.look import JobLook


def copied(look: JobLook, copies: Copies, looked_near: bool, policy: Policy) -> Iterator[pa.Table]:
    """Tables of findings, one finding for each record of a pair and rule."""
    for name in (r for r in detector.RULES if policy.severity(r) != OFF):
        partners: dict[tuple[str, str], list[tuple[CopiedPair, str]]] = {}
        for pair in (p for p in copies.pairs if p.rule == name):
            partners.setdefault((pair.a, pair.label_a), []).append((pair, pair.label_b))
            partners.setdefault((pair.b, pair.label_b), []).append((pair, pair.label_a))
        if partners:
            ids, labels = zip(*partners, strict=True)
            first = [p[0][0] for p in partners.values()]
            said = Raised(
                range(len(ids)),
                where=[f"{p.kind}, correlation {p.score:.3f}" for p in first],
                found=[_curves(p) for p in first],
                expected=[_others(label for _, label in p) for p in partners.values()],
            )
            names = pa.array([x or None for x in labels], type=pa.string())
            yield findings.table(name, policy, pa.array(ids, type=pa.string()), names, said)
        if name == detector.NEAR and not looked_near and look.size:
            why = "the records cannot be read a second time, which near copies need"
            yield finding(name, NotLooked(AboutLinks(), why), look, policy)


def _curves(pair: CopiedPair) -> str:
    names = " and ".join(p.replace("_", " ").replace("next", "NEXT") for p in pair.parameters)
    return f"{pair.curves} of {pair.of} curves of {names}"


def _others(labels: Iterable[str]) -> str:
    named = list(dict.fromkeys(x or "a record without a label" for x in labels))
    return ", ".join(named[:3]) + (f" and {len(named) - 3} more" if len(named) > 3 else "")
