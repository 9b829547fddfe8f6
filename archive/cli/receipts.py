"""A receipt as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from archive.store.deposits import Receipt

_KINDS = {
    "new": "new",
    "retests": "new tests of links that were tested before",
    "reread": "read anew from files that are here already; this reading stands",
    "renditions": "the same test with other rounding or in less detail; the richer stands",
    "same_file": "here already: the same file",
    "same_content": "here already: the same content",
    "conflicts": "IN CONFLICT: the same test with other values; none stands until one is withdrawn",
    "relabelled": "UNDER ANOTHER LABEL: the same test; the former stands until somebody decides",
    "copied_curves": "COPIED CURVES: the same curves as another test; somebody may have copied a result",
}


def text(made: Receipt, *, dry_run: bool = False) -> str:
    """Lines of a receipt."""
    said = made.plain()
    if dry_run:
        lines = ["Dry run: nothing was written"]
    elif said["deposit"] is None:
        lines = ["Nothing new: no deposit was made"]
    else:
        lines = [f"Deposit {said['deposit']}"]
        said["by"] = said.get("by_name") or said.get("by") or "not stated"
        lines += [f"  {name:<12}{said[name]}" for name in ("job", "site", "zone", "at", "by", "reason") if name in said]
    lines.append(f"  {said['records']} records")
    lines += [f"  {said[kind]:>8}  {words}" for kind, words in _KINDS.items() if said[kind]]
    if said["set_aside"]:
        lines.append(f"  {said['set_aside']:>8}  SET ASIDE: could not be read; `muniment setaside` says why")
    lines += [f"  {count:>8}  findings: {severity}" for severity, count in said["findings"].items()]
    lines += [f"  {line}" for line in said.get("notes", [])]
    lines.append(f"  ledger head {said['ledger_head']} over {said['ledger_size']} entries")
    return "\n".join(lines)
