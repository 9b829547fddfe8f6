"""What the pages of a claim file were made from, saved beside them; and the pages made again from that."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from archive import formats, grading
from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.claim.compose import compose
from archive.answers.claim.one_record import one_record
from archive.answers.documents import Attachment, html, pdf
from archive.answers.sealing.made_with import made_with
from archive.answers.sealing.saved_facts import restore, save
from archive.answers.wording import Wording
from archive.tables import Batch

FACTS = "facts.json"
DOCUMENTS = "documents"
WORDS = "words.po"
_AS_READ, _DERIVED = "as read", "derived"
_FORMS = ("record.xml", "other-tests.xml", "fresh-test.xml")
RESTS_ON = (FACTS, WORDS, *_FORMS)
"""Files of data/ that the pages are made from."""


def facts_json(facts: ClaimFacts, words: Wording, paper: str) -> bytes:
    """The facts and the manner of speaking as JSON; records are references into the open forms of the bag."""
    of_tests = [(facts.standing, "record.xml", 0), (facts.retest, "fresh-test.xml", 0)]
    of_tests += [(t, "other-tests.xml", n) for n, t in enumerate(t for t in facts.tests if not t.standing)]
    listed = [(t.batch, [name, n, _AS_READ]) for t, name, n in of_tests if t is not None]
    listed += [(t.curves, [name, n, _DERIVED]) for t, name, n in of_tests if t is not None and t.curves is not None]

    def reference(value: Batch | bytes) -> list[Any]:
        if isinstance(value, bytes):
            return [next(p.row["inside"] for p in facts.photographs if p.data is value)]
        return next(where for held, where in listed if held is value)

    saved = json.loads(save(replace(facts, standing=None), reference))  # it is one of the tests
    manner = {"locale": words.locale, "lengths": words.lengths, "translated": words.catalogue is not None}
    document = {
        "format": "muniment-claim-facts-1",
        "made_with": made_with(),
        "paper": paper,
        "manner": manner,
        "facts": saved,
    }
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def written_with(data: Path) -> dict[str, str]:
    """Versions that the pages of a claim file were made with. Errors: ValueError, KeyError where it does not say."""
    return dict(json.loads((data / FACTS).read_bytes())["made_with"])


def restored(data: Path) -> tuple[ClaimFacts, Wording, str]:
    """Facts, manner of speaking and paper of a claim file. data: its folder data/.

    Errors: ValueError where they are not as this version writes them; Trouble where an open form cannot be read.
    """
    try:
        document = json.loads((data / FACTS).read_bytes())
        manner, saved = document["manner"], json.dumps(document["facts"]).encode()
        words = Wording(manner["locale"], manner["lengths"], data / WORDS if manner["translated"] else None)
        paper = str(document["paper"])
    except (KeyError, TypeError, OSError) as error:
        raise ValueError(f"{type(error).__name__} {error}") from None
    forms: dict[str, list[Batch]] = {}

    def of(reference: Any) -> Batch | bytes:
        if len(reference) == 1:
            return _document(data, reference[0])
        name, number, kind = reference
        if name not in _FORMS:
            raise ValueError(f"no open form {name}")
        if name not in forms:
            forms[name] = _single(data / name)
        found = forms[name][number]
        return grading.derived(found) if kind == _DERIVED else found

    facts = restore(saved, ClaimFacts, of)
    return replace(facts, standing=next((t for t in facts.tests if t.standing), None)), words, paper


def pages(facts: ClaimFacts, words: Wording, paper: str, record: bytes | None) -> Mapping[str, Callable[[], bytes]]:
    """The documents by name, each made when it is asked for. record: record.xml, which the PDF carries inside."""
    message = words("the record in the open form")
    attached = [Attachment("record.xml", record, "application/xml", message)] if record is not None else []
    document = compose(facts, words, paper=paper, attachments=attached)
    return {"claim.html": lambda: html(document).encode(), "claim.pdf": lambda: pdf(document)}


def _document(data: Path, name: str) -> bytes:
    """A photograph in the bag. Errors: ValueError for any other place."""
    place = data / name
    if not name.startswith(f"{DOCUMENTS}/") or ".." in name.split("/"):
        raise ValueError(f"no document {name}")
    return place.read_bytes()


def _single(path: Path) -> list[Batch]:
    """Each record of an open form as a batch of its own."""
    found = []
    for batch in formats.read(path):
        ids = batch["records"].column("record_id").to_pylist()
        if len(set(ids)) != len(ids):
            raise ValueError(f"{path.name} holds a record twice")
        found += [one_record(batch, i) for i in ids]
    return found
