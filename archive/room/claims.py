"""The claim file of a link: what the claim states and a fresh test in a form, handed out as one zip of its folder."""

from __future__ import annotations

import shlex
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.responses import Response

from archive.answers.claim import claim_statement
from archive.answers.claim.claim_folder import write
from archive.answers.claim.fresh import files
from archive.answers.claim.gather import gather
from archive.answers.link import open_link
from archive.answers.sealing.issue import issuer
from archive.answers.wording import Wording
from archive.room.app import PageRequest
from archive.room.downloads import download, zipped

STATED = ("number", "claimant", "symptom", "application", "failed_on", "notified_on", "recipient")
"""What a claim states, as far as the form asks for it."""

WARRANTY = ("number", "issuer", "first_day", "last_day", "notice_within_days")


def form(asked: PageRequest) -> Response:
    """The form."""
    given = {name: asked.text(name) for name in ("job", "site", "record")}
    link = open_link(asked.look.archive, asked.needed("label"), role="accepted", **given)
    command = shlex.join(["muniment", "claim", str(asked.root), link.label, "--out", f"claim-{link.label}"])
    title = asked.words("Claim file of {label}", label=link.label)
    return asked.page("claim.html", title, command, link=link, given=given, exact=False)


def made(asked: PageRequest) -> Response:
    """The claim file. A fresh test that is handed in is read and printed, and not archived; no entry is made in the
    ledger, so that only a key of whoever opened the room seals it."""
    label = asked.needed("label")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        retest = None
        if "retest" in asked.files:
            name, data = asked.files["retest"]
            ending = "".join(c for c in Path(name).suffix[:12] if c.isascii() and (c.isalnum() or c == "."))
            retest = place / f"fresh{ending}"
            retest.write_bytes(data)
        reason = asked.text("reason") or ""
        chosen = {"job": asked.text("job"), "site": asked.text("site")}
        facts, originals = gather(asked.look.archive, label, retest=retest, reason=reason, **chosen)
        by = asked.made_by or asked.text("by")
        seals = issuer(asked.root, by=by, reason=reason, sign=asked.sign, enter=False)
        facts = replace(facts, stated=_stated(asked), issued_by=seals.by or "")
        handed_in = files(retest) if retest is not None else {}
        words = Wording(asked.text("language") or asked.words.locale)
        paper = "letter" if asked.text("paper") == "letter" else "a4"
        write(facts, originals, place / "claim", words, paper=paper, fresh=handed_in, issuer=seals)
        return download(zipped(place / "claim"), f"claim-{label}.zip", "application/zip")


def _stated(asked: PageRequest) -> claim_statement.ClaimStatement:
    """What the form states. Errors: Trouble where a value is none of its kind."""
    table: dict[str, Any] = {name: value for name in STATED if (value := asked.text(name)) is not None}
    warranty: dict[str, Any] = {n: v for n in WARRANTY if (v := asked.text(f"warranty_{n}")) is not None}
    if warranty.get("notice_within_days", "").isdecimal():
        warranty["notice_within_days"] = int(warranty["notice_within_days"])
    return claim_statement.stated({**table, **({"warranty": warranty} if warranty else {})}, asked.words("the form"))
