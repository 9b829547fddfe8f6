"""The counts of links in words, the same in every document: names, lines that add up, and what stands beside them."""

from __future__ import annotations

from archive import schemas
from archive.answers.wording import ENGLISH, Wording
from archive.vocabulary.link_counts import COUNTS, FAILING, MISSING, PASSING, RARE, LinkCounts, LinkResult


def names(words: Wording = ENGLISH) -> dict[str, str]:
    """How each count is called."""
    return {
        "scheduled": words("scheduled"),
        "tested": words("tested"),
        "passing": words("passing"),
        "failing": words("failing"),
        "not_graded": words("not graded"),
        "in_conflict": words("in conflict"),
        "in_doubt": words("in doubt"),
        "marginal": words("marginal"),
        "provisional": words("provisional"),
        "by_instrument": words("by the instrument alone"),
        "by_traces": words("by traces alone"),
        "later_lesser_fails": words("with a later fail of less evidence"),
        "retested": words("tested again"),
        "copied": words("copied"),
        "missing": words("missing"),
        "unexpected": words("not scheduled"),
        "further_sides": words("further sides of a doubt"),
        "late": words("late"),
    }


def rows(counts: LinkCounts, words: Wording = ENGLISH) -> list[tuple[str, str]]:
    """Every count with its name. What only a schedule can say is a dash where there is none."""
    named = names(words)
    unknown = () if counts.has_schedule else ("scheduled", "missing", "unexpected", "late")
    return [
        (named[name], "-" if name in unknown else words.number(counts[name], 0))
        for name in COUNTS
        if name not in RARE or counts[name]
    ]


def apart(counts: LinkCounts, words: Wording = ENGLISH) -> tuple[list[tuple[str, str]], str]:
    """The counts that add up, with their names, and the others in one sentence."""
    listed = dict(zip((n for n in COUNTS if n not in RARE or counts[n]), rows(counts, words), strict=True))
    adding = {name for side in schemas.load("counts.toml")["sums"].values() for name in (*side["left"], *side["right"])}
    others = ", ".join(f"{name} {number}" for key, (name, number) in listed.items() if key not in adding)
    return [row for key, row in listed.items() if key in adding], words("Further counts: {counts}.", counts=others)


def sums(counts: LinkCounts, words: Wording = ENGLISH) -> list[str]:
    """Lines of reconciliation: "tested 60 = passing 57 + failing 2 + not graded 1 + in conflict 0 + in doubt 0"."""
    named = names(words)

    def side(listed: list[tuple[str, int]]) -> str:
        return " + ".join(f"{named[name]} {words.number(number, 0)}" for name, number in listed)

    return [f"{side(left)} = {side(right)}" for left, right in counts.sums()]


def result(link: LinkResult, words: Wording = ENGLISH) -> str:
    """What a link comes to, with what must stand beside it: "pass, marginal, by the instrument alone"."""
    word = {PASSING: words("pass"), FAILING: words("fail"), MISSING: words("not tested")}.get(link.outcome)
    marks = [
        (link.marginal, words("marginal")),
        (link.provisional, words("provisional")),
        (link.by_instrument, words("by the instrument alone")),
        (link.by_traces, words("by traces alone")),
        (link.later_lesser_fails > 0, words("with a later fail of less evidence")),
        (bool(link.copy_of), words("curves of {link}", link=link.copy_of)),
    ]
    return ", ".join([word or names(words)[link.outcome], *(text for there, text in marks if there)])


def beside(counts: LinkCounts, words: Wording = ENGLISH) -> list[str]:
    """Sentences that must stand beside the counts: verdicts of instruments alone, and copies."""
    found = []
    if counts["by_instrument"]:
        passing = sum(x.by_instrument and x.outcome == PASSING for x in counts.links)
        found.append(
            words(
                "{passing} passing, {alone} of them by the instrument alone.", passing=counts["passing"], alone=passing
            )
        )
    if counts["by_traces"]:
        listed = words.some(counts.of("by_traces"))
        found.append(
            words("By optical traces alone, without a loss test, which is partial evidence: {links}.", links=listed)
        )
    if counts["later_lesser_fails"]:
        listed = words.some(counts.of("later_lesser_fails"))
        found.append(words("A later test of less evidence fails: {links}.", links=listed))
    return [*found, *copies(counts, words)]


def copies(counts: LinkCounts, words: Wording = ENGLISH) -> list[str]:
    """The sentence that names links with the curves of another; none where there are none."""
    if not counts["copied"]:
        return []
    copied = [words("{link} (of {other})", link=x.label, other=x.copy_of) for x in counts.links if x.copy_of]
    return [words("Curves of another link, number for number: {links}.", links=words.some(copied))]


def percent(share: float | None) -> str:
    """A share in per cent with as many decimals as distinguish it from 0 and 100 %."""
    if share is None:
        return ""
    places = 1
    while places < 4 and 0 < share < 1 and round(100 * share, places) in (0.0, 100.0):
        places += 1
    return f"{100 * share:.{places}f} %"


def points(value: float, *, signed: bool = False) -> str:
    """Percentage points with one decimal, and with two where one would make them nought."""
    places = 2 if 0 < abs(value) < 0.05 else 1
    text = f"{value:+.{places}f}" if signed else f"{value:.{places}f}"
    return text if float(text) else "0.0"
