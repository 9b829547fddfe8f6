"""The receipt of a deposit, as a page and as a file to keep."""

from __future__ import annotations

import shlex
import tempfile
from pathlib import Path

from starlette.responses import Response

from archive.answers import receipt
from archive.answers.progress import progress
from archive.answers.receipt import ReceiptFacts
from archive.errors import Trouble
from archive.room import child
from archive.room.app import PageRequest
from archive.room.downloads import download
from archive.store import deposits

_FORMS = {"pdf": "application/pdf", "html": "text/html", "txt": "text/plain"}


def page(asked: PageRequest) -> Response:
    """The receipt, with the ledger head as it was right after the deposit."""
    archive, name = asked.look.archive, asked.needed("deposit")
    made = deposits.receipt(archive, name)
    job = made.plain().get("job")
    facts = ReceiptFacts(made, str(asked.root), job, progress(archive, job) if job else None, archive_id=archive.id)
    document = receipt.compose(facts, asked.words, kept=True)
    command = shlex.join(["muniment", "receipt", str(asked.root), name])
    return asked.page("receipt.html", document.title, command, document=document, deposit=name, job=job)


def file(asked: PageRequest) -> Response:
    """The same as a file, made by the command that makes it."""
    name, form = asked.needed("deposit"), asked.text("form") or "pdf"
    if form not in _FORMS:
        raise Trouble("no such form of a receipt", code="room.address", found=form, expected=", ".join(_FORMS))
    deposits.receipt(asked.look.archive, name)  # a wrong name is told before anything is made
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / f"receipt.{form}"
        child.run(["receipt", str(asked.root), f"--receipt={out}", "--quiet", "--", name])
        return download(out.read_bytes(), f"receipt-{name}.{form}", _FORMS[form])
