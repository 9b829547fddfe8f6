"""The sections of a book, each by the word a person asks for it with."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby

from archive import schemas, vocabulary
from archive.answers.book.facts import BookFacts, BookLink, Row
from archive.answers.claim import tables as record_tables
from archive.answers.claim.curves import Line, figures
from archive.answers.claim.verdicts import worst_text
from archive.answers.documents import Block, Facts, Figure, Listing, Notice, Para, Section, Table
from archive.answers.wording import Wording, plain, value_text

LimitLine = Callable[[str | None], Line]
"""Gives the limit line to draw for a limit id."""

DEFAULT_COLUMNS = ("length", "insertion_loss", "return_loss", "next", "ps_next", "acr_f")


def summary(facts: BookFacts, words: Wording) -> list[Section]:
    """The job in numbers, and its facts."""
    p = facts.progress
    numbers = [
        (words("links scheduled"), plain(p.get("scheduled")) or words("no schedule filed")),
        (words("links tested"), plain(p.get("tested"))),
        (words("passing"), plain(p.get("passing"))),
        (words("failing"), plain(p.get("failing"))),
        (words("marginal"), plain(p.get("marginal"))),
        (words("missing"), str(len(p.get("missing") or ()))),
        (words("not in the schedule"), str(len(p.get("unexpected") or ()))),
        (words("late"), str(len(p.get("late") or ()))),
    ]
    provisional = sum(1 for x in facts.links if x.provisional)
    blocks: list[Block] = []
    if facts.cover:
        blocks.extend(Para(part, role="lead") for part in facts.cover.split("\n\n") if part.strip())
    blocks.append(Facts(job_facts(facts, words), columns=2))
    blocks.append(Facts(numbers, columns=2))
    if provisional:
        blocks.append(
            Notice(
                words("Provisional verdicts"),
                [
                    words(
                        "{count} verdicts rest on limit lines from memory, to be verified against the standard.",
                        count=provisional,
                    )
                ],
            )
        )
    counts: dict[tuple[str, str], int] = {}
    for x in facts.links:
        if x.limit:
            counts[(x.limit, x.verdict)] = counts.get((x.limit, x.verdict), 0) + 1
    rows = [[limit, words.verdict(v), str(n)] for (limit, v), n in sorted(counts.items())]
    if rows:
        blocks.append(Table([words("limit"), words("verdict"), words("links")], rows, align="llr", weights=(3, 1, 1)))
    return [Section(words("The job"), blocks)]


def job_facts(facts: BookFacts, words: Wording) -> list[tuple[str, str]]:
    """Names and dates of the job."""
    j = facts.job
    rows = [
        (words("job"), plain(j.get("job_id"))),
        (words("name"), plain(j.get("name"))),
        (words("client"), plain(j.get("client"))),
        (words("site"), plain(j.get("site"))),
        (words("contractor"), plain(j.get("contractor"))),
        (words("crew"), plain(j.get("crew"))),
        (words("required limit"), plain(j.get("required_limit"))),
        (words("warranty from"), words.day(plain(j.get("warranty_start")))),
        (words("warranty until"), words.day(plain(j.get("warranty_end")))),
    ]
    return [(name, value) for name, value in rows if value]


def open_points(facts: BookFacts, words: Wording) -> list[Section]:
    """What is not done: missing, failing, not graded, unexpected, in conflict, errors."""
    p = facts.progress
    blocks: list[Block] = []

    def listed(title: str, items: Sequence[str]) -> None:
        if items:
            blocks.append(Notice(f"{title}: {len(items)}", [", ".join(items)]))

    listed(words("Scheduled and not tested"), [plain(x) for x in p.get("missing") or ()])
    listed(words("Failing"), [x.label for x in facts.links if x.verdict == "fail"])
    not_graded = [x for x in facts.links if x.verdict not in ("pass", "fail")]
    if not_graded:
        rows = [[x.label, plain(x.reason) or plain(x.state)] for x in not_graded]
        blocks.append(
            Table([words("link"), words("why it is not graded")], rows, caption=words("Not graded"), weights=(1, 3))
        )
    listed(words("Tested and not scheduled"), [plain(x) for x in p.get("unexpected") or ()])
    errors = [f for f in facts.findings if f.get("severity") == "error" and f.get("status") != "could not look"]
    if errors:
        rows = [
            [rule, str(len(found)), plain(found[0].get("message")), _some(f.get("link_label") for f in found)]
            for rule, found in _by_rule(errors)
        ]
        blocks.append(
            Table(
                [words("rule"), words("times"), words("what was found first"), words("links")],
                rows,
                align="lrll",
                caption=words("Findings that must be resolved"),
                weights=(1.4, 0.6, 2.6, 2.4),
            )
        )
    if not blocks:
        blocks.append(Para(words("Nothing is open.")))
    return [Section(words("Open points"), blocks)]


def schedule(
    facts: BookFacts, links: Sequence[BookLink], words: Wording, columns: Sequence[str] = DEFAULT_COLUMNS
) -> list[Section]:
    """All links grouped by place; columns are parameters: a scalar's value, or a curve's smallest margin."""
    known = [vocabulary.parameter(c) for c in columns]
    head = [words("link"), words("tested"), words("verdict")] + [
        f"{p.name}, {p.unit}" if any(p.id in x.values for x in links) else words("{name} margin, dB", name=p.name)
        for p in known
    ]
    sections = [
        Section(
            words("Schedule of links"),
            [
                Para(
                    words("A margin is the smallest of all pairs and both ends; a length is the longest pair's."),
                    role="small",
                )
            ],
        )
    ]
    for place, group in groupby(sorted(links, key=_place_key), key=lambda x: x.place):
        rows: list[list[str]] = []
        strong: set[int] = set()
        for x in group:
            if x.verdict == "fail":
                strong.add(len(rows))
            cells = [x.label, x.tested[:10], words.verdict(x.verdict) if x.tested else words("not tested")]
            for p in known:
                value = x.values.get(p.id, x.margins.get(p.id))
                cells.append(value_text(words, value, p.unit))
            rows.append(cells)
        sections.append(
            Section(
                place_name(place, words),
                [
                    Table(
                        head,
                        rows,
                        align="lll" + "r" * len(known),
                        weights=(1.8, 1.1, 1, *([0.95] * len(known))),
                        strong=frozenset(strong),
                    )
                ],
                level=2,
            )
        )
    return sections


def results(facts: BookFacts, links: Sequence[BookLink], words: Wording) -> Iterator[Section]:
    """Per link: what was measured, worst cases and verdicts."""
    yield Section(words("Results per link"), [])
    for x in sorted(links, key=_place_key):
        if x.load is None:
            yield Section(x.label, [Para(words("No record stands: {why}.", why=x.state))], level=2)
            continue
        tested = x.load()
        rows = []
        for v in tested.rows("verdicts"):
            rows.append([plain(v["limit_id"]), words.verdict(v["verdict"]), worst_text(v, words), plain(v["reason"])])
        blocks: list[Block] = [
            Para(
                words(
                    "Tested {when}; reported {reported}. {place}",
                    when=words.day(x.tested) or words("at an unknown time"),
                    reported=words.verdict(x.reported) if x.reported else words("nothing"),
                    place=place_name(x.place, words),
                ),
                role="small",
            ),
            Table(
                [words("limit"), words("verdict"), words("smallest margin"), words("with this said")],
                rows,
                weights=(1.8, 0.8, 1.9, 1.6),
            ),
        ]
        first = tested.verdict()
        worst = record_tables.worst_cases(tested, first["limit_id"] if first else None, words)
        for section in worst[:1]:
            blocks.extend(section.blocks)
        yield Section(x.label, blocks, level=2)


def curve_pages(links: Sequence[BookLink], line: LimitLine, words: Wording) -> Iterator[Section]:
    """Per link: one picture per parameter, thinned to the page."""
    yield Section(
        words("Curves per link"),
        [Para(words("Thick line: the limit. The hatched side fails. A ring marks the smallest margin."), role="small")],
    )
    first = True
    for x in sorted(links, key=_place_key):
        if x.load is None:
            continue
        tested = x.load()
        verdict = tested.verdict()
        limit_id = verdict["limit_id"] if verdict else None
        grades = [g for g in tested.rows("grades") if g["limit_id"] == limit_id]
        pictures: list[Figure] = figures(tested.batch, grades, line(limit_id), words, only=_FEW, compact=True)
        if pictures:
            title = words(
                "{link}: {verdict} against {limit}",
                link=x.label,
                verdict=words.verdict(x.verdict),
                limit=plain(limit_id),
            )
            yield Section(title, pictures, level=2, new_page=not first)
            first = False


_FEW = ("insertion_loss", "return_loss", "next", "acr_f", "optical_loss", "backscatter")


def instruments(facts: BookFacts, words: Wording) -> list[Section]:
    """The units that were used, with calibrations and how many links rest on each."""
    rows = [
        [
            " ".join(x for x in (plain(i.get("maker")), plain(i.get("model"))) if x),
            plain(i.get("serial")),
            plain(i.get("unit")),
            words.day(plain(i.get("calibrated_on")), empty=words("not stated")),
            words.day(plain(i.get("calibration_due")), empty=words("not stated")),
            plain(i.get("links")),
        ]
        for i in facts.instruments
    ]
    head = [words("instrument"), words("serial"), words("unit"), words("calibrated"), words("due"), words("links")]
    blocks: list[Block] = [Table(head, rows, align="lllllr", weights=(1.8, 1.3, 0.9, 1.4, 1.4, 0.7))]
    if facts.documents:
        blocks.append(
            Table(
                [words("document"), words("kind"), words("SHA-256")],
                [
                    [plain(d.get("title") or d.get("file_name")), plain(d.get("kind")), plain(d.get("document_id"))]
                    for d in facts.documents
                ],
                weights=(1.6, 1, 2.8),
                code=frozenset({2}),
            )
        )
    return [Section(words("Instruments, calibrations, documents"), blocks)]


def finding_list(facts: BookFacts, words: Wording) -> list[Section]:
    """What the rules found, by rule."""
    told = [f for f in facts.findings if f.get("status") != "could not look"]
    rows = [
        [plain(found[0].get("severity")), rule, str(len(found)), _some(f.get("link_label") for f in found)]
        for rule, found in _by_rule(told)
    ]
    if not rows:
        return [Section(words("Findings"), [Para(words("No rule found a fault."))])]
    head = [words("weight"), words("rule"), words("times"), words("links")]
    return [Section(words("Findings"), [Table(head, rows, align="llrl", weights=(0.9, 1.6, 0.6, 3.4))])]


def proof(facts: BookFacts, words: Wording) -> list[Section]:
    """Deposits of the job and the head of the ledger."""
    rows = [
        [
            plain(d.get("deposit")),
            words.day(plain(d.get("when"))),
            plain(d.get("by")),
            plain(d.get("records")),
            plain(d.get("root")),
        ]
        for d in facts.deposits
    ]
    head = [words("deposit"), words("when"), words("by"), words("records"), words("root over its records")]
    return [
        Section(
            words("Proof"),
            [
                Para(
                    words(
                        "The ledger of archive {archive} held {count} entries when this book was made; its head was "
                        "{head}. Keep this page apart from the archive: a head held elsewhere shows that nothing "
                        "was altered since.",
                        archive=facts.archive_id,
                        count=facts.entries,
                        head=facts.head,
                    )
                ),
                Table(head, rows, align="lllrl", weights=(1.6, 1.2, 1, 0.6, 2.6), code=frozenset({0, 4})),
            ],
        )
    ]


def cautions(facts: BookFacts, words: Wording) -> list[Section]:
    """What can hurt somebody who works on these links."""
    return [
        Section(words("Cautions"), [Listing([words(t) for t in schemas.load("cautions.toml")["cautions"]["texts"]])])
    ]


def _by_rule(findings: Iterable[Row]) -> list[tuple[str, list[Row]]]:
    """Findings by rule, the gravest rules first."""
    grouped: dict[str, list[Row]] = {}
    for f in findings:
        grouped.setdefault(plain(f.get("rule")), []).append(f)
    weight = {"error": 0, "warning": 1, "information": 2}
    return sorted(grouped.items(), key=lambda g: (weight.get(plain(g[1][0].get("severity")), 3), g[0]))


def _some(labels: Iterable[object]) -> str:
    """Labels in order, the first twelve."""
    listed = sorted({plain(x) for x in labels} - {""})
    return ", ".join(listed[:12]) + (" …" if len(listed) > 12 else "")


def place_name(place: Sequence[str], words: Wording) -> str:
    """Building, floor, space and panel in one line."""
    names = (words("building"), words("floor"), words("space"), words("panel"))
    parts = [f"{n} {v}" for n, v in zip(names, place, strict=False) if v]
    return ", ".join(parts) or words("place not stated")


def _place_key(x: BookLink) -> tuple[tuple[str, ...], str]:
    return (x.place, x.label)
