"""What a person answered becomes a word of that user: the next draft of any layout knows it.

Kept are headings that label links and words for the two ends, in answered.toml of the user's folder, as words.toml has
them. A single letter is not kept: it may mean anything elsewhere. Nor are pairs, dates and lengths, which say how one
layout writes and stand in its mapping.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

from archive.atomic import atomic_write
from archive.formats.base import words
from archive.formats.draft.write import Draft

Kept = dict[tuple[str, str], list[str]]
"""Words by kind and meaning."""


def remember(answers: Mapping[str, str], made: Draft) -> list[str]:
    """Keeps what was answered where the draft took it. Returns the words that are new.

    Errors: Trouble where the file of earlier answers is no TOML.
    """
    told = _told(answers, made)
    before = words.answered()
    kept: Kept = {(kind, name): list(of["own"]) for kind, names in before.items() for name, of in names.items()}
    new = []
    for place, said in told.items():
        for word in said:
            if len(word) > 1 and word not in kept.setdefault(place, []):
                kept[place].append(word)
                new.append(word)
    if new:
        _write(kept)
    return new


def _told(answers: Mapping[str, str], made: Draft) -> Kept:
    out: Kept = {}
    labels = [f["from"] for f in made.fields if f["to"] == "records.link_label"]
    if answers.get("label") in labels and not answers["label"].startswith(("@", "#", "line ", "row ")):
        out["field", "link_label"] = [answers["label"]]
    for said in _ends(made) if "ends" in answers else ():
        if answers["ends"].casefold() in (word.casefold() for word in said):
            for word, end in said.items():
                out.setdefault(("end", end), []).append(word)
    return out


def _ends(made: Draft) -> list[dict[str, str]]:
    """The words for ends of each column that a draft takes for one of ends."""
    fields = (f for file in made.mapping.files for table in file.tables for f in table.fields)
    return [dict(f.words) for f in fields if f.to.table == "row" and f.to.name == "end" and f.words]


def _write(kept: Kept) -> None:
    path = words.user_folder() / words.ANSWERED
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = ["# Words that were answered to drafts. Remove what is wrong; other words belong in words.toml beside it."]
    for (kind, name), listed in sorted(kept.items()):
        lines += ["", f"[{kind}.{name}]", f"own = {json.dumps(listed, ensure_ascii=False)}"]
    with atomic_write(path) as temporary:
        temporary.write_text("\n".join(lines) + "\n", "utf-8")
