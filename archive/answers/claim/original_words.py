"""What a claim file says of the file as received, whether it encloses it, stretches of it, or nothing, and why."""

from __future__ import annotations

from archive.answers.claim.claim_facts import Original
from archive.answers.wording import Wording


def original_words(o: Original, words: Wording) -> str:
    """Where the file as received lies, in a sentence of the custody."""
    known = {"name": o.name, "bytes": words.number(o.bytes, 0), "digest": o.sha256}
    if o.path:
        return words(
            "Received as {name}, {bytes} bytes, SHA-256 {digest}; it lies in this bag, byte for byte, as data/{path}.",
            path=o.path,
            **known,
        ) + (words(" Beside it: {names}.", names=", ".join(o.beside)) if o.beside else "")
    if o.ranges:
        listed = ", ".join(
            words("bytes {first} to {last} as data/{path}", first=r["offset"], last=end - 1, path=r["file"])
            for r in o.ranges
            for end in (r["offset"] + r["bytes"],)
        )
        return words(
            "Received as {name}, {bytes} bytes, SHA-256 {digest}, which holds other links too. The whole is not "
            "enclosed; unaltered stretches of it are: {listed}.",
            listed=listed,
            **known,
        )
    reason = {
        "others": words("it holds other links too, and no stretch of bytes of this link alone can be told"),
        "redacted": words("a name was taken out of its deposit, and it may still hold that name"),
        "left out": words("originals were not asked for"),
    }.get(o.why)
    if reason is not None:
        return words(
            "Received as {name}, {bytes} bytes, SHA-256 {digest}. It is not enclosed: {reason}.", reason=reason, **known
        )
    if o.why == "damaged":
        return words("The file as received is damaged in the archive, and not enclosed: {said}.", said=o.said)
    return words("The file as received is not kept any more.")


def original_gap(o: Original, words: Wording) -> str | None:
    """What of it weakens the record, for the first page."""
    if o.why == "damaged":
        return words(
            "The original export is damaged in the archive; the record was checked against its own digest, and rests "
            "on what was read from the export before. {said}.",
            said=o.said,
        )
    if not o.name:
        return words("The original export is not kept any more; the record rests on what was read from it.")
    return None
