"""What the claim states of terms, components, installer and surroundings, and one short list of what nobody states."""

from __future__ import annotations

from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.documents import Block, DocumentSection, FactsBlock, Para, TableBlock
from archive.answers.wording import Wording, plain

_ALIEN = ("ps_anext", "ps_aacr_f", "ps_anext_average", "ps_aacr_f_average")
_SHIELD = "S"


def section(facts: ClaimFacts, words: Wording) -> DocumentSection:
    """Terms and components as stated, then what is not stated and what was not measured."""
    blocks: list[Block] = []
    rows = [(name, value) for name, value in _terms(facts, words) if value]
    if rows:
        note = words("As the claim states it; this program has checked none of it.")
        blocks += [Para(note, "small"), FactsBlock(rows)]
    components = facts.stated.components
    if components:
        cells = [[c.part, c.name or "", c.lot or "", c.place or ""] for c in components]
        head = [words(h) for h in ("component", "name", "lot or drum", "place")]
        blocks.append(TableBlock(head, cells, caption=words("Components, as the claim states them")))
    missing = [name for name, value in _terms(facts, words) if not value]
    missing += [] if components else [words("components with their lots")]
    missing += [name for name, value in _of_job(facts, words) if not value]
    if missing:
        blocks.append(Para(words("Not stated: {names}.", names=", ".join(missing))))
    unmeasured = not_measured(facts, words)
    if unmeasured:
        blocks.append(Para(words("Not measured, as far as the record shows: {names}.", names=", ".join(unmeasured))))
    return DocumentSection(words("What is stated, and what is not"), blocks)


def _terms(facts: ClaimFacts, words: Wording) -> list[tuple[str, str]]:
    c = facts.stated
    w, i, e = c.warranty, c.installer, c.environment

    def of(day: object) -> str:
        return words.day(str(day)) if day else ""

    return [
        (words("number of the warranty"), w.number or ""),
        (words("kind of warranty"), w.kind or ""),
        (words("issuer of the warranty"), w.issuer or ""),
        (words("what it covers"), ", ".join(w.covers)),
        (words("what it excludes"), ", ".join(w.excludes)),
        (words("conditions"), "; ".join(w.conditions)),
        (words("installing firm"), i.firm or ""),
        (words("certification of the firm"), _until(i.firm_certification, of(i.firm_valid_until), words)),
        (words("installing person"), i.person or ""),
        (words("certification of the person"), _until(i.person_certification, of(i.person_valid_until), words)),
        (words("temperature along the link"), e.temperature or ""),
        (words("bundling"), e.bundling or ""),
        (words("power over the link"), e.power or ""),
        (words("moves and changes since acceptance"), e.moves or ""),
    ]


def _until(name: str | None, day: str, words: Wording) -> str:
    return words("{name}, valid until {day}", name=name, day=day) if name and day else name or ""


def _of_job(facts: ClaimFacts, words: Wording) -> list[tuple[str, str]]:
    j = facts.job
    return [
        (words("required limit of the job"), plain(j.get("required_limit"))),
        (words("days of the work"), plain(j.get("work_start") or j.get("work_end"))),
        (words("contractor"), plain(j.get("contractor"))),
        (words("client"), plain(j.get("client"))),
    ]


def not_measured(facts: ClaimFacts, words: Wording) -> list[str]:
    """What a copper link may be certified for beyond its internal parameters, and the record does not hold."""
    s = facts.standing
    if s is None or s.record["medium"] != "copper":
        return []
    there = {*s.batch["sweeps"]["parameter"].to_pylist(), *s.batch["readings"]["quantity"].to_pylist()}
    there |= set(s.batch["reported"]["parameter"].to_pylist())
    listed = []
    if not there & set(_ALIEN):
        listed.append(words("alien crosstalk"))
    listed += [words.parameter(p) for p in ("tcl", "eltctl", "coupling_attenuation") if p not in there]
    if not any(_SHIELD in (r["near"], r["far"]) for r in s.rows("wiremap")):
        listed.append(words("continuity of the screen"))
    if not any("temperature" in str(q) for q in there):
        listed.append(words("temperature"))
    return listed
