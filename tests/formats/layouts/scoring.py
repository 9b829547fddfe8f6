"""How much of the truth of a document arrived in the tables: right, wrong, missing; and how each command ended.

An item of truth is one cell of an identity, one scalar, one number of a worst case, or one whole curve. It is
    right    it stands in the tables under its link, pair, end and parameter with its value
    missing  nothing stands there
    wrong    something else stands there. What stands there and is nowhere in the document is wrong too, and so is
             everything under a link that the document does not know.
A document is read twice: by the mapping that is drafted for it (`drafted`), and by `convert` alone, which uses a draft
only where it is sure (`alone`). So what is wrong in the second reading is wrongly sure.
"""

from __future__ import annotations

import math
import shutil
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from tests.formats.layouts.document import Key
from tests.formats.layouts.make import Layout
from tests.formats.layouts.truth import PARAMETERS

COMMANDS = ("survey", "draft", "convert drafted", "convert", "check")
_MEASURED = ("measured", "limit", "margin")
_ENDLESS = ("insertion_loss",)
"""Parameters whose end makes no difference: a document that says none is not contradicted by one."""


@dataclass
class Score:
    """Items of truth by what became of them; wrong counts what was invented too. examples: some that went wrong.

    by_key: right, wrong and missing values under each key, of all links together.
    """

    right: int = 0
    wrong: int = 0
    missing: int = 0
    of: int = 0
    examples: list[str] = field(default_factory=list)
    by_key: dict[Key, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))

    @property
    def share(self) -> float:
        """Share of the truth that is right."""
        return self.right / self.of if self.of else 0.0

    @property
    def wrong_share(self) -> float:
        """What is wrong, as a share of the truth; more than 1 where much is invented."""
        return self.wrong / self.of if self.of else 0.0


@dataclass
class Outcome:
    """One document: what its draft reads, what convert reads alone, and the exit code and words of each command."""

    layout: Layout
    drafted: Score
    alone: Score
    ended: dict[str, int]
    said: dict[str, str]

    @property
    def silent(self) -> bool:
        """Less than half of the truth was read without a mapping, and convert ended as if all were well."""
        return self.alone.share < 0.5 and self.ended["convert"] == 0


def score_file(layout: Layout, folder: Path | None = None) -> Outcome:
    """Writes a document, runs the commands on it as a person would, and compares what they wrote with the truth."""
    made = Path(tempfile.mkdtemp(prefix="muniment-layout-")) if folder is None else folder
    try:
        path, mapping = layout.write(made), made / "drafted.toml"
        ended, said = {}, {}

        def run(name: str, *words: str) -> None:
            ended[name], said[name] = _run(*words)

        run("survey", "survey", str(path))
        run("draft", "mapping", "draft", str(path), "-o", str(mapping))
        drafted, alone = made / "drafted", made / "alone"
        if mapping.exists():
            run(
                "convert drafted",
                "convert",
                str(path),
                "--mapping",
                str(mapping),
                "--form",
                "parquet",
                "--to",
                str(drafted),
            )
        run("convert", "convert", str(path), "--form", "parquet", "--to", str(alone))
        run("check", "check", str(path))
        return Outcome(
            layout, compare(layout.facts, _records(drafted)), compare(layout.facts, _records(alone)), ended, said
        )
    finally:
        if folder is None:
            shutil.rmtree(made)


def _run(*words: str) -> tuple[int, str]:
    """Exit code and text of a command; 3 where it broke."""
    from archive.cli import cli
    from archive.errors import Trouble

    result = CliRunner().invoke(cli, list(words))
    if isinstance(result.exception, Trouble):
        return 2, f"{result.output}{result.exception}"
    broke = result.exception is not None and not isinstance(result.exception, SystemExit)
    return (3, f"{result.output}\n{result.exception!r}") if broke else (result.exit_code, result.output)


# ---- what stands in the tables


@dataclass
class Read:
    """One record as read: items by key, each with every value that stands under it."""

    label: str | None
    tested: str | None
    items: dict[Key, list[Any]]


def _records(folder: Path) -> list[Read]:
    """The records of an output folder; none where there is none."""
    from archive import formats

    return [] if not folder.exists() else [r for batch in formats.read(folder) for r in records_of(batch)]


def records_of(batch: Any) -> list[Read]:
    """The records of a batch with their items, by the keys of document.Facts."""
    rows = {name: batch[name].to_pylist() for name in ("records", "readings", "reported", "sweeps", "wiremap")}
    axes = {r["axis_id"]: r["frequencies_mhz"] for r in batch["axes"].to_pylist()}
    people = {r["person_key"]: r["name"] for r in batch["people"].to_pylist()}
    units = {r["instrument_id"]: r for r in batch["instruments"].to_pylist()}
    places = {r["place_id"]: r for r in batch["places"].to_pylist()}
    jobs = {r["job_id"]: r for r in batch["jobs"].to_pylist()}
    found: dict[str, dict[Key, list[Any]]] = {r["record_id"]: defaultdict(list) for r in rows["records"]}
    for r in rows["records"]:
        put = found[r["record_id"]]
        for key, value in _identity(r, people, units, places, jobs):
            if value is not None:
                put[key].append(value)
    for r in rows["readings"]:
        quantity = {"propagation_delay": "delay", "delay_skew": "skew", "loop_resistance": "resistance"}
        name = quantity.get(r["quantity"], r["quantity"])
        if name in PARAMETERS:  # a single point, of which nothing need say that it is the worst
            where = ("worst", name, r["end"] or "", r["subject"] or "")
            column = {"limit": "limit", "margin": "margin"}.get(r["origin"], "value")
            found[r["record_id"]][*where, column].append(r["value"])
            if r["frequency_mhz"] is not None and column == "value":
                found[r["record_id"]][*where, "frequency"].append(r["frequency_mhz"])
        elif r["origin"] in ("measured", "stated"):
            key = ("scalar", name, r["subject"] or "") + ((r["end"],) if r["end"] == "remote" else ())
            found[r["record_id"]][key].append(r["value"])
    for r in rows["reported"]:
        where = ("worst", r["parameter"], r["end"] or "", r["pairing"] or "")
        for column, name in (
            ("value", "value"),
            ("limit", "limit"),
            ("margin", "margin"),
            ("frequency_mhz", "frequency"),
        ):
            if r[column] is not None:
                found[r["record_id"]][*where, name].append(r[column])
        if r["verdict"] in ("pass", "fail"):
            found[r["record_id"]][*where, "verdict"].append(r["verdict"] == "pass")
    for r in rows["sweeps"]:
        # Whether an instrument derives a power sum or a person calls it measured makes no difference here.
        origin = "measured" if r["origin"] == "derived" else r["origin"]
        if origin in _MEASURED:
            key = ("curve", r["parameter"], r["end"] or "", r["pairing"] or "", origin)
            found[r["record_id"]][key].append((tuple(axes[r["axis_id"]] or ()), tuple(r["values"])))
    return [Read(r["link_label"], r["tested_local"], dict(found[r["record_id"]])) for r in rows["records"]]


def _identity(r: dict[str, Any], people: Any, units: Any, places: Any, jobs: Any) -> Iterable[tuple[Key, Any]]:
    of = {end: places.get(r[f"{end}_place_id"]) or {} for end in ("local", "remote")}
    unit = {end: units.get(r[f"{end}_instrument_id"]) or {} for end in ("local", "remote")}
    job = jobs.get(r["job_id"]) or {}
    yield ("field", "label"), r["link_label"]
    yield ("field", "tested"), r["tested_local"]
    yield ("field", "operator"), people.get(r["operator_key"])
    yield ("field", "standard"), r["limit_found"]
    yield ("field", "cable"), r["cable_found"]
    yield ("field", "velocity"), r["velocity_percent"]
    if r["reported_verdict"] in ("pass", "fail"):
        yield ("field", "verdict"), r["reported_verdict"] == "pass"
    yield ("field", "site"), job.get("site") or of["local"].get("site") or of["remote"].get("site")
    for name, column in (("building", "building"), ("floor", "floor"), ("room", "space")):
        yield ("field", name), of["local"].get(column) or of["remote"].get(column)
    yield ("field", "software"), unit["local"].get("software") or unit["remote"].get("software")
    for end in ("local", "remote"):
        yield ("field", f"serial {end}"), unit[end].get("serial")


# ---- the comparison


def compare(facts: list[dict[Key, object]], read: list[Read]) -> Score:
    """The truth of a document beside the records that were read from it."""
    score = Score(of=sum(map(len, facts)))
    pairs, strangers = _matched(facts, read)
    for number, truth in enumerate(facts):
        label = truth["field", "label"]
        found = pairs.get(number)
        if found is None:
            score.missing += len(truth)
            for key in truth:
                score.by_key[plain(key)]["missing"] += 1
            score.examples.append(f"{label}: no record")
            continue
        items = {plain(key): values for key, values in found.items.items()}
        for key, value in truth.items():
            values = items.pop(plain(key), [])
            good = [v for v in values if _equal(key, value, v)]
            score.right += bool(good)
            score.missing += not values
            score.wrong += len(values) - len(good)
            score.by_key[plain(key)].update(right=bool(good), missing=not values, wrong=len(values) - len(good))
            if not good:
                got = _short(values[0]) if values else "nothing"
                score.examples.append(f"{label}: {' '.join(key)}: {got}, not {_short(value)}")
        for key, values in items.items():
            _invented(score, f"{label}", key, values)
    for stranger in strangers:
        for key, values in stranger.items.items():
            _invented(score, f"no link of the document, {stranger.label!r}", key, values)
    return score


def _invented(score: Score, where: str, key: Key, values: list[Any]) -> None:
    if _without_place(key):
        return
    score.wrong += len(values)
    score.by_key[key]["wrong"] += len(values)
    score.examples.append(f"{where}: {' '.join(key)}: {_short(values[0])}, which stands nowhere")


def _without_place(key: Key) -> bool:
    """Whether an item says less than where it belongs, such as a curve without its end: not wrong, but missing."""
    if key[0] == "curve":
        return not key[3] or (not key[2] and key[1] not in _ENDLESS)
    return False


def plain(key: Key) -> Key:
    """The key without an end where it makes no difference, and with unordered combinations in one order."""
    if key[0] not in ("worst", "curve"):
        return key
    kind, parameter, end, pairing, *rest = key
    if parameter == "next" and "/" in pairing:
        pairing = "/".join(sorted(pairing.split("/")))
    return (
        kind,
        {"elfext": "acr_f", "ps_elfext": "ps_acr_f"}.get(parameter, parameter),
        "" if parameter in _ENDLESS else end,
        pairing,
        *rest,
    )


def _matched(facts: list[dict[Key, object]], read: list[Read]) -> tuple[dict[int, Read], list[Read]]:
    """Records by the test that they are of, and those of no test. By label; by order where no label is known."""
    labels = [str(t["field", "label"]) for t in facts]
    if len(read) == len(facts) and not any(r.label in labels for r in read):
        return dict(enumerate(read)), []
    pairs: dict[int, Read] = {}
    strangers = []
    for r in read:
        at = next((i for i, label in enumerate(labels) if label == r.label and i not in pairs), None)
        if at is None:
            strangers.append(r)
        else:
            pairs[at] = r
    return pairs, strangers


def _equal(key: Key, truth: object, value: Any) -> bool:
    if key[0] == "curve":
        (f, v), (g, w) = truth, value  # type: ignore[misc]
        return len(f) == len(g) and all(map(_near, f, g)) and len(v) == len(w) and all(map(_near, v, w))
    if isinstance(truth, bool) or key == ("field", "label"):
        return truth == value
    if isinstance(truth, float):
        return isinstance(value, int | float) and _near(truth, float(value))
    if key == ("field", "tested"):
        return str(value)[: len(str(truth))] == truth
    return str(truth).strip() == str(value).strip()


def _near(a: float, b: float | None) -> bool:
    return b is not None and math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-6)


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) < 60 else f"{text[:57]}..."


# ---- many documents


def figures(outcomes: list[Outcome]) -> dict[str, Any]:
    """Shares over documents (each counts alike) and over items, and how the commands ended."""
    count = len(outcomes)
    row: dict[str, Any] = {"documents": count, "items": sum(o.drafted.of for o in outcomes)}
    row["above_0.9"] = sum(o.drafted.share >= 0.9 for o in outcomes)
    for name in ("drafted", "alone"):
        scores = [getattr(o, name) for o in outcomes]
        row[f"{name}_right"] = sum(s.share for s in scores) / count
        row[f"{name}_right_of_items"] = sum(s.right for s in scores) / row["items"]
        row[f"{name}_wrong"] = sum(min(s.wrong_share, 1.0) for s in scores) / count
        row[f"{name}_wrong_of_items"] = sum(s.wrong for s in scores) / row["items"]
    row["below_half"] = sum(o.alone.share < 0.5 for o in outcomes)
    row["silent"] = sum(o.silent for o in outcomes)
    row["broke"] = sum(code == 3 for o in outcomes for code in o.ended.values())
    return row


def endings(outcomes: list[Outcome]) -> dict[str, Any]:
    """How each command ended, as counts of exit codes: 3 where it broke, - where it was not run."""
    counted = {c: Counter(str(o.ended.get(c, "-")) for o in outcomes) for c in COMMANDS}
    return {c: " ".join(f"{code}:{n}" for code, n in sorted(found.items())) for c, found in counted.items()}
