"""Cuts the text of a file into option line, keywords, comments and the bodies of numbers; keeps every line's place."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from archive.errors import Trouble
from archive.formats.base.text import detect
from archive.formats.touchstone import keywords
from archive.formats.touchstone.network import Kept
from archive.formats.touchstone.options import OptionLine, read_options


def decode(data: bytes) -> tuple[str, str]:
    """Text and name of its encoding; line ends become \\n.

    Only comments can hold more than ASCII, so that a wrong guess changes no number.
    """
    encoding = detect(data, whole=True)
    text = data[encoding.mark :].decode(encoding.name, errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n"), encoding.name


@dataclass
class Scan:
    """The parts of a file. words: value and line of each keyword; more: what the lines below it add to its value.

    body, noise: numbers only, line for line; *_line: place of their first line.
    """

    path: str
    options: OptionLine | None = None
    words: dict[str, tuple[str, int]] = field(default_factory=dict)
    more: defaultdict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    kept: list[Kept] = field(default_factory=list)
    body: str = ""
    body_line: int = 1
    noise: str = ""
    noise_line: int = 1

    def where(self, line: int) -> str:
        """File and line, for messages."""
        return f"{self.path} line {line}"

    def keep(self, name: str, line: int, value: str) -> None:
        """Keeps a cell by its own name."""
        self.kept.append(Kept(name, f"line {line}", value))


def scan(text: str, path: str) -> Scan:
    """The parts of a file.

    Errors: Trouble where there is no option line or no number, a keyword is not known, or is out of place.
    """
    out = Scan(path)
    start, first = _header(text, out)
    out.words = {
        word: (f"{value} {' '.join(out.more[word])}".strip(), line) for word, (value, line) in out.words.items()
    }
    if out.options is None:
        raise Trouble(
            "there is no option line, so unit and number format are not known",
            code="touchstone.option-line",
            where=path,
            expected="a line such as `# MHz S RI R 50` before the numbers",
            remedy="export the file again, or add the line that the measurement had",
        )
    rest = text[start:]
    out.body_line = first
    if any(mark in rest for mark in "![#"):
        _body(rest, first, out)
    else:
        out.body = rest
    if not out.body.strip():
        raise Trouble(
            "there are no data",
            code="touchstone.no-data",
            where=path,
            expected="rows of numbers",
            remedy="export the file again",
        )
    return out


def _header(text: str, out: Scan) -> tuple[int, int]:
    """Reads up to the first line of network data; returns its place in characters and its line number."""
    at, line, open_word, inside = 0, 0, "", False
    while at < len(text):
        end = text.find("\n", at)
        end = len(text) if end < 0 else end
        raw, line, here, at = text[at:end], line + 1, at, end + 1
        known = len(out.kept)
        content = _comment(raw, line, out)
        if not content:
            continue
        match = keywords.KEYWORD.match(content)
        if match:
            word = _keyword(match[1], line, out)
            if word == "begin information":
                inside = True
            elif word == "end information":
                inside = False
            elif word == "network data":
                if "version" not in out.words:
                    raise Trouble(
                        "keywords without [Version]",
                        code="touchstone.keyword-place",
                        where=out.where(line),
                        expected="[Version] 2.0 first",
                    )
                return at, line + 1
            else:
                out.words[word] = (match[2].strip(), line)
            out.keep(f"[{match[1].strip()}]", line, match[2].strip())
            open_word = word if word in ("reference", "mixed-mode order") else ""
        elif inside:
            out.keep("information", line, raw.strip())
        elif content.startswith("#"):
            if out.options is None:
                out.options = read_options(content, out.where(line))
            out.keep("option line", line, content)
        elif open_word:
            out.more[open_word].append(content)
            out.keep(f"[{open_word}] continued", line, content)
        elif "version" in out.words:
            raise Trouble(
                "a line that belongs to no keyword",
                code="touchstone.keyword-place",
                where=out.where(line),
                found=repr(content[:40]),
                expected="[Network Data] before the numbers",
                remedy="export it again from where it was measured",
            )
        else:
            # The body begins here, and keeps the comment of this line itself.
            del out.kept[known:]
            return here, line
    return at, line


def _body(rest: str, first: int, out: Scan) -> None:
    """Takes comments and keywords out of the rows of numbers; a line stays a line, so that places hold."""
    parts: dict[str, list[str]] = {"network": [], "noise": [], "end": []}
    section = "network"
    for line, raw in enumerate(rest.split("\n"), first):
        content = raw
        if "!" in raw or "[" in raw or "#" in raw:
            content = _comment(raw, line, out)
            match = keywords.KEYWORD.match(content)
            if match:
                word = _keyword(match[1], line, out)
                section = {"noise data": "noise", "end": "end"}.get(word, section)
                if word == "noise data":
                    out.noise_line = line + 1
                elif word != "end":
                    raise Trouble(
                        "a keyword in the middle of the data",
                        code="touchstone.keyword-place",
                        where=out.where(line),
                        found=f"[{match[1].strip()}]",
                        expected="keywords before [Network Data]",
                    )
                out.keep(f"[{match[1].strip()}]", line, match[2].strip())
                content = ""
                if section == "network":
                    parts[section].append("")
                continue
            if content.startswith("#"):
                out.keep("option line", line, content)
                content = ""
        if section == "end" and content.strip():
            out.keep("after [End]", line, content.strip())
        parts[section].append(content)
    out.body, out.noise = "\n".join(parts["network"]), "\n".join(parts["noise"])


def _comment(raw: str, line: int, out: Scan) -> str:
    """The line without its comment, trimmed; keeps the comment."""
    content, mark, comment = raw.partition("!")
    if mark:
        out.keep("comment", line, comment.strip())
    return content.strip()


def _keyword(word: str, line: int, out: Scan) -> str:
    """A keyword in lower case with single blanks. Errors: Trouble where it is not known or there twice."""
    plain = " ".join(word.lower().split())
    if plain not in keywords.KNOWN:
        raise Trouble(
            "a keyword that this reader does not know could change what the numbers mean",
            code="touchstone.unknown-keyword",
            where=out.where(line),
            found=f"[{word.strip()[:40]}]",
            expected="a keyword of Touchstone 2.0",
            remedy="export the file as version 2.0 or 1.1",
        )
    if plain in out.words:
        raise Trouble(
            "a keyword is there twice",
            code="touchstone.keyword-place",
            where=out.where(line),
            found=f"[{word.strip()}]",
            expected="it once",
        )
    return plain
