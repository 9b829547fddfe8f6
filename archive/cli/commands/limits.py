"""muniment limits: limit lines, their formulas, editions and sources."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.cli.common import done, output_options, print_json, print_line, print_next, print_text, say
from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.limits import Limit


@click.group(name="limits", invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Limit lines: list them, show one, draw one, confirm one.

    \b
    Example:
      muniment limits show tia-568.2-d/cat6a/channel --at 100,250,500
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(list_limits)


@command.command("list")
@click.argument("words", nargs=-1)
@output_options
def list_limits(words: tuple[str, ...] = (), as_json: bool = False, quiet: bool = False) -> None:
    """All limits, or those whose id holds every one of WORDS.

    \b
    Example:
      muniment limits list cat6a channel
    """
    from archive import limits
    from archive.cli import optical_limits
    from archive.limits import fiber

    found = [limits.get(i) for i in limits.ids() if all(word.lower() in i for word in words)]
    rows = [
        {
            "limit": limit.id,
            "edition": limit.edition,
            "title": limit.title,
            "established": limit.established,
            "confidence": limit.confidence or None,
            "range_mhz": limit.range_mhz,
            "configuration": limit.configuration,
            "connections": limit.connections,
            "same_as": limit.same_as or None,
            "confirmations": list(limit.confirmations),
        }
        for limit in found
    ]
    optical = [fiber.get(i) for i in fiber.ids() if all(word.lower() in i for word in words)]
    rows += [optical_limits.listed(limit) for limit in optical]
    if as_json:
        print_json({"version": limits.version(), "limits": rows})
        return
    wide = max((len(str(row["limit"])) for row in rows), default=0)
    for limit in found:
        span = "{:g} to {:g} MHz".format(*limit.range_mhz) if limit.range_mhz else ""
        state = f"{limit.confidence or ' '}  {span}" if limit.established else "-  limit not established"
        print_line(f"{limit.id.ljust(wide)}  {state}")
    for bound in optical:
        print_line(f"{bound.id.ljust(wide)}  {optical_limits.state(bound)}")
    say(f"limit library {limits.version()}; the confidence is the least of what a pass needs: A read, B supported, "
        "C from memory", quiet=quiet)  # fmt: skip


@command.command("show")
@click.argument("limit")
@click.option("--at", metavar="F,F,...", help="Values at these frequencies, MHz; of an optical limit at lengths, m.")
@output_options
def show(limit: str, at: str | None, as_json: bool, quiet: bool) -> None:
    """One limit: formulas, editions, sources, values. LIMIT: an id, an own limit's file, or an export's words.

    \b
    Example:
      muniment limits show iso-11801-1/class-ea/permanent-link-2 --at 1,100,500 --json
    """
    from archive.cli import optical_limits
    from archive.limits import show as shown

    frequencies = _frequencies(at)
    if (optical := optical_limits.named(limit)) is not None:
        optical_limits.show(optical, frequencies, as_json)
        return
    found = _limit(limit)
    if as_json:
        print_json(shown.document(found, frequencies))
    else:
        print_text(shown.text(found, frequencies))


@command.command("plot")
@click.argument("limit")
@click.option("-o", "--out", type=click.Path(dir_okay=False), help="OUT.svg, .png or .pdf (default: by the id, .svg).")
@output_options
def plot(limit: str, out: str | None, as_json: bool, quiet: bool) -> None:
    """Draws a limit's lines.

    \b
    Example:
      muniment limits plot tia-568.2-d/cat6a/channel -o cat6a.png
    """
    from archive.answers import limit_picture, optical_limit_picture

    found, path = _to_file(limit, out, ".svg", limit_picture.save, optical_limit_picture.save)
    if as_json:
        print_json({"limit": found, "path": str(path)})
    else:
        say(f"{found} is drawn in {path}", quiet=quiet)


def _to_file(
    limit: str, out: str | None, ending: str, save: Callable[..., Any], optical: Callable[..., Any]
) -> tuple[str, Path]:
    """Id of the limit, and the file that it was saved in: as copper or as fiber."""
    from archive.cli import optical_limits

    fiber = optical_limits.named(limit)
    found = fiber or _limit(limit)
    path = Path(out or f"{found.id.replace('/', '-')}{ending}")
    (optical if fiber is not None else save)(found, path)
    return found.id, path


@command.command("worksheet")
@click.argument("limit")
@click.option("-o", "--out", type=click.Path(dir_okay=False), help="OUT.csv or .pdf (default: by the id, .csv).")
@output_options
def make_worksheet(limit: str, out: str | None, as_json: bool, quiet: bool) -> None:
    """LIMIT laid out for a person who has the standard, to be ticked or corrected.

    The values at the frequencies that standards print, with formula and confidence, and an empty column. A CSV that was
    filled in is read back by `muniment limits confirm`; the PDF is for paper.

    \b
    Example:
      muniment limits worksheet tia-568.2-d/cat6a/permanent-link -o cat6a.csv
    """
    from archive.answers import limit_worksheet

    found, path = _to_file(limit, out, ".csv", limit_worksheet.save, limit_worksheet.save_optical)
    if as_json:
        print_json({"limit": found, "path": str(path)})
    else:
        say(f"worksheet of {found} in {path}", quiet=quiet)
        if not quiet:
            filled = path if path.suffix.lower() == ".csv" else "SHEET.csv"
            print_next("limits", "confirm", found, filled, then="once filled")


@command.command("confirm")
@click.argument("limit")
@click.argument("file", required=False, type=click.Path())
@click.option("--withdraw", is_flag=True, help="Take back what was confirmed; the files stay, marked as withdrawn.")
@output_options
def confirm(limit: str, file: str | None, withdraw: bool, as_json: bool, quiet: bool) -> None:
    """A person who owns the standard confirms, replaces or supplies lines of LIMIT.

    FILE is a worksheet that was filled in (.csv, see `muniment limits worksheet`), or TOML: limit, by, on, document;
    confirms = [parameters as the library has them]; [lines.PARAMETER] and [scalars] as the standard has them.
    schemas/limits/README.md explains each key.

    \b
    Example:
      muniment limits confirm tia-568.2-d/cat6a/permanent-link read-by-me.toml
    """
    from pathlib import Path

    from archive import limits
    from archive.cli import optical_limits
    from archive.limits import confirm as confirming
    from archive.limits import worksheet

    if withdraw == bool(file):
        raise click.UsageError("Give a FILE, or --withdraw.")
    if (optical := optical_limits.named(limit)) is not None:
        done(optical_limits.confirm(optical, file, as_json, quiet))
        return
    found = _limit(limit)
    left: list[str] = []
    if withdraw:
        kept = list(confirming.withdraw(found.id))
    elif (path := Path(file or "")).suffix.lower() == ".csv":
        filled = worksheet.read(found, path)
        kept, left = [worksheet.confirm(filled, path)], filled.left
    else:
        kept = [confirming.confirm(found.id, path)]
    now = limits.get(found.id)
    if as_json:
        print_json({"limit": found.id, "kept": [str(p) for p in kept], "confirmations": list(now.confirmations),
                    "left": left, "confidence": now.confidence or None})  # fmt: skip
        done(bool(left))
        return
    for confirmation in now.confirmations:
        say(confirmation, quiet=quiet)
    say(f"{found.id}: {'withdrawn' if withdraw else 'kept in'} {', '.join(map(str, kept)) or 'nothing'}", quiet=quiet)
    for text in left:
        print_line(f"not confirmed: {text}")
    if not quiet:
        print_next("limits", "show", found.id)
    done(bool(left))


def _limit(words: str) -> Limit:
    """The limit that an id, a file or free words name. Errors: Trouble with the candidates."""
    from archive import limits

    if words.endswith(".toml"):
        return limits.get(words)
    found = limits.find(words)
    if found.limit_id:
        return limits.get(found.limit_id)
    if found.candidates and words.strip().lower() not in limits.ids():
        expected = "one of " + ", ".join(found.candidates)
        raise Trouble(
            "this names no single limit",
            code="option.limit-ambiguous",
            found=f"'{words}' ({found.reason})",
            expected=expected,
        )
    return limits.get(words.strip().lower())


def _frequencies(typed: str | None) -> list[str]:
    """Frequencies as typed. Errors: Trouble for one that is no positive number."""
    frequencies = [part.strip() for part in typed.split(",")] if typed else []
    for part in frequencies:
        try:
            good = 0 < float(part) < float("inf")
        except ValueError:
            good = False
        if not good:
            raise Trouble(
                "this is not a frequency",
                code="option.not-a-frequency",
                where="--at",
                found=f"'{part}'",
                expected="MHz, such as 31.25",
            )
    return frequencies
