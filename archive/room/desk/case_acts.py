"""Cases: claims under a warranty, opened, noted, decided and closed."""

from __future__ import annotations

from typing import Any

from archive.answers import cases
from archive.answers.link import open_link
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.desk.acts import Act, ActChoice, ActField, ActRow, Meant, command_for

_STATED = ("day", "text", "decision", "cause", "cost", "currency")
_TAKES = {
    "note": ("day", "text"),
    "decide": ("day", "text", "decision", "cause"),
    "close": ("day", "text", "cause", "cost", "currency"),
}


def _open_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    lead = [words("A case is a claim under the warranty of a link, and what becomes of it; each step is an entry.")]
    fields = [
        ActField("link", words("Link"), value=asked.text("link") or "", required=True),
        ActField("job", words("Job"), value=asked.text("job") or ""),
        ActField("site", words("Site"), value=asked.text("site") or ""),
        ActField("case", words("Number that people call it by, where it has one")),
        ActField("day", words("Day on which it was claimed"), "date"),
        ActField("complaint", words("What is complained of"), "long", required=True),
    ]
    return ActChoice(lead, fields=fields)


def _open_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    complaint, label = asked.text("complaint"), asked.text("link")
    if complaint is None or label is None:
        raise Trouble("a link, and what is complained of", code="desk.nothing-chosen", remedy="state both")
    link = open_link(archive, label, job=asked.text("job"), site=asked.text("site"), role="accepted")
    said = {"text": complaint, **{k: v for k, v in (("day", asked.text("day")), ("name", asked.text("case"))) if v}}
    cases.checked(said)

    def do() -> int | None:
        return cases.begin(archive, link, said, **_who(asked)).number

    return Meant(
        words("A case of {link} is opened.", link=link.label),
        [complaint, link.why],
        words("It is shown with the link, and can be printed in a claim file."),
        do,
        words("Closing the case counters it."),
        "/look-after/case-step",
    )


def _who(asked: PageRequest) -> dict[str, Any]:
    return {"by": asked.made_by or None, "reason": asked.text("reason"), "sign": asked.sign(asked.look.archive)}


def _step_choice(asked: PageRequest) -> ActChoice:
    words = asked.words
    found = [c for c in cases.cases(asked.look.archive) if asked.text("all") or c.state != "closed"]
    rows = [ActRow(c.case, [c.name, cases.sentence(c)]) for c in found]
    steps = [
        ("", words("leave it as it is")),
        ("note", words("note something")),
        ("decide", words("decide it")),
        ("close", words("close it")),
    ]
    decisions = [("", words("none"))]
    decisions += [
        ("accepted", words("accepted")),
        ("rejected", words("rejected")),
        ("settled", words("settled")),
        ("withdrawn", words("withdrawn")),
    ]
    fields = [
        ActField("step", words("What is done"), "select", steps),
        ActField("day", words("Day on which it happened"), "date"),
        ActField("text", words("What is to be said"), "long"),
        ActField("decision", words("Decision"), "select", decisions),
        ActField("cause", words("Cause, such as termination"), size=30),
        ActField("cost", words("Cost, in figures"), size=10),
        ActField("currency", words("Currency, such as EUR"), size=6),
    ]
    heads = [words("Case"), words("So far")]
    return ActChoice((), (), heads, "case", rows, len(rows), fields, ready=bool(rows))


def _step_meant(asked: PageRequest) -> Meant:
    archive, words = asked.look.archive, asked.words
    chosen, step = asked.all("case"), asked.text("step")
    if len(chosen) != 1 or step not in _TAKES:
        raise Trouble("one case, and what is done", code="desk.nothing-chosen", remedy="tick one case, and choose")
    case = cases.one_case(archive, chosen[0])
    said = {name: value for name in _STATED if (value := asked.text(name)) is not None}
    for name in said.keys() - set(_TAKES[step]):
        raise Trouble(f"`{step}` takes no {name}", code="desk.nothing-chosen", remedy="leave it empty")
    needed = {"note": "text", "decide": "decision"}.get(step)
    if needed is not None and needed not in said:
        raise Trouble(f"`{step}` needs its {needed}", code="desk.nothing-chosen", remedy="state it")
    cases.checked(said)
    if case.state == "closed" and step != "note":
        raise Trouble("this case is closed", code="desk.nothing-chosen", found=case.name, expected="a note")
    sentence = {
        "note": words("Something is noted in case {case}.", case=case.name),
        "decide": words("Case {case} is decided.", case=case.name),
        "close": words("Case {case} is closed.", case=case.name),
    }[step]
    return Meant(
        sentence,
        [cases.sentence(case), *(f"{name}: {value}" for name, value in said.items())],
        words("Its texts stand in one file of the event alone, which can be redacted."),
        lambda: cases.go_on(archive, case.case, step, said, **_who(asked)).number,
        words("A further note, decision or case counters it."),
        "/look-after/case-step",
    )


def case_acts() -> list[Act]:
    """The acts of this module."""
    return [
        Act(
            "case-open",
            lambda w: w("Open a case"),
            "manage",
            _open_choice,
            _open_meant,
            lambda a: command_for("case", a.root, "open", "--link", a.text("link") or "L", "--complaint", "TEXT"),
            reason=False,
        ),
        Act(
            "case-step",
            lambda w: w("Go on with a case"),
            "manage",
            _step_choice,
            _step_meant,
            lambda a: command_for("case", a.root, "note", a.text("case") or "CASE", "--text", "TEXT"),
            reason=False,
        ),
    ]
