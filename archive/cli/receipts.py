"""A receipt as text."""

from __future__ import annotations

from archive.answers import count_text
from archive.cli.plain import one_line
from archive.store.deposits import Receipt
from archive.store.head_digits import grouped
from archive.vocabulary.link_counts import LinkCounts

_KINDS = {
    "new": "new",
    "retests": "new tests of links that were tested before",
    "reread": "read again from files that are here already; this reading counts",
    "renditions": "the same test with other rounding or in less detail; the richer one counts",
    "same_file": "here already: the same file",
    "same_content": "here already: the same content",
    "conflicts": "IN CONFLICT: the same test with other values; none counts until one is withdrawn",
    "relabelled": "UNDER ANOTHER LABEL: the same test; the former counts until somebody decides",
    "copied_curves": "COPIED CURVES: the same curves as another test; somebody may have copied a result",
}


def text(made: Receipt, counts: LinkCounts | None, *, dry_run: bool = False) -> str:
    """Lines of a receipt. counts: of the links of the job as they stand now."""
    document = made.plain()
    if dry_run:
        lines = ["Dry run: nothing was written"]
    elif document["deposit"] is None:
        lines = ["Nothing new: no deposit was made"]
    else:
        lines = [f"Deposit {document['deposit']}"]
        document["by"] = document.get("by_name") or document.get("by") or "not stated"
        facts = ("job", "site", "zone", "at", "by", "reason")
        lines += [f"  {name:<12}{document[name]}" for name in facts if name in document]
    lines.append(f"  {document['records']} records")
    lines += [f"  {document[kind]:>8}  {words}" for kind, words in _KINDS.items() if document[kind]]
    if document["set_aside"]:
        lines.append(f"  {document['set_aside']:>8}  SET ASIDE: could not be read; `muniment setaside` says why")
    lines += [f"  {count:>8}  findings: {severity}" for severity, count in document["findings"].items()]
    for other in document.get("elsewhere", []):
        lines += [
            f"  {other['records']:>8}  HERE ALREADY UNDER JOB {other['job']}, deposit {other['deposit']}; to move it:",
            f"            muniment amend ARCHIVE --deposit {other['deposit']} --set job_id=JOB",
        ]
    for schedule in document.get("schedules", []):
        lines.append(f"  the schedule lists {schedule['links']} links now")
        for what in ("added", "removed", "changed"):
            if named := schedule[what]:
                more = f" and {len(named) - 5} more" if len(named) > 5 else ""
                lines.append(f"  {len(named):>8}  {what}: {', '.join(named[:5])}{more}")
    lines += [f"  {line}" for line in document.get("notes", [])]
    lines += [f"  IN DOUBT: {line}" for line in document.get("doubts", [])]
    lines += [f"  TO KNOW: {line}" for line in document.get("cautions", [])]
    if counts is not None:
        lines.append("  The links of the job as they stand now:")
        lines += [f"  {number:>8}  {name}" for name, number in count_text.rows(counts)]
        lines += [f"  {line}" for line in (*count_text.sums(counts), *count_text.beside(counts))]
    lines.append(f"  ledger head {document['ledger_head']} over {document['ledger_size']} entries")
    lines.append(f"  to type: {grouped(str(document['ledger_head']))}")
    return "\n".join(map(one_line, lines))
