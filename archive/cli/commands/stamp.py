"""muniment stamp: a time stamp of the ledger's head."""

from __future__ import annotations

from pathlib import Path

import click

from archive.cli.common import ARCHIVE, output_options, print_json, print_line, print_next, say, signer_options
from archive.errors import Trouble
from archive.vocabulary.counted import counted

FILE = click.Path(path_type=Path, dir_okay=False)
THERE = click.Path(path_type=Path, exists=True, dir_okay=False)


@click.command("stamp")
@click.argument("archive", type=ARCHIVE, metavar="ARCHIVE")
@click.option(
    "--authority",
    "authorities",
    multiple=True,
    metavar="URL",
    help="Ask this time-stamping authority (RFC 3161); several make several stamps.",
)
@click.option(
    "--request", "query", type=FILE, metavar="FILE", help="Only write the request, to be sent by other means."
)
@click.option("--response", type=FILE, metavar="FILE", help="Keep this answer to the request for today's head.")
@click.option("--renew", is_flag=True, help="Stamp anew only where the certificate of an earlier stamp ends soon.")
@click.option("--within", type=click.IntRange(0), default=90, show_default=True, metavar="DAYS", help="With --renew.")
@click.option("--root", "roots", multiple=True, type=THERE, metavar="CERTIFICATE", help="Root to keep with the stamp.")
@click.option(
    "--revoked", "lists", multiple=True, type=THERE, metavar="CRL", help="List of revoked certificates to keep with it."
)
@signer_options
@output_options
def command(
    archive: Path,
    authorities: tuple[str, ...],
    query: Path | None,
    response: Path | None,
    renew: bool,
    within: int,
    roots: tuple[Path, ...],
    lists: tuple[Path, ...],
    by: str | None,
    reason: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Has authorities of your choice stamp the head of the ledger: proof that the archive existed then.

    Nothing but a digest is sent. The answer is kept in the archive with its chain of certificates, and with what --root
    and --revoked name, and travels with every proof made later. With --request and --response the exchange can be done
    on another machine; nothing may be deposited in between.

    A stamp made while its authority's certificate was valid holds after that has ended. Have today's head stamped again
    before, while the old one can still be checked in full: --renew does so for each stamp whose certificate ends within
    so many days, by the authorities that made them unless others are named.

    \b
    Example:
      muniment stamp certificates --authority https://stamps.example/tsr --root stamps-root.pem
      muniment stamp certificates --renew
    """
    from archive import store
    from archive.atomic import write_bytes
    from archive.cli import signer
    from archive.store import clock
    from archive.store.events.stamps import due, keep_stamp
    from archive.store.keys import stamp
    from archive.store.keys.stamp_chain import crl

    if sum((bool(authorities or renew), query is not None, response is not None)) != 1:
        raise Trouble(
            "how is the stamp to be had?",
            code="option.one-of",
            expected="one of --authority URL, --request FILE, --response FILE, --renew",
        )
    rests_on = [(f"root-{n}.pem", _pem(r)) for n, r in enumerate(roots, 1)]
    rests_on += [(f"revoked-{n}.crl", r.read_bytes()) for n, r in enumerate(lists, 1)]
    for path in lists:
        crl(path.read_bytes())
    opened = store.open(archive)
    old = due(opened, within, clock.now()) if renew else []
    if renew and not old:
        say(f"nothing to renew: no certificate of a stamp ends within {within} days", quiet=quiet)
        if as_json:
            print_json({"stamps": [], "renewed": []})
        return
    named = [a for e in old if (a := opened.texts(e).get("authority"))]
    asked: list[str | None] = [*(authorities or dict.fromkeys(named))]
    if renew and not asked:
        raise Trouble("which authority is to stamp?", code="option.needs-another", expected="--authority URL")
    head = opened.head()
    message = stamp.message(opened.id, head.size, head.root)
    if query is not None:
        write_bytes(query, stamp.request(message))
        say(f"{query}: request for the head {head.root} over {counted(head.size, 'entry')}", quiet=quiet)
        if as_json:
            print_json({"request": str(query), "ledger_head": head.root, "ledger_size": head.size})
        elif not quiet:
            print_next("stamp", archive, "--response", "FILE", then="with what the authority answers")
        return
    if response is not None:
        answers: list[tuple[str | None, bytes]] = [(None, response.read_bytes())]
    else:
        answers = [(a, stamp.ask(str(a), stamp.request(message))) for a in asked]
    made = []
    for authority, token in answers:
        said = {"reason": reason, "authority": authority}
        sign = signer.sign(opened)
        entry = keep_stamp(opened, head, token, said, rests_on=rests_on, by=signer.name(by), sign=sign)
        when = opened.texts(entry)["stamped_at"]
        made.append(
            {"stamped_at": when, "ledger_entry": entry.number, "authority": authority, "ends": entry.get("ends")}
        )
    if as_json:
        first = {"stamped_at": made[0]["stamped_at"], "ledger_entry": made[0]["ledger_entry"]}
        renewed = [e.number for e in old]
        head_said = {"ledger_head": head.root, "ledger_size": head.size}
        print_json({**first, **head_said, "stamps": made, "renewed": renewed})
    elif not quiet:
        for one in made:
            until = f", whose certificate ends {one['ends']}" if one["ends"] else ""
            print_line(
                f"Head {head.root} over {counted(head.size, 'entry')} stamped at {one['stamped_at']}{until}; "
                f"kept by ledger entry {one['ledger_entry']}"
            )
        print_next("stamp", archive, "--renew", then="once a month")


def _pem(path: Path) -> bytes:
    """A certificate as PEM. Errors: Trouble where it is none."""
    from cryptography.hazmat.primitives.serialization import Encoding

    from archive.store.keys.stamp import certificate

    data: bytes = certificate(path.read_bytes()).public_bytes(Encoding.PEM)
    return data
