"""The proof of a record, computed while one looks: every step, and the bundle for whoever has no archive."""

from __future__ import annotations

import json
import shlex
import time

from starlette.responses import Response

from archive.room.app import PageRequest
from archive.room.downloads import download
from archive.store.proofs import holds, prove, verify


def page(asked: PageRequest) -> Response:
    """Each step of the proof, and what was found at it just now."""
    started = time.perf_counter()
    record, expect = asked.needed("record"), asked.text("expect")
    proof = prove(asked.look.archive, record, None)
    steps = verify(proof, expect, [])
    values = {
        "proof": proof,
        "steps": steps,
        "good": holds(steps),
        "expect": expect,
        "seconds": time.perf_counter() - started,
    }
    return asked.page(
        "proof.html", asked.words("Proof"), shlex.join(["muniment", "prove", str(asked.root), record]), **values
    )


def line(asked: PageRequest) -> Response:
    """What came of the proof just now, in one sentence: for the page of a link."""
    started = time.perf_counter()
    steps = verify(prove(asked.look.archive, asked.needed("record"), None), None, [])
    seconds = time.perf_counter() - started
    return asked.part("proof_line.html", steps=steps, good=holds(steps), seconds=seconds)


def bundle(asked: PageRequest) -> Response:
    """The proof as one JSON document."""
    proof = prove(asked.look.archive, asked.needed("record"), None)
    text = json.dumps(proof, ensure_ascii=False, indent=1) + "\n"
    return download(text, f"proof-{proof['record']}.json", "application/json")
