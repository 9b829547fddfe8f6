"""Drafts of the backbone's four invented layouts read what the mappings that were written by hand read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from archive import formats
from archive.demo.backbone import job as backbone
from archive.demo.exports import BACKBONE_MAPPINGS
from archive.formats.draft.command import draft_of

_LAYOUTS = {
    "vezels.csv": ("backbone-vezels.toml", {"label": "Vezel", "date": "day"}),
    "losses.csv": ("backbone-losses.toml", {}),
    "ends.csv": ("backbone-ends.toml", {"length": "m"}),
    "fasern.csv": ("backbone-fasern.toml", {"length": "m"}),
}


def _read(path: Path, mapping: Path) -> Iterator[tuple[object, ...]]:
    """What is measured, where fibers arrive and what the instrument says, without ids."""
    for batch in formats.read(path, mapping=mapping):
        label = {r["record_id"]: r["link_label"] for r in batch["records"].to_pylist()}
        assert len(label) == len(set(label.values())), "one record for each link"
        for r in batch["readings"].to_pylist():
            where = ("subject", "direction", "wavelength_nm") if r["quantity"] != "length" else ()  # one for all rows
            yield label[r["record_id"]], *(r[k] for k in ("quantity", "origin", "value", *where))
        for r in batch["wiremap"].to_pylist():
            yield label[r["record_id"]], r["near"], r["far"]
        for r in batch["reported"].to_pylist():
            yield label[r["record_id"]], r["parameter"], r["verdict"]


@pytest.mark.parametrize("name", _LAYOUTS)
def test_a_draft_reads_what_the_mapping_reads(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "own"))
    path = tmp_path / name
    path.write_bytes(dict(backbone.files())[f"exports/{name}"])
    mapping, answers = _LAYOUTS[name]
    made = draft_of(path, answers)
    drafted = tmp_path / "drafted.toml"
    drafted.write_text(made.text, "utf-8")
    folder = Path(backbone.__file__).parents[1]
    (declared,) = (folder / m for m in BACKBONE_MAPPINGS if m.endswith(mapping))
    ours, theirs = set(_read(path, drafted)), set(_read(path, declared))
    assert ours == theirs and len(ours) > 8


def test_words_are_verdicts_under_their_own_heading_alone(tmp_path: Path) -> None:
    """'clean' is a verdict of an end face; under a heading of remarks it is a remark."""
    rows = ["Link|Fiber|Reference|Loss 850 dB|End faces|State"]
    rows += [f"OM-1-{n}|OM4|one cord|1.1{n}|clean|clean" for n in range(1, 5)]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    said = draft_of(path).text
    assert '"End faces", to = "reported.end_face.verdict[overall]"' in said
    assert 'from = "State"' not in said
