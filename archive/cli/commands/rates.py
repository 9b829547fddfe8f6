"""muniment rates: pass rates over an archive, what failed, how margins lie over frequency."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import ARCHIVE, done, output_options, page_width, print_json, print_line, progress, say
from archive.cli.filters import (
    as_of_options,
    chosen,
    filter_options,
    only_option,
    opened,
    pairs,
    role_option,
    table_options,
)
from archive.cli.spreading import spread_options, workforce
from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.store.roles import Role


@click.command("rates")
@click.argument("archives", nargs=-1, required=True, type=ARCHIVE, metavar="ARCHIVE...")
@click.option("--by", metavar="FIELD[,FIELD...]", default="", help="What to group by; see below.")
@filter_options
@only_option
@click.option(
    "--verdicts",
    type=click.Choice(["best", "program", "reported"]),
    default="best",
    show_default=True,
    help="Whose verdict counts: the program's, and the instrument's where no curves came along; the program's alone, "
    "on full sweeps; the instrument's alone.",
)
@role_option("Which record of a link counts for the final rate.")
@click.option(
    "--cohort",
    type=click.Choice(["first-test"]),
    help="What became of the links first tested there, whoever tested them last.",
)
@click.option("--length-bands", metavar="M,M...", help="Upper ends of the bands of length in metres.")
@click.option(
    "--compare",
    type=click.Choice(["auto", "first-time", "final", "none"]),
    help="Which rate the groups are compared by; auto, the default: of first tests where any link was tested again.",
)
@click.option("--standardise", metavar="FIELD[,FIELD...]", help="Compare within these, and print rates at one mix.")
@click.option("--what-failed", is_flag=True, help="Failing links and failures, by parameter or what --by says.")
@click.option(
    "--trend",
    type=click.Choice(["month", "quarter", "year"]),
    help="First-time rates and margins over time: limits, a change, and units that drift against the others.",
)
@click.option(
    "--margin", metavar="PARAMETER", help="With --trend: whose margins tell a drift; by default leading ones."
)
@click.option(
    "--first-failure",
    type=click.IntRange(1, 50),
    metavar="YEARS",
    help="Share of links with a claim (`muniment case`) by so many years after their warranty began.",
)
@click.option("--curves", metavar="PARAMETER", help="5 %, median and 95 % of one parameter at each frequency.")
@click.option("--against", metavar="LIMIT", help="With --curves: the limit of the margins.")
@click.option(
    "--tests",
    type=click.Choice(["current", "first", "all"]),
    help="With --curves or --what-failed: which tests of each link; by default those that count now, and all for "
    "what failed.",
)
@click.option("--worst", is_flag=True, help="With --curves: only the worst pair or combination of each link.")
@click.option("--plot", type=click.Path(path_type=Path, dir_okay=False), metavar="OUT.svg|png", help="Draw it.")
@click.option(
    "--report",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="A new folder with one page: tables, pictures, what may be relied on and what may not.",
)
@click.option("--title", metavar="TEXT", help="With --plot: the heading.")
@table_options
@as_of_options
@spread_options
@output_options
def command(
    archives: tuple[Path, ...],
    by: str,
    only: tuple[str, ...],
    verdicts: str,
    role: Role,
    cohort: str | None,
    length_bands: str | None,
    compare: str | None,
    standardise: str | None,
    what_failed: bool,
    trend: str | None,
    margin: str | None,
    first_failure: int | None,
    curves: str | None,
    against: str | None,
    tests: str | None,
    worst: bool,
    plot: Path | None,
    report: Path | None,
    title: str | None,
    form: str | None,
    out: Path | None,
    as_of: datetime | None,
    known: bool,
    workers: int,
    scheduler: str | None,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Pass rates with their intervals, over links: each link once for its configuration and limit family, by the
    record that counts. Withdrawn records, renditions, re-readings, conflicts and copies count nowhere. Schedules are
    not asked: a test in doubt only because its label is scheduled at several places counts as what it is. A first-time
    rate is over first complete tests; a test belongs to the group of its own date, crew and instrument. --until takes
    tests up to a day, --as-of the state of that day. Intervals and comparisons take whole jobs as the unit.

    \b
    FIELD: cable_type, class (category), construction, screened, gauge, conductor, sheath, cable_basis, limit,
    configuration, year, quarter, month, site, job, client, contractor, crew, archive, operator, length_band, maker,
    model, serial, software, adapter, remote_model, remote_serial, medium, evidence, parameter
    (losses of fibres also at each wavelength, as optical_loss_1310nm).
    With --what-failed also: pairing (of optical links the fibre, and the event of a trace), end,
    frequency_band, direction, wavelength.

    \b
    Example:
      muniment rates certificates --by cable_type,year --plot rates.svg
      muniment rates certificates --by crew --standardise cable_type,limit
      muniment rates certificates --what-failed --by parameter,pairing,end --cable-type cat6a/f-utp
      muniment rates certificates --trend month --plot trend.svg
      muniment rates certificates --curves next --against tia-568.2-d/cat6a/permanent-link --plot next.png
    """
    from archive.answers.rates.rates import Asked
    from archive.answers.rates.source import Choice

    asked_for = {"--curves": curves, "--what-failed": what_failed, "--trend": trend}
    mode = _mode({**asked_for, "--first-failure": first_failure, "--report": report})
    pages = ("rates", "--report")
    _refuse_idle(
        mode,
        {
            "--against": (against, ("--curves",)),
            "--worst": (worst, ("--curves",)),
            "--tests": (tests, ("--curves", "--what-failed")),
            "--compare": (compare, pages),
            "--standardise": (standardise, pages),
            "--cohort": (cohort, pages),
            "--margin": (margin, ("--trend",)),
            "--by": (by.strip(), (*pages, "--curves", "--what-failed", "--first-failure")),
            "--plot": (plot, ("rates", "--curves", "--what-failed", "--trend")),
            "--as": (form, ("rates", "--curves", "--what-failed", "--trend", "--first-failure")),
            "--workers": (workers > 1, ("--curves",)),
            "--scheduler": (scheduler, ("--curves",)),
            "several archives": (archives[1:], (*pages, "--what-failed", "--trend")),
        },
    )
    _refuse_without({"--out": (out, "--as csv, parquet or json", form), "--title": (title, "--plot", plot)})
    choice = Choice(chosen(filters), pairs(only), verdicts, _edges(length_bands), role, cohort)
    fields = [word for word in by.split(",") if word.strip()]
    several = [opened(path, as_of, known) for path in archives]
    held: Any = several[0] if len(several) == 1 else several

    def watch(blocks: Any) -> Any:
        return progress(blocks, "counting", quiet=quiet)

    asked = Asked(compare or "auto", [w for w in (standardise or "").split(",") if w.strip()])
    if report is not None:
        from archive.answers.rates.report import write_report

        paths = [str(p) for p in write_report(held, report, fields, choice, asked, watch=watch)]
        print_json({"files": paths}) if as_json else say(f"{paths[0]} is written", quiet=quiet)
        done(False)
    found: Any
    if curves:
        from archive.answers.rates.distributions import CurveChoice, distribution
        from archive.answers.rates.words import spread_lines

        lines: Any = spread_lines

        found = distribution(
            held,
            CurveChoice(curves, tests or "current", "worst" if worst else "curves"),
            choice,
            against=against,
            by=fields,
            force=workforce(workers, scheduler, "reading curves", quiet=quiet),
        )
        rows = [row for spread in found.spreads for row in spread.rows()]
        head = {"parameter": found.parameter, "unit": found.unit, "limit": found.limit, "of": found.of}
        groups = [{**s.fields, "links": s.records} for s in found.spreads]
        document = {**head, "groups": groups, "rows": rows, "notes": found.notes}
    elif first_failure:
        from archive.answers.rates.first_failures import first_failures
        from archive.answers.rates.words import first_failure_lines

        lines = first_failure_lines

        found = first_failures(held, first_failure, fields, choice, watch=watch)
        rows, document = found.rows, found.plain()
    elif trend:
        from archive.answers.rates.trend import trend as followed
        from archive.answers.rates.words import trend_lines

        lines = trend_lines

        found = followed(held, trend, choice, margin=margin or "leading", watch=watch)
        rows, document = found.points, found.plain()
    elif what_failed:
        from archive.answers.rates.pareto import failed
        from archive.answers.rates.words import failed_lines

        lines = failed_lines

        found = failed(held, choice, fields or None, tests=tests or "all", watch=watch)
        rows = found.rows
        document = {"rows": rows, "links": found.links, "failures": found.failures, "unknown": found.unknown}
        document["notes"] = found.notes
    else:
        from archive.answers.rates.rates import rates
        from archive.answers.rates.words import rates_lines

        lines = rates_lines

        found = rates(held, fields, choice, asked, watch=watch)
        rows = found.rows
        document = found.plain()
    if plot is not None:
        from archive.answers.rates.pictures import save

        save(found, plot, title or "")
        say(f"{plot} is drawn", quiet=quiet)
    if form:
        from archive.answers.rates.table import save as save_rows

        save_rows(rows, form, out, found.columns)
    elif as_json:
        print_json(document)
    elif not quiet:
        for line in lines(found, page_width()):
            print_line(line)
    for note in found.notes:
        say(note, quiet=quiet)
    done(False)


def _mode(modes: dict[str, Any]) -> str:
    """Which question is asked: the option that is given, else rates. Errors: Trouble for two questions at once."""
    given = [name for name, value in modes.items() if value]
    if len(given) > 1:
        raise Trouble(
            f"{' and '.join(given)} are two questions", code="option.exclusive", remedy="ask one after the other"
        )
    return given[0] if given else "rates"


def _refuse_without(options: dict[str, tuple[Any, str, Any]]) -> None:
    """Errors: Trouble for an option without the other that it needs."""
    for name, (given, needed, other) in options.items():
        if given and not other:
            raise Trouble(f"{name} needs {needed}", code="option.needs-another")


def _refuse_idle(mode: str, options: dict[str, tuple[Any, tuple[str, ...]]]) -> None:
    """Errors: Trouble for an option that does nothing in this mode."""
    for name, (given, modes) in options.items():
        if given and mode not in modes:
            needed = " or ".join(m for m in modes if m != "rates") or "rates alone"
            raise Trouble(f"{name} does nothing here", code="option.needs-another", found=mode, expected=needed)


def _edges(text: str | None) -> list[float] | None:
    if text is None:
        return None
    try:
        return [float(t) for t in text.split(",")]
    except ValueError:
        raise Trouble(
            "no bands of length",
            code="option.length-bands",
            found=repr(text),
            expected="metres joined by commas, as in 30,60,90",
        ) from None
