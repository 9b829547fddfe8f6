"""muniment find: records of an archive, newest first."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, page_width, print_json, print_line, say
from archive.cli.filters import as_of_options, chosen, filter_options, opened
from archive.vocabulary.limit_words import limit_words


@click.command("find")
@click.argument("archive", type=ARCHIVE)
@filter_options
@click.option("--text", metavar="WORDS", help="Words that must all be there, each may be only begun.")
@click.option(
    "--most", type=click.IntRange(0), default=200, show_default=True, help="At most so many records; 0 for all."
)
@as_of_options
@output_options
def command(
    archive: Path,
    text: str | None,
    most: int,
    as_of: datetime | None,
    known: bool,
    as_json: bool,
    quiet: bool,
    **filters: Any,
) -> None:
    """Finds records. A label may be half remembered: case, separators, leading zeros and O for 0 do not matter, and
    its beginning, middle or end is enough where no label is so to the letter. A former label is found too. What was
    matched is said where it is not the whole label; whole labels come first. In --json "more" says that there are
    records beyond those shown, or may be, since more labels fit than were looked at.

    \b
    Exit code 1: nothing was found.

    \b
    Example:
      muniment find certificates --link a117
      muniment find certificates --site "Lantern Quay" --since 2019-03-01 --verdict fail
    """
    from archive.answers import count_text
    from archive.answers.cases import names_by_link
    from archive.answers.known_names import hints
    from archive.answers.schedule_doubts import between_lines
    from archive.store.catalogue.label_search import MOST, matches
    from archive.store.catalogue.search import find, matched

    held = opened(archive, as_of, known)
    held.catch_up()
    wanted = chosen(filters)
    among = None if wanted.link is None else matches(held.db, wanted.link, job=wanted.job, site=wanted.site)
    found = list(find(held.db, wanted, text=text, most=most + 1 if most else None, among=among))
    cut = bool(most) and len(found) > most
    found = found[: most or None]
    crowded = among is not None and (len(among) >= MOST or not_all_looked_at(held.db, str(wanted.link), among))
    between = between_lines(held, found)
    rows = [plain(r, filters["job"], between) for r in found]
    named = names_by_link(held, [r["link"] for r in found])
    for shown, row in zip(rows, found, strict=True):
        shown["cases"] = named.get(row["link"], [])
    fits = [matched(among, r) for r in found] if among is not None else []
    counts = None
    if rows and wanted.job is not None and text is None:  # what counting needs takes longer to load than finding does
        from archive.answers.progress import counts_of

        counts = counts_of(held, wanted)
    if as_json:
        listed = [{**r, "matched": m.plain()} for r, m in zip(rows, fits, strict=True)] if fits else rows
        print_json({"records": listed, "more": cut or crowded, **({} if counts is None else counts.plain())})
    elif not quiet:
        for i, r in enumerate(rows):
            more = [f"case {name}" for name in r["cases"]]
            more += [f"({fits[i]})"] if fits and str(fits[i]) else []
            for part in lines(r, page_width(), more, job=wanted.job is None):
                print_line(part)
        for told in () if counts is None else count_text.sums(counts):
            say(told)
        if cut:
            say(f"the {'first' if fits else 'newest'} {most} are shown; --most 0 shows all")
        if among is not None and crowded:
            say(f"{len(among)} labels fit, and not all were looked at; give more of the label")
        if not rows:
            for hint in ("nothing found", *hints(held, wanted)):
                say(hint)
    done(not rows)


def not_all_looked_at(db: Any, typed: str, among: list[Any]) -> bool:
    """Whether labels that hold what was typed were left out because there are too many; never for a whole label."""
    from archive.store.catalogue.label_search import EXACT, crowded

    return not any(m.how == EXACT for m in among) and crowded(db, typed)


def plain(r: Any, job: str | None = None, between: Collection[int] = ()) -> dict[str, Any]:
    """A row of the catalogue as commands print it. job: the job that was asked about; standing is the role shown.
    between: rows that may be of several lines of a schedule."""
    from archive import vocabulary
    from archive.vocabulary.link_counts import IN_CONFLICT, IN_DOUBT, record_result

    mark = {0: False, 1: True}
    result = record_result(r)
    leading = r["leading_parameter"]
    return {
        "record": r["record_id"],
        "link": r["link_label"],
        "job": r["job_id"],
        "site": r["site"],
        "tested_local": r["tested_local"],
        "tested_at": r["tested_at"],
        "limit": r["limit_id"] or r["limit_found"],
        "cable_type": r["cable_type"],
        "reported": r["reported_verdict"],
        "verdict": r["verdict"] or "not graded",
        "marginal": mark.get(r["marginal"]),
        "provisional": mark.get(r["provisional"]),
        "standing": bool(r["accepted"] if job is not None else r["current"]),
        "accepted": bool(r["accepted"]),
        "current": bool(r["current"]),
        "outcome": IN_DOUBT if r["doubt"] or r["row"] in between else IN_CONFLICT if r["conflict"] else result.outcome,
        "by_instrument": result.by_instrument,
        "margin_db": r["margin"],
        "parameter": r["parameter"],
        "leading_margin_db": r["leading_margin"] if leading and vocabulary.parameter(leading).unit == "dB" else None,
        "leading_parameter": leading,
        "length_m": r["length_m"],
        "evidence": r["evidence"],
        "deposit": r["deposit"],
    }


def lines(r: dict[str, Any], width: int, more: Sequence[str] = (), *, job: bool = True) -> list[str]:
    """A record in one line where the page is wide enough, else in two: what it came to, and what it is. job: name its
    job; more: what else is said of it."""
    from archive.vocabulary.link_counts import IN_CONFLICT, IN_DOUBT

    words = [r["verdict"]]
    words += [w for w in ("marginal", "provisional") if r[w]]
    against = [r["outcome"].replace("_", " ")] if r["outcome"] in (IN_CONFLICT, IN_DOUBT) else []
    roles = ", ".join([*(w for w in ("accepted", "current") if r[w]), *against])
    said = (
        f"{r['link'] or '(no label)':<20}  {r['tested_local'] or r['tested_at'] or 'time unknown':<19}  "
        f"{', '.join(words):<18}  {roles}"
    ).rstrip()
    what = [limit_words(r["limit"] or "no limit"), *([r["job"]] if job and r["job"] else []), r["record"], *more]
    one = f"{said:<81}  {'  '.join(what)}"
    return [one] if len(one) <= width else [said, f"    {'  '.join(what)}"]
