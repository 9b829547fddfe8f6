"""One document: its traits, what was read of it, what went wrong; with --shrink the simplest on which it still does.

python -m tests.formats.layouts train:7 [--out FOLDER] [--shrink] [--show]
"""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.formats.layouts import Layout, Outcome, Traits, build, make, score_file, seeds_of, shrink


def main() -> None:
    """Reads the arguments, scores the documents and prints."""
    parser = argparse.ArgumentParser(prog="python -m tests.formats.layouts", description=__doc__)
    parser.add_argument("seeds", help="like train:7 or train:0-9")
    parser.add_argument("--out", type=Path, help="write the documents here instead of scoring them")
    parser.add_argument("--shrink", action="store_true", help="simplify as long as less than it had is right")
    parser.add_argument("--show", action="store_true", help="print the document and what the commands said")
    given = parser.parse_args()
    for split, seed in seeds_of(given.seeds):
        layout = make(seed, split)
        if given.out:
            given.out.mkdir(parents=True, exist_ok=True)
            print(f"{layout.write(given.out)}: {layout.told}")
            continue
        outcome = score_file(layout)
        if given.shrink and (outcome.drafted.share < 0.9 or outcome.drafted.wrong):
            wrong = outcome.drafted.wrong > 0
            layout = build(shrink(layout.traits, lambda t, wrong=wrong: _bad(t, wrong)))  # type: ignore[misc]
            outcome = score_file(layout)
        _print(layout, outcome, given.show)


def _bad(traits: Traits, wrong: bool) -> bool:
    found = score_file(build(traits)).drafted
    return found.wrong > 0 if wrong else found.share < 0.9


def _print(layout: Layout, outcome: Outcome, show: bool) -> None:
    print(f"{layout.traits.split}:{layout.traits.seed} {layout.told}\n  unknown: {', '.join(layout.unknown) or 'none'}")
    for name, score in (("drafted", outcome.drafted), ("alone", outcome.alone)):
        print(f"  {name}: {score.right} right, {score.wrong} wrong, {score.missing} missing of {score.of}")
        print("".join(f"    {line}\n" for line in score.examples[:8]), end="")
    print(f"  ended: {outcome.ended}")
    if show:
        for name, content in layout.files.items():
            readable = content.decode(layout.traits.encoding, "replace") if not name.endswith("xlsx") else "a workbook"
            print(f"--- {name}\n{readable[:4000]}")
        for command, said in outcome.said.items():
            print(f"--- {command}\n{said[:3000]}")


if __name__ == "__main__":
    main()
