"""muniment stamp: a time stamp of the ledger's head."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import output_options, print_json, print_line, say, signer_options
from archive.errors import Trouble

FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("stamp")
@click.argument("archive", type=click.Path(path_type=Path), metavar="ARCHIVE")
@click.option("--authority", metavar="URL", help="Ask this time-stamping authority (RFC 3161).")
@click.option(
    "--request", "query", type=FILE, metavar="FILE", help="Only write the request, to be sent by other means."
)
@click.option("--response", type=FILE, metavar="FILE", help="Keep this answer to the request for today's head.")
@signer_options
@output_options
def command(
    archive: Path,
    authority: str | None,
    query: Path | None,
    response: Path | None,
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Has an authority of your choice stamp the head of the ledger: proof that the archive existed then.

    Nothing but a digest is sent. The answer is kept in the archive and travels with every proof made later.
    With --request and --response the exchange can be done on another machine; nothing may be deposited in between.

    \b
    Example:
      muniment stamp certificates --authority https://stamps.example/tsr
    """
    from archive import store
    from archive.atomic import write_bytes
    from archive.cli import signer
    from archive.store.events import record
    from archive.store.keys import stamp

    if sum(x is not None for x in (authority, query, response)) != 1:
        raise Trouble(
            "how is the stamp to be had?",
            code="option.one-of",
            expected="one of --authority URL, --request FILE, --response FILE",
        )
    opened = store.open(archive)
    head = opened.head()
    message = stamp.message(opened.id, head.size, head.root)
    if query is not None:
        write_bytes(query, stamp.request(message))
        say(f"{query}: request for the head {head.root} over {head.size} entries", quiet=quiet)
        if as_json:
            print_json({"request": str(query), "ledger_head": head.root, "ledger_size": head.size})
        return
    token = response.read_bytes() if response else stamp.ask(str(authority), stamp.request(message))
    when = stamp.check(token, message)
    facts = {"size": head.size, "root": head.root}
    texts = {"reason": reason, "authority": authority, "stamped_at": when, **facts}
    entry = record(
        opened,
        "stamp",
        by=signer.name(by),
        texts=texts,
        facts=facts,
        attached={"head.tsr": token},
        sign=signer.sign(opened),
    )
    if as_json:
        print_json(
            {"stamped_at": when, "ledger_head": head.root, "ledger_size": head.size, "ledger_entry": entry.number}
        )
    elif not quiet:
        print_line(f"Head {head.root} over {head.size} entries stamped at {when}; kept by ledger entry {entry.number}")
