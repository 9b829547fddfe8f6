"""Small faults planted in the rooms of limits and grading, one at a time: do the tests find them?

A fault that no test finds (a survivor) is a hint: a test is missing, or the code does nothing. The last score of each
room is kept in mutation_scores.json beside this file, with its survivors.
"""

from __future__ import annotations

import ast
import copy
import json
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[2]
SCORES = Path(__file__).with_name("mutation_scores.json")
ROOMS = {
    "limits": [
        "tests/limits",
        "tests/outside/test_limit_tables_assertions.py",
        "tests/outside/test_limit_tables_published.py",
        "tests/outside/test_limit_tables_second_reading.py",
    ],
    "grading": ["tests/grading", "tests/outside/test_margins.py", "tests/outside/test_power_sums.py"],
}
"""Rooms, and the tests that are to find faults in them."""
_LONGEST_S = 300
"""A run of the tests that takes longer has found an endless loop."""
_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
_NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum",
          "fmin": "fmax", "fmax": "fmin", "logical_and": "logical_or", "logical_or": "logical_and",
          "floor": "ceil"}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One fault. place: number of the node in the tree of its file, in the order of ast.walk."""

    file: str
    line: int
    place: int
    what: str


def mutants(tree_of_files: Path, file: Path) -> list[Mutant]:
    """Every fault that can be planted in a file of a tree."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    skipped = _skipped(tree)
    found = []
    for place, node in enumerate(ast.walk(tree)):
        if id(node) not in skipped and (what := _change(copy.deepcopy(node))):
            found.append(Mutant(str(file.relative_to(tree_of_files)), getattr(node, "lineno", 0), place, what))
    return found


def _skipped(tree: ast.Module) -> set[int]:
    """Nodes that are no behaviour: annotations, sizes of caches, how structures are built, and words of messages."""
    roots: list[ast.AST] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign):
            roots.append(node.annotation)
        elif isinstance(node, ast.ClassDef):
            roots += [keyword for keyword in node.keywords if keyword.arg in ("frozen", "kw_only")]
        elif isinstance(node, ast.arg | ast.FunctionDef):
            roots += getattr(node, "decorator_list", [])
            roots += [part for part in (getattr(node, "annotation", None), getattr(node, "returns", None)) if part]
        elif isinstance(node, ast.Raise | ast.Assert | ast.Import | ast.ImportFrom | ast.JoinedStr):
            roots.append(node)
    return {id(inner) for root in roots for inner in ast.walk(root)}


def _change(node: ast.AST) -> str:
    """Plants the fault of a node in it; says what it is, empty where there is none."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARISONS:
        old = type(node.ops[0])
        node.ops[0] = _COMPARISONS[old]()
        return f"{old.__name__} -> {type(node.ops[0]).__name__}"
    if isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        return "and <-> or"
    if isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in _ARITHMETIC:
        old_op = type(node.op)
        node.op = _ARITHMETIC[old_op]()
        return f"{old_op.__name__} -> {type(node.op).__name__}"
    if isinstance(node, ast.If | ast.IfExp):
        node.test = ast.UnaryOp(ast.Not(), node.test)
        return "condition turned round"
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        node.value = not node.value
        return f"{not node.value} -> {node.value}"
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        node.value += 1
        return f"{node.value - 1} -> {node.value}"
    if isinstance(node, ast.Call):
        return _changed_call(node)
    return ""


def _changed_call(node: ast.Call) -> str:
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name == "where" and len(node.args) == 3:
        node.args[1], node.args[2] = node.args[2], node.args[1]
        return "where turned round"
    if name in _NAMES:
        if isinstance(node.func, ast.Attribute):
            node.func.attr = _NAMES[name]
        elif isinstance(node.func, ast.Name):
            node.func.id = _NAMES[name]
        return f"{name} -> {_NAMES[name]}"
    return ""


def planted(text: str, mutant: Mutant) -> str:
    """The text of a file with a fault in it. text: without it."""
    tree = ast.parse(text)
    for place, node in enumerate(ast.walk(tree)):
        if place == mutant.place:
            _change(node)
            break
    return ast.unparse(ast.fix_missing_locations(tree))


def survives(tree: Path, mutant: Mutant, tests: list[str]) -> bool:
    """Do all tests pass in a copy of the tree with a fault in it. The copy is as before afterwards."""
    file = tree / mutant.file
    text = file.read_text(encoding="utf-8")
    file.write_text(planted(text, mutant), encoding="utf-8")
    try:
        return pass_in(tree, tests)
    finally:
        file.write_text(text, encoding="utf-8")


def pass_in(tree: Path, tests: list[str]) -> bool:
    """Do all tests pass in a tree, within their time."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    environment = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        made = subprocess.run(command, cwd=tree, env=environment, check=False, capture_output=True, timeout=_LONGEST_S)
    except subprocess.TimeoutExpired:
        return False
    return made.returncode == 0


def score(folder: Path, seconds: float, *, keep: bool, seed: int = 1) -> Iterator[dict[str, Any]]:
    """Plants faults at random in each room until its share of the time is up; yields the score of each.

    keep: the scores go into mutation_scores.json, with the survivors.

    Errors: AssertionError where the tests fail without any fault, or where no fault was found.
    """
    tree = folder / "tree"
    shutil.copytree(TOP, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".mypy_cache"))
    kept = json.loads(SCORES.read_text("utf-8")) if SCORES.is_file() else {}
    for room, tests in ROOMS.items():
        every = [m for file in sorted((tree / "archive" / room).rglob("*.py")) for m in mutants(tree, file)]
        random.Random(seed).shuffle(every)
        assert pass_in(tree, tests), f"the tests of {room} fail, or take too long, without any fault"
        found: list[Mutant] = []
        tried = 0
        until = time.monotonic() + seconds / len(ROOMS)
        for mutant in every:
            found += [mutant] if survives(tree, mutant, tests) else []
            tried += 1
            if time.monotonic() >= until:
                break
        assert tried > len(found) or tried < 5, "the tests of this room find nothing"
        kept[room] = {
            "seed": seed,
            "possible": len(every),
            "tried": tried,
            "found": tried - len(found),
            "survivors": sorted(f"{m.file}:{m.line}: {m.what}" for m in found),
        }
        if keep:
            SCORES.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8", newline="\n")
        yield {"what": f"mutations of {room}", **{key: kept[room][key] for key in ("possible", "tried", "found")}}
