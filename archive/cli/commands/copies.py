"""muniment copies: curves that stand under more than one link."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import done, output_options, print_json, print_line, progress, say
from archive.cli.filters import chosen, filter_options
from archive.cli.spreading import spread_options, workforce
from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.spread import Workforce


@click.command("copies")
@click.argument("inputs", nargs=-1, required=True, metavar="ARCHIVE|INPUT...")
@filter_options
@click.option("--policy", type=click.Path(path_type=Path, dir_okay=False), metavar="POLICY.toml", help="Tolerances.")
@click.option(
    "--mapping", multiple=True, metavar="MAPPING.toml", help="Read by it the files it fits; may be given several times."
)
@spread_options
@output_options
def command(
    inputs: tuple[str, ...],
    policy: Path | None,
    mapping: tuple[str, ...],
    workers: int,
    scheduler: str | None,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Tells which links have the same curves of NEXT and return loss, exactly or nearly, and how likely that is.

    It says how much two results agree, never why. Renditions, re-readings and relabelled tests (one unit, one time)
    are no copies. Works on an archive, or on files that were not archived yet.

    \b
    Exit code 1: there are such pairs.

    \b
    Example:
      muniment copies certificates --job HARBOUR-2019-04
      muniment copies week2.zip --json
    """
    from archive.validation.catalogue.policy import load

    tolerances = load(policy) if policy else None
    from archive.objects import place

    if len(inputs) == 1 and (place(inputs[0]) / "archive.toml").is_file():
        found = _of_archive(
            place(inputs[0]), filters, tolerances, workforce(workers, scheduler, "comparing", quiet=quiet)
        )
    else:
        named = [name for name, value in filters.items() if value is not None]
        whose = "filters" if named else "workers"
        named += ["scheduler"] if scheduler else ["workers"] if workers > 1 else []
        if named:
            raise Trouble(
                f"{whose} are for an archive",
                code="option.needs-archive",
                found=f"--{named[0].replace('_', '-')}",
                where=inputs[0],
            )
        found = _of_files(inputs, mapping, tolerances, quiet)
    if as_json:
        print_json(
            {
                "pairs": [_document(p) for p in found.pairs],
                "compared": found.compared,
                "false_alarm_rate": found.false_alarm_rate,
                "note": _NOTE,
            }
        )
    else:
        for pair in found.pairs if not quiet else ():
            print_line(_line(pair))
        compared = f"{found.compared} record{'s' * (found.compared != 1)} compared"
        say(f"{compared}, {len(found.pairs)} pair{'s' * (len(found.pairs) != 1)}. {_NOTE}", quiet=quiet)
    done(bool(found.pairs))


_NOTE = (
    "False alarms were counted on simulated links of the hardest kind; how often different links agree "
    "like this in the field is not known. Nothing is said about how it came about."
)


def _of_archive(path: Path, filters: dict[str, Any], policy: Any, force: Workforce) -> Any:
    from archive import store
    from archive.answers.copies import copies
    from archive.answers.known_names import check_job

    opened = store.open(path)
    if filters["job"] is not None:
        check_job(opened, filters["job"])
    return copies(opened, chosen(filters), policy=policy, force=force)


def _of_files(inputs: tuple[str, ...], mapping: tuple[str, ...], policy: Any, quiet: bool) -> Any:
    from archive import formats
    from archive.validation.copies.detector import find, sketches_for

    sketches = sketches_for(policy)
    read = 0
    for batch in progress(formats.read_all(inputs, mapping=mapping), "comparing", quiet=quiet):
        sketches.add(batch)
        read += len(batch)
    if not read:
        raise Trouble(
            "there is no record to compare",
            code="input.no-record",
            where=", ".join(inputs),
            remedy="See `muniment survey`.",
        )
    return find(sketches, lambda _: formats.read_all(inputs, mapping=mapping), policy)


def _document(pair: Any) -> dict[str, Any]:
    return {
        "a": pair.a,
        "b": pair.b,
        "link_a": pair.label_a or None,
        "link_b": pair.label_b or None,
        "job_a": pair.job_a or None,
        "job_b": pair.job_b or None,
        "kind": pair.kind,
        "score": pair.score,
        "parameters": list(pair.parameters),
        "curves": pair.curves,
        "common_curves": pair.of,
        "ends_exchanged": pair.swapped,
        "differs_db": pair.differs_db,
        "rule": pair.rule,
        "likely": pair.likely,
    }


def _line(pair: Any) -> str:
    links = " and ".join(
        f"{label or 'a record without a label'}" + (f" ({job})" if job else "")
        for label, job in ((pair.label_a, pair.job_a), (pair.label_b, pair.job_b))
    )
    what = f"{pair.kind}, {pair.curves} of {pair.of} curves, correlation {pair.score:.4f}"
    ends = ", ends exchanged" if pair.swapped else ""
    return f"{links}: {what}{ends}; {pair.likely}"
