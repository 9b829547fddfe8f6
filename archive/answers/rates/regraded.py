"""Records that `muniment regrade` graded against the limit that is asked for: they count by what that came to.

Which record decides for a link stays as it is; only what it is counted by is another limit.
"""

from __future__ import annotations

from collections.abc import Sequence

from archive.answers.archive_files import archive_names
from archive.answers.rates.source import Choice, CountingSource
from archive.answers.views import assessed
from archive.store import Archive
from archive.store.assessments import statements
from archive.store.counting.columns import BITS
from archive.vocabulary.counted import agreed, counted

_DECIDES = ("passed", "failed", "fixed", "marginal", "marginal_known", "provisional", "by_instrument")
_SHOWN = BITS["current"] | BITS["accepted"]


def answer_from_regrading(source: CountingSource, archives: Archive | Sequence[Archive], choice: Choice) -> list[str]:
    """Puts the latest verdicts against the limit of the choice in the place of those at the deposit; what is to be
    said of that: nothing where no limit was asked for by its id, or no record was regraded against it."""
    limit = choice.filters.limit
    if limit is None or not source.files.records or not _gather(source, archives, limit):
        return []
    source.db.execute(f"CREATE OR REPLACE TEMP TABLE regraded_records AS {_records(source.records, limit)}")
    ((number, without),) = source.rows(
        "SELECT count(*), count(*) FILTER (NOT swept) FROM regraded g JOIN "
        f"{source.records} r USING (archive, deposit, position) WHERE r.state & {BITS['live']} > 0"
    )
    runs = [str(n) for (n,) in source.rows("SELECT DISTINCT entry FROM regraded ORDER BY 1")]
    source.answer_from("regraded_records")
    entries = f"ledger {agreed(len(runs), 'entry', 'entries')} {', '.join(runs)}"
    tests = f"{counted(number, 'test')} {agreed(number, 'counts', 'count')}"
    said = f"{tests} by what regrading against {limit} came to ({entries})"
    notes = [said + ", whatever the limit was at the deposit"]
    if without:
        tested = agreed(without, "was tested to another limit and has", "were tested to another limit and have")
        notes.append(f"{without} of them {tested} no curves: not graded here")
    return notes


def _gather(source: CountingSource, archives: Archive | Sequence[Archive], limit: str) -> bool:
    """Makes the table `regraded`: the latest verdict against a limit of each record that can count by it."""
    listed = [archives] if isinstance(archives, Archive) else list(archives)
    parts = []
    for name, archive in zip(archive_names(listed), listed, strict=True):
        found = statements(archive, "verdicts")
        if found:
            quoted = name.replace("'", "''")
            parts.append(f"SELECT '{quoted}' AS archive, * FROM ({assessed('verdicts', found)})")
    if not parts:
        return False
    source.db.execute(
        "CREATE OR REPLACE TEMP TABLE regraded AS "
        "SELECT g.*, r.state & $2 > 0 AS swept, r.limit_id = g.limit_id AS own "
        f"FROM ({' UNION ALL BY NAME '.join(parts)}) g JOIN {source.records} r USING (archive, deposit, position) "
        "WHERE g.limit_id = $1 AND g.latest AND (swept OR own IS NOT TRUE)",
        [limit, BITS["swept"]],
    )
    return bool(source.rows("SELECT 1 FROM regraded LIMIT 1"))


def _records(records: str, limit: str) -> str:
    """The records with the limit, verdicts and leading margins of `regraded`, where it has them."""
    quoted = limit.replace("'", "''")
    decided = sum(BITS[name] for name in _DECIDES)
    first_failed = (
        "SELECT DISTINCT f.archive, f.unit FROM "
        f"{records} f LEFT JOIN regraded g USING (archive, deposit, position) WHERE f.state & {BITS['first']} > 0 "
        f"AND CASE WHEN g.limit_id IS NULL THEN f.limit_id = '{quoted}' AND f.state & {BITS['failed']} > 0 "
        "ELSE g.swept AND g.verdict = 'fail' END"
    )

    def bit(name: str, condition: str) -> str:
        return f"CASE WHEN {condition} THEN {BITS[name]} ELSE 0 END"

    verdict = " + ".join(
        (
            bit("passed", "g.verdict = 'pass'"),
            bit("failed", "g.verdict = 'fail'"),
            bit("marginal", "g.verdict = 'pass' AND g.marginal"),
            bit("marginal_known", "g.verdict = 'pass' AND g.marginal IS NOT NULL"),
            bit("provisional", "g.verdict IN ('pass', 'fail') AND g.provisional"),
            bit("fixed", f"g.verdict = 'pass' AND r.state & {_SHOWN} > 0 AND f.unit IS NOT NULL"),
        )
    )
    columns = []
    for column in ("state", "state_program", "state_reported"):
        graded = "0" if column == "state_reported" else f"CASE WHEN g.swept THEN {verdict} ELSE 0 END"
        lesser = f"CASE WHEN g.own THEN 0 ELSE {BITS['lesser_fails']} END"  # they fail against their own limit
        kept = "g.own" if column == "state_reported" else "false"
        columns.append(
            f"CASE WHEN g.limit_id IS NULL OR r.{column} = 0 OR {kept} THEN r.{column} ELSE "
            f"(r.{column} & ~({decided} | {lesser})) + {graded} END AS {column}"
        )
    return (
        f"SELECT r.* REPLACE (coalesce(g.limit_id, r.limit_id) AS limit_id, {', '.join(columns)}, "
        "CASE WHEN g.limit_id IS NULL THEN r.leading_margin_db ELSE g.leading_margin END AS leading_margin_db) "
        f"FROM {records} r LEFT JOIN regraded g USING (archive, deposit, position) "
        f"LEFT JOIN ({first_failed}) f ON f.archive = r.archive AND f.unit = r.unit"
    )
