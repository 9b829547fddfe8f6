"""Rates of an archive: groups, their total, what a reader may rely on, and what he must know beside the numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from archive import schemas, vocabulary
from archive.answers.count_text import percent, points
from archive.answers.inference import jobs as of_jobs
from archive.answers.inference.jobs import NOTHING, JobCounts
from archive.answers.inference.ranking import shrunken_rates
from archive.answers.rates.cable_shares import cable_notes
from archive.answers.rates.compare import RATES, GroupComparison, Told, compared, noun_of, which_rate
from archive.answers.rates.count import FINAL, FIRST, METHOD, GroupedJobs, counts, refused, row_of
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.group import RateGroup, total
from archive.answers.rates.source import COHORTS, Choice, CountingSource
from archive.errors import Trouble
from archive.store import Archive, disposed
from archive.store.counting.columns import of_parameter
from archive.vocabulary.counted import agreed, counted
from archive.vocabulary.link_counts import LinkCounts

COMPARISONS = ("auto", "first-time", "final", "none")


@dataclass(frozen=True)
class Asked:
    """How groups are judged. compare: one of COMPARISONS, which rate is compared; auto: of first tests where any link
    was tested again. standardise: fields within which groups are compared, too."""

    compare: str = "auto"
    standardise: Sequence[str] = ()


@dataclass(frozen=True)
class Rates:
    """What was counted. rows: one per group, see count.row_of; total: the same over all.

    differences: one row per group against the typical one; told: what a reader may rely on; closing: sentences on the
    groups that were not told apart; expected_false_alarms: of all questions together, where nothing differs; about:
    archive, period and what was chosen, in words. counts: of the links, where a whole job was chosen. final_jobs,
    first_jobs: the jobs behind the rows.
    """

    fields: Sequence[GroupField]
    rows: list[dict[str, Any]]
    total: dict[str, Any]
    differences: list[dict[str, Any]] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    closing: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    counts: LinkCounts | None = None
    final_jobs: JobCounts | None = None
    first_jobs: JobCounts | None = None
    expected_false_alarms: float = 0.0
    about: str = ""

    @property
    def columns(self) -> dict[str, Any]:
        """Of the rows, also where there is none, each with a value of its kind."""
        return {f.name: f.example for f in self.fields} | self.total | {"margin_unit": "", "best_guess": 0.0}

    def name(self, row: dict[str, Any]) -> str:
        """What a group is called: its values, joined."""
        return name_of(self.fields, row)

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        found = {
            "rows": self.rows,
            "total": self.total,
            "method": METHOD,
            "differences": self.differences,
            "told": [t.plain() for t in self.told],
            "closing": self.closing,
            "expected_false_alarms": self.expected_false_alarms,
            "sensitivity": sensitivity(self.total),
            "notes": self.notes,
        }
        return found | ({} if self.counts is None else self.counts.plain())


def rates(
    archives: Archive | Sequence[Archive],
    by: Iterable[str] = (),
    choice: Choice | None = None,
    asked: Asked | None = None,
    *,
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> Rates:
    """Counts an archive, or several as one. by: names of fields (fields.FIELDS).

    Errors: Trouble for a field, value or comparison that there is not, or a damaged archive.
    """
    choice, asked = choice or Choice(), asked or Asked()
    if asked.compare not in COMPARISONS:
        raise Trouble(
            "no such comparison", code="rates.unknown-comparison", found=asked.compare, expected=", ".join(COMPARISONS)
        )
    if choice.cohort is not None and choice.cohort not in COHORTS:
        raise Trouble("no such cohort", code="rates.unknown-word", found=choice.cohort, expected=", ".join(COHORTS))
    fields = chosen(by, choice.length_edges)
    refused(choice, fields)
    source = CountingSource.of(archives, watch)
    single = any(f.name == "parameter" for f in fields)
    regraded = [] if single or choice.filters.limit is None else _from_regrading(source, archives, choice)
    source.refuse_unknown(choice)
    made = counts(source, choice, fields)
    rows = _rows(made, fields)
    guesses = shrunken_rates(made.of(RATES[which_rate(made, asked.compare)]))
    for row, guess in zip(rows, guesses.tolist(), strict=True):
        row["best_guess"] = None if guess != guess else guess
    names = [name_of(fields, r) for r in rows]
    judged = None if single or asked.compare == "none" else _judged(source, choice, made, fields, names, asked)
    if asked.standardise:
        _standardise(source, choice, made, fields, rows, asked)
    everything = RateGroup(()) if single else total(made.groups)
    counted = None if regraded else _counted(archives, choice)
    notes = regraded + cable_notes(source, choice, [f.name for f in fields])
    notes += _notes(rows, made.groups, choice, single)
    if made.elsewhere[FINAL] is not NOTHING or made.elsewhere[FIRST] is not NOTHING:
        notes.append("how much jobs differ is estimated from the other jobs of the archive, too: here are few")
    notes += _disposed(archives)
    found, told, more = judged or (GroupComparison([], [], [], 0), [], [])
    return Rates(
        fields,
        rows,
        _total_row(everything, made),
        found.rows,
        [*found.told, *told],
        found.closing,
        [*more, *notes],
        counted,
        made.final,
        made.first,
        _expected(found.questions, made.groups),
        about(source, choice),
    )


def _disposed(archives: Archive | Sequence[Archive]) -> list[str]:
    """That records were disposed of, which no rate counts; jobs are not named, for a report leaves the house."""
    listed = [archives] if isinstance(archives, Archive) else archives
    return [told for a in listed if (told := disposed.count(a.db))]


def _expected(questions: int, groups: Sequence[RateGroup]) -> float:
    """False alarms that are expected where nothing differs: of who differs, and of the mix where it was searched."""
    rules = schemas.load("rates.toml")
    searched = questions if len(groups) <= rules["mix"]["groups"] else 0
    return float(round(rules["compare"]["alpha"] * questions + rules["mix"]["alpha"] * searched, 3))


def _from_regrading(source: CountingSource, archives: Archive | Sequence[Archive], choice: Choice) -> list[str]:
    from archive.answers.rates.regraded import answer_from_regrading  # here, for it needs the views

    return answer_from_regrading(source, archives, choice)


def _counted(archives: Archive | Sequence[Archive], choice: Choice) -> LinkCounts | None:
    """The counts of the links, where a whole job of one archive is chosen."""
    if not isinstance(archives, Archive) or choice.filters.job is None or choice.only or choice.cohort is not None:
        return None
    from archive.answers.progress import counts_of  # schedules, and the rules they are checked by, are for jobs alone

    return counts_of(archives, choice.filters, choice.role)


def _rows(made: GroupedJobs, fields: Sequence[GroupField]) -> list[dict[str, Any]]:
    shown = {w: (made.intervals(w), np.bincount(made.of(w).group, minlength=len(made.groups))) for w in (FINAL, FIRST)}
    return [_with_unit(row_of(g, fields, shown, i), g, fields) for i, g in enumerate(made.groups)]


def _total_row(everything: RateGroup, made: GroupedJobs) -> dict[str, Any]:
    shown = {}
    for which in (FINAL, FIRST):
        jobs = made.whole(which)
        shown[which] = (of_jobs.intervals(jobs, made.elsewhere[which]), [len(jobs.links)])
    return row_of(everything, (), shown, 0)


def _judged(
    source: CountingSource,
    choice: Choice,
    made: GroupedJobs,
    fields: Sequence[GroupField],
    names: Sequence[str],
    asked: Asked,
) -> tuple[GroupComparison, list[Told], list[str]]:
    rate = which_rate(made, asked.compare)
    noun = noun_of(fields)
    found = compared(made, names, noun, rate)
    if not found.questions:
        return found, [], []
    from archive.answers.rates.mix import MixSearch

    told, notes = MixSearch(source, choice, fields, [g.key for g in made.groups], rate).search(names, noun)
    return found, told, notes


def _standardise(
    source: CountingSource,
    choice: Choice,
    made: GroupedJobs,
    fields: Sequence[GroupField],
    rows: Sequence[dict[str, Any]],
    asked: Asked,
) -> None:
    """Adds rates at the mix of all, and differences within strata, to the rows."""
    from archive.answers.rates.mix import MixSearch

    by = chosen(asked.standardise, choice.length_edges)
    if any(not f.sql for f in by):
        raise Trouble("rates cannot be standardised by parameter", code="rates.not-a-filter")
    search = MixSearch(source, choice, fields, [g.key for g in made.groups], which_rate(made, asked.compare))
    judged = dict(search.strata(by).against_rest())
    for i, row in enumerate(rows):
        found = judged.get(i)
        row["standardised_rate"] = None if found is None else found.direct[0]
        row["standardised_others"] = None if found is None else found.direct[1]
        row["crude_difference"] = None if found is None else found.crude.value
        row["within_difference"] = None if found is None else found.within.value
        row["within_low"] = None if found is None else found.within.low
        row["within_high"] = None if found is None else found.within.high
        row["within_p"] = None if found is None else found.within.p
        row["compared_share"] = None if found is None else found.compared


def name_of(fields: Sequence[GroupField], row: dict[str, Any]) -> str:
    """What a group is called."""
    return ", ".join("unknown" if row[f.name] is None else str(row[f.name]) for f in fields) or "all"


def about(source: CountingSource, choice: Choice) -> str:
    """Archive, period and what was chosen, in words, so that a picture says by itself what it is of."""
    words = [source.name]
    if source.files.records:
        where, values = choice.where()
        (ends,) = source.rows(
            "SELECT min(r.year::INTEGER * 100 + coalesce(r.month, 1)), "
            f"max(r.year::INTEGER * 100 + coalesce(r.month, 12)) FROM {source.table(choice)[0]} r WHERE {where}",
            values,
        )
        if ends[0] is not None:
            words.append(" to ".join(dict.fromkeys(f"{e // 100}-{e % 100:02d}" for e in ends)))
    return "; ".join([*words, *filter(None, [_chosen(choice)])])


def _chosen(choice: Choice) -> str:
    of = choice.filters
    asked = [(f, getattr(of, f)) for f in ("link", "job", "site", "since", "until", "cable_type", "limit")]
    asked += [(f, getattr(of, f)) for f in ("verdict", "serial", "deposit")] + list(choice.only)
    words = [f"{name.replace('_', ' ')} {value}" for name, value in asked if value is not None]
    if choice.verdicts != "best":
        words.append(f"verdicts of the {'program' if choice.verdicts == 'program' else 'instrument'} alone")
    if choice.role != "current":
        words.append(f"{choice.role} records")
    if choice.cohort is not None:
        words.append("what became of the links first tested there")
    return ", ".join(words)


def _with_unit(row: dict[str, Any], group: RateGroup, fields: Sequence[GroupField]) -> dict[str, Any]:
    """The row with the unit of its margins: dB, or that of the parameter."""
    parameter = next((v for f, v in zip(fields, group.key, strict=True) if f.name == "parameter"), None)
    return {**row, "margin_unit": "dB" if parameter is None else vocabulary.parameter(of_parameter(parameter)).unit}


def _notes(rows: list[dict[str, Any]], groups: Sequence[RateGroup], choice: Choice, single: bool) -> list[str]:
    """What a reader must know to trust the numbers."""
    rules = schemas.load("rates.toml")
    out = []
    by_instrument = sum(g.by_instrument for g in groups)
    if by_instrument and choice.verdicts == "best":
        what = counted(by_instrument, "test" if single else "link") + (" of a parameter" if single else "")
        out.append(
            f"{what} {agreed(by_instrument, 'rests', 'rest')} on the instrument's verdict alone: no curves came along "
            "(--verdicts program leaves them out)"
        )
    if single and by_instrument:
        out.append(
            "where no curves came along, a parameter that the instrument does not name passes if the record passes as "
            "a whole and its limit has it, and is not graded if the record fails"
        )
    single_jobs = sum(1 for r in rows if r["jobs"] == 1)
    if single_jobs:
        each = agreed(single_jobs, "is one job", "are one job each")
        which = f"{single_jobs} of {len(rows)} groups {each}" if len(rows) > 1 else "all links are of one job"
        out.append(
            f"{which}: crew, cable and day of a job cannot be told apart; how much jobs differ is borrowed from others"
        )
    small = sum(1 for r in rows if r["small"])
    if small:
        of_all = f"{small} of {counted(len(rows), 'group')} {agreed(small, 'has', 'have')}"
        out.append(f"{of_all} fewer than {rules['small']['below']} links")
    if choice.filters.verdict is not None:
        out.append("records were chosen by their verdict: rates over them say nothing about the cabling")
    return out


def sensitivity(group: dict[str, Any]) -> str:
    """What the rate of a row could be if all that is uncertain went the other way; "" where nothing is."""
    uncertain = [
        (group["not_graded"], "not graded"),
        (group["provisional"], "provisional"),
        (group["copied"], "copied"),
        (group["in_doubt"], "in doubt"),
        (group["later_lesser_fails"], "with a later fail of less evidence"),
    ]
    listed = ", ".join(f"{number:,} {words}" for number, words in uncertain if number)
    if not listed or group["rate_at_least"] is None:
        return ""
    low, high = group["rate_at_least"], group["rate_at_most"]
    return f"If all that is uncertain went one way, {points(100 * low)} to {percent(high)} would pass: {listed}."
