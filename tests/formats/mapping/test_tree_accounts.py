"""Whatever a mapping makes of a tree, each cell is counted once: mapped, kept as an extra, or ignored by name.

Trees and mappings are made by chance, from seeds: words that nobody knows, cells above rows and around records that
several rows and tables share, keys and lists.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.errors import Trouble

_QUANTITIES = ["NEXT", "IL", "odd", "nonsense", ""]
_PAIRS = ["12", "12-36", "36", "45", "odd", ""]
_ENDS = ["near", "far", "odd", ""]
_WORDS = [*_QUANTITIES, *_PAIRS, *_ENDS, "1", "2", "3.5", "-4", "PASS", "permanent link", "x y"]
_FACTS = [
    *("records.limit_found", "records.configuration", "records.medium", "records.reported_verdict", "people.name"),
    *("people.organisation", "jobs.client", "places.floor", "instruments.serial", "wiremap.far", "readings.length"),
    *("records.velocity_percent", "reported.next.margin[worst_margin]", "sweeps.next[1-2/3-6]"),
]
_ROWS = [
    *("row.parameter", "row.pairing", "row.end", "row.disturbing", "row.disturbed", "row.frequency", "row.value"),
    *("row.limit", "row.margin", "row.verdict", "row.kind", "row.direction", "row.contact", "row.far"),
]

_XML = {
    "": ["@k", "n", "n/@b", "/x/@s", "/x/@t", "/x/hd/@u", "/x/g/@z", "part/@end", "part/@who"],
    "part": ["@end", "@who", "../@k", "../n", "curve/@of"],
    "part/curve": ["@of", "@pair", "@other", "h", "h/@a", "../@end", "../@who", "../../@k", "../../n/@b", "pt/@v"],
    "part/curve/pt": [
        *("@f", "@v", "@q", "../@of", "../@pair", "../@other", "../h", "../h/@a", "../../@end", "../../@who"),
        *("../../../@k", "../../../n", "../../../n/@b"),
    ],
}
_JSON = {
    "": ["k", "n/b", "/s", "/hd/u", "/late", "k/#1"],
    "parts/*": ["who", "#key", "../../k", "../p1/who"],
    "parts/*/curves": ["of", "pair", "h/a", "h/b", "l", "m", "../who", "../../../k", "../../../n/b", "#key"],
    "parts/*/curves/pts": ["#1", "#2", "../of", "../pair", "../h/a", "../../who", "../../../../k", "../l"],
    "pairs/*": ["#key", "#1", "#2", "../../k"],
}
_USUAL = {
    "@f": "row.frequency",
    "@v": "row.value",
    "../@of": "row.parameter",
    "../@pair": "row.pairing",
    "#1": "row.frequency",
    "#2": "row.value",
    "#key": "row.pairing",
    "../of": "row.parameter",
    "of": "row.parameter",
    "l": "row.frequencies",
    "m": "row.values",
}


def _mapping(r: random.Random, kind: str, record: str, sources: dict[str, list[str]], label: str) -> str:
    out = '[mapping]\nlayout = "x"\nlanguage = 1\n[cells]\nparameters = { NEXT = "next", IL = "insertion_loss" }\n'
    out += f'[[file]]\nkind = "{kind}"\nrecord = "{record}"\n'
    for each in ["", *(r.choice([e for e in sources if e]) for _ in range(r.randint(0, 3)))]:
        free = r.sample([*_FACTS, *(_ROWS if each else [])], len(_FACTS) + (len(_ROWS) if each else 0))
        usual = _USUAL if each and r.random() < 0.7 else {}
        fields = {} if each else {"records.link_label": label}
        for source in (s for s in sources[each] if r.random() < 0.6):
            fields.setdefault(usual.get(source) or free.pop(), source)
        rows = r.choice(["readings", "points", "curves"]) if each else "labels"
        out += f'[[file.table]]\nrows = "{rows}"\n' + (f'each = "{each}"\n' if each else "")
        out += "fields = [" + ", ".join(f'{{ from = "{a}", to = "{b}" }}' for b, a in fields.items()) + "]\n"
    return out


def _xml(r: random.Random) -> tuple[str, int]:
    """A document, and how many cells it has."""
    cells = 0

    def at(name: str, word: str) -> str:
        nonlocal cells
        cells += bool(word)
        return f' {name}="{word}"'

    def text(word: str) -> str:
        nonlocal cells
        cells += bool(word)
        return word

    def any_() -> str:
        return r.choice(_WORDS)

    out = f"<x{at('s', any_())}{at('t', any_())}><hd{at('u', any_())}/>"
    for group in range(2):
        out += f"<g{at('z', any_())}>"
        for i in range(r.randint(1, 3)):
            out += f"<run{at('tag', f'A{group}{i}')}{at('k', any_())}><n{at('b', any_())}>{text(any_())}</n>"
            for _ in range(r.randint(0, 3)):
                out += f"<part{at('end', r.choice(_ENDS))}{at('who', any_())}>"
                for _ in range(r.randint(0, 3)):
                    out += f"<curve{at('of', r.choice(_QUANTITIES))}{at('pair', r.choice(_PAIRS))}"
                    out += f"{at('other', r.choice(_PAIRS))}><h{at('a', any_())}>{text(any_())}</h>"
                    for f in range(1, r.randint(1, 4)):
                        out += f"<pt{at('f', str(f))}{at('v', r.choice(['3', '-2', '']))}{at('q', any_())}/>"
                    out += "</curve>"
                out += "</part>"
            out += "</run>"
        out += "</g>"
    return out + "</x>", cells


def _json(r: random.Random) -> Any:
    def any_() -> Any:
        return r.choice([*_WORDS, 1, 2.5, -4, None, True, [1, 2, 3.5], ["a", "b"], [12, 36]])

    def curve() -> dict[str, Any]:
        out = {"of": r.choice(_QUANTITIES), "pair": r.choice(_PAIRS), "l": [1, 2, 3], "m": [4.5, None, 6]}
        out |= {"h": {"a": any_(), "b": [r.choice([1, 2, "x"]) for _ in range(2)]}}
        return out | ({"pts": [[f, r.choice([3, 4.5, None])] for f in range(1, 4)]} if r.random() < 0.5 else {})

    def run(i: int) -> dict[str, Any]:
        parts = r.sample(["p1", "near", "odd", "NEXT"], r.randint(0, 3))
        pairs = r.sample(["12", "36", "odd"], r.randint(0, 3))
        return {
            "tag": f"A{i}",
            "k": any_(),
            "n": {"b": any_()},
            "parts": {k: {"who": any_(), "curves": [curve() for _ in range(r.randint(0, 3))]} for k in parts},
            "pairs": {k: [[1, 2.0], [2, 3]] for k in pairs},
        }

    return {"s": any_(), "hd": {"u": any_()}, "runs": [run(i) for i in range(r.randint(1, 4))], "late": any_()}


def _account(path: Path, mapping: Path) -> tuple[dict[str, int], int, int]:
    """The account of a file, the rows of extras, and how many records are set aside."""
    batches = list(archive.formats.read(path, mapping=mapping))
    told = [s for b in batches for s in b["sources"].to_pylist() if s["cells_read"] is not None][-1]
    account = {k: told[f"cells_{k}"] for k in ("read", "mapped", "extra", "ignored")}
    return account, sum(b["extras"].num_rows for b in batches), sum(b["set_aside"].num_rows for b in batches)


@pytest.mark.parametrize("seed", range(60))
def test_xml(seed: int, tmp_path: Path) -> None:
    r = random.Random(seed)
    path, mapping = tmp_path / "export.xml", tmp_path / "x.toml"
    text, cells = _xml(r)
    path.write_text(text)
    mapping.write_text(_mapping(r, "xml", "x/g/run", _XML, "@tag"))
    try:
        account, extras, aside = _account(path, mapping)
    except Trouble:
        return  # Nothing that the mapping names is there.
    assert account["mapped"] >= 0
    assert account["read"] == account["mapped"] + account["extra"]
    assert aside or (account["read"], account["extra"]) == (cells, extras)


@pytest.mark.parametrize("seed", range(60))
def test_json(seed: int, tmp_path: Path) -> None:
    r = random.Random(seed)
    path, mapping = tmp_path / "export.json", tmp_path / "x.toml"
    path.write_text(json.dumps(_json(r)))
    mapping.write_text(_mapping(r, "json", "runs", _JSON, "tag"))
    try:
        account, _, _ = _account(path, mapping)
    except Trouble:
        return
    assert account["mapped"] >= 0
    assert account["read"] == account["mapped"] + account["extra"]
