"""The claim file of a link, asked for in a form and handed out as one zip of its folder."""

from __future__ import annotations

import io
import shlex
import tempfile
import zipfile
from pathlib import Path

from starlette.responses import Response

from archive.answers.claim.claim_folder import write
from archive.answers.claim.fresh import files
from archive.answers.claim.gather import gather
from archive.answers.link import open_link
from archive.answers.wording import Wording
from archive.room.app import PageRequest
from archive.room.downloads import download

_WHEN = (1980, 1, 1, 0, 0, 0)


def form(asked: PageRequest) -> Response:
    """The form: reason, fresh test, paper."""
    given = {name: asked.text(name) for name in ("job", "site", "record")}
    link = open_link(asked.look.archive, asked.needed("label"), role="accepted", **given)
    command = shlex.join(["muniment", "claim", str(asked.root), link.label, "--out", f"claim-{link.label}"])
    return asked.page("claim.html", f"Claim file of {link.label}", command, link=link, given=given)


def made(asked: PageRequest) -> Response:
    """The claim file. A fresh test that is handed in is read and printed, and not archived."""
    label = asked.needed("label")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        retest = None
        if "retest" in asked.files:
            name, data = asked.files["retest"]
            ending = "".join(c for c in Path(name).suffix[:12] if c.isascii() and (c.isalnum() or c == "."))
            retest = place / f"fresh{ending}"
            retest.write_bytes(data)
        facts, originals = gather(
            asked.look.archive,
            label,
            job=asked.text("job"),
            site=asked.text("site"),
            retest=retest,
            reason=asked.text("reason") or "",
        )
        handed_in = files(retest) if retest is not None else {}
        words = Wording(asked.text("language") or "en")
        paper = "letter" if asked.text("paper") == "letter" else "a4"
        write(facts, originals, place / "claim", words, paper=paper, fresh=handed_in)
        return download(_zipped(place / "claim"), f"claim-{label}.zip", "application/zip")


def _zipped(folder: Path) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            info = zipfile.ZipInfo(f"claim/{path.relative_to(folder).as_posix()}", _WHEN)
            packed.writestr(info, path.read_bytes(), zipfile.ZIP_DEFLATED)
    return out.getvalue()
