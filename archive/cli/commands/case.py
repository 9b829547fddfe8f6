"""muniment case: claims under a warranty and what became of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import ARCHIVE, done, output_options, print_json, print_line, print_next, say, signer_options
from archive.errors import Trouble

_ACTIONS = ("open", "note", "decide", "close", "list")
_TAKES: dict[str, tuple[str, ...]] = {
    "open": ("link", "job", "site", "day", "complaint"),
    "note": ("day", "text"),
    "decide": ("day", "text", "decision", "cause"),
    "close": ("day", "text", "cause", "cost", "currency"),
    "list": ("link", "job", "site", "state"),
}
_NEEDS: dict[str, tuple[str, ...]] = {
    "open": ("link", "complaint"),
    "note": ("case", "text"),
    "decide": ("case", "decision"),
    "close": ("case",),
    "list": (),
}


@click.command("case")
@click.argument("archive", type=ARCHIVE)
@click.argument("action", type=click.Choice(_ACTIONS), metavar="STEP")
@click.argument("case", required=False)
@click.option("--link", metavar="L", help="open, list: the link.")
@click.option("--job", metavar="J", help="open, list: its job.")
@click.option("--site", metavar="S", help="open, list: its site.")
@click.option("--day", metavar="DAY", help="The day on which it happened (default: today).")
@click.option("--complaint", metavar="TEXT", help="open: what is complained of.")
@click.option("--text", metavar="TEXT", help="note, decide, close: what is to be said.")
@click.option("--decision", type=click.Choice(["accepted", "rejected", "settled", "withdrawn"]), help="decide: how.")
@click.option("--cause", metavar="WORDS", help="decide, close: what it was, such as 'termination'.")
@click.option("--cost", metavar="AMOUNT", help="close: what it cost, in figures.")
@click.option("--currency", metavar="CUR", help="close: of the cost, such as EUR.")
@click.option("--state", type=click.Choice(["open", "decided", "closed"]), help="list: only these.")
@signer_options
@output_options
def command(
    archive: Path,
    action: str,
    case: str | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
    **stated: Any,
) -> None:
    """Opens a case for a link, notes what happens, decides and closes it; each is an entry in the ledger.

    STEP is one of open, note, decide, close, list.

    CASE is the number that people call it by (open: that it is to have; without one the program gives it). The texts
    stand in one file of the event alone, which `list --json` names and `redact --file` takes out. `claim --case`
    prints it, and `find`, `history` and `sql` (view cases) show it.

    \b
    Example:
      muniment case certificates open C-2026-117 --link 2-TR2-A117 --complaint "drops to 1 Gbit/s" --day 2026-05-03
      muniment case certificates decide C-2026-117 --decision accepted --cause termination
      muniment case certificates close C-2026-117 --cost 340.00 --currency EUR
    """
    from archive import store
    from archive.answers import cases
    from archive.answers.link import open_link
    from archive.cli import signer

    _fit(action, case, stated)
    opened = store.open(archive)
    if action == "list":
        found = [c for c in cases.cases(opened) if _asked(c.plain(), case, stated)]
        if as_json:
            print_json({"cases": [c.plain() for c in found]})
        elif not quiet:
            for c in found:
                print_line(cases.sentence(c))
            if not found:
                say("no case")
        done(not found)
        return
    who, sign = signer.name(by), signer.sign(opened)
    said = {k: stated[k] for k in ("day", "text", "decision", "cause", "cost", "currency") if stated[k] is not None}
    if action == "open":
        link = open_link(opened, stated["link"], job=stated["job"], site=stated["site"], role="accepted")
        said |= {"text": stated["complaint"], **({"name": case} if case else {})}
        entry = cases.begin(opened, link, said, by=who, reason=reason, sign=sign)
    else:
        entry = cases.go_on(opened, str(case), action, said, by=who, reason=reason, sign=sign)
    made = cases.one_case(opened, str(entry.get("case") or entry["id"]))
    if as_json:
        print_json({**made.plain(), "ledger_entry": entry.number})
    elif not quiet:
        print_line(f"{cases.sentence(made)} (ledger entry {entry.number})")
        named = made.plain()["case"]
        if action == "open":
            print_next("claim", archive, made.plain()["link"], "--case", named, "--out", "DIR")
        elif action == "decide":
            print_next("case", archive, "close", named)
        elif action == "note":
            print_next("case", archive, "decide", named, "--decision", "HOW")
        else:
            print_next("case", archive, "list", "--state", "open")


def _fit(action: str, case: str | None, stated: dict[str, Any]) -> None:
    """Errors: Trouble where an option is missing, or belongs to another action."""
    given = {k for k, v in stated.items() if v is not None} | ({"case"} if case else set())
    for name in _NEEDS[action]:
        if name not in given:
            wanted = "CASE" if name == "case" else f"--{name}"
            raise Trouble(f"`{action}` needs {wanted}", code="option.needs-another", expected=wanted)
    for name in sorted(given - {"case", *_TAKES[action]}):
        raise Trouble(f"`{action}` takes no --{name}", code="case.option-of-another", found=f"--{name}")


def _asked(plain: dict[str, Any], case: str | None, stated: dict[str, Any]) -> bool:
    wanted = {k: stated[k] for k in ("link", "job", "site", "state") if stated[k] is not None}
    return all(plain[k] == v for k, v in wanted.items()) and case in (None, plain["case"], plain["id"])
