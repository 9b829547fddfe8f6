"""A receipt as text."""

from __future__ import annotations

from typing import Any

from archive.answers import count_text
from archive.cli.plain import one_line
from archive.store import mapping_use
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
    lines += _how_read(document)
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


_BY = {
    mapping_use.NAMED: "the mapping that was named",
    mapping_use.FROM_SHELF: "the archive's mapping",
    mapping_use.OWN: "a mapping of the user's folder",
    mapping_use.DRAFT: "A DRAFT that nobody looked over",
    mapping_use.ACCEPTED: "a draft, accepted with this deposit",
}
_SHOWN = 5


def _how_read(document: dict[str, Any]) -> list[str]:
    """Files and records by layout, and by what they were read; of drafts what has no place in them."""
    lines = []
    for row in document.get("layouts", []):
        by = f", by {_BY[row['by']]}" if row["by"] else ""
        aside = f", {row['set_aside']} set aside" if row["set_aside"] else ""
        files = "1 file" if row["files"] == 1 else f"{row['files']} files"
        lines.append(f"  {row['layout'] or 'of no known layout'}: {files}, {row['records']} records{aside}{by}")
    for draft in document.get("drafted", []):
        if names := draft["unplaced"]:
            more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
            lines.append(f"  {draft['file']}: the draft has no place for {', '.join(names[:_SHOWN])}{more}")
    if any(d["unplaced"] and not d["accepted"] for d in document.get("drafted", [])):
        lines.append("  draft a mapping with `muniment mapping draft`, look it over, name it with --mapping")
    return lines
