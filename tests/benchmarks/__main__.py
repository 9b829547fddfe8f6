"""Runs the benchmarks and writes one table, as JSON and as text.

    python -m tests.benchmarks [--quick] [--out FOLDER] [--seeds SEEDS] [names]

Every module of this folder that has `run(sizes, quick)` is run; names choose among them. A row has at least `what`,
and figures that are ratios measured in this run; the report names cores and memory and nothing else of the machine.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import json
import os
import pkgutil
import platform
import sys
import time
from pathlib import Path
from typing import Any

SIZES = (400, 5_000)
LARGE = (100_000, 1_000_000)
HERE = Path(__file__).parent


def modules() -> dict[str, Any]:
    """Benchmarks by name. Modules of this folder without `run` are helpers."""
    found = {}
    for info in pkgutil.iter_modules([str(HERE)]):
        if not info.name.startswith("_"):
            module = importlib.import_module(f"tests.benchmarks.{info.name}")
            if hasattr(module, "run"):
                found[info.name] = module
    return found


def machine() -> dict[str, Any]:
    """Cores and memory."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return {"cores": os.cpu_count(), "memory_gib": round(memory, 1), "python": platform.python_version()}


def call(run: Any, sizes: tuple[int, ...], quick: bool, seeds: str = "") -> list[dict[str, Any]]:
    """Calls run with those of sizes, quick and seeds that it takes."""
    wanted = inspect.signature(run).parameters
    given: dict[str, Any] = {"sizes": sizes, "quick": quick} | ({"seeds": seeds} if seeds else {})
    return list(run(**{name: value for name, value in given.items() if name in wanted}))


def as_text(rows: list[dict[str, Any]]) -> str:
    """Rows of one benchmark as an aligned table; columns in the order in which rows name them."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    cells = [names, *([_cell(row.get(name)) for name in names] for row in rows)]
    widths = [max(len(line[i]) for line in cells) for i in range(len(names))]
    return "\n".join("  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() for line in cells)


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.3g}"
    return "" if value is None else str(value)


def main(arguments: list[str] | None = None) -> int:
    """Runs, prints and writes."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", help="benchmarks to run (default: all)")
    parser.add_argument("--quick", action="store_true", help="seconds instead of minutes")
    parser.add_argument("--large", action="store_true", help="the largest sizes too")
    parser.add_argument("--seeds", default="", help="of generated layouts, like train:0-99 or test:0-199")
    parser.add_argument("--out", type=Path, help="folder for benchmarks.json and benchmarks.txt")
    chosen = parser.parse_args(arguments)
    known = modules()
    unknown = [name for name in chosen.names if name not in known]
    if unknown:
        parser.error(f"no benchmark named {', '.join(unknown)}; there are {', '.join(known)}")
    sizes = SIZES + (LARGE if chosen.large else ())
    report: dict[str, Any] = {"machine": machine(), "quick": chosen.quick, "benchmarks": {}}
    texts = [f"{report['machine']['cores']} cores, {report['machine']['memory_gib']} GiB"]
    for name in chosen.names or known:
        began = time.perf_counter()
        rows = call(known[name].run, sizes, chosen.quick, chosen.seeds)
        print(f"{name}: {time.perf_counter() - began:.1f} s", file=sys.stderr)
        report["benchmarks"][name] = rows
        texts.append(f"\n{name}\n{as_text(rows)}")
    text = "\n".join(texts)
    print(text)
    if chosen.out:
        chosen.out.mkdir(parents=True, exist_ok=True)
        (chosen.out / "benchmarks.json").write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")
        (chosen.out / "benchmarks.txt").write_text(text + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
