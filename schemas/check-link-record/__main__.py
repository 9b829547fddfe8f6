"""python check-link-record.pyz [--digests LIST] FILE...

Checks link record XML with the standard library of Python (3.11 or later) alone; nothing is installed, nothing fetched.

Looked at: well-formed, no document type declaration; elements, attributes, types, words; lists as long as their axis,
the id of an axis; references; whether each record stands in canonical form; the XML Schema, where lxml or xmllint is
there. The digest of each sound record is printed. With --digests, each must stand in LIST, any text that holds digests.

Not looked at: whether values are plausible or meet a limit, the digests that make up the keys of places, links,
instruments and people, signatures, link record CSV.

Exit status: 0 sound; 1 something to look at; 2 not a link record, or it cannot be read.
"""

import json
import re
import sys
from pathlib import Path

import schema
from document import Document, NotLinkRecord
from rows import Definitions

MOST_FAULTS = 100
_DIGEST = re.compile(r"link-record-[0-9]+:[0-9a-f]{64}")


def shown(text):
    """Text in one line, without what a terminal would obey, at most 100 characters."""
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(text)[:101])
    return text if len(text) <= 100 else text[:97] + "..."


def say(text):
    """One line."""
    sys.stdout.write(text + "\n")


class Report:
    """What is told of one file."""

    def __init__(self, path, digests):
        self.path, self._digests, self.told, self.strange = shown(path), digests, 0, 0

    def fault(self, line, record, message, found, expected):
        """One line: where, what, found, expected."""
        self.told += 1
        if self.told <= MOST_FAULTS:
            record = f", record {shown(record)}" if record else ""
            expected = f"; expected {shown(expected)}" if expected else ""
            say(f"{self.path}, line {line}{record}: {shown(message)}; found '{shown(found)}'{expected}")

    def digest(self, line, record, digest):
        """One line: where, the digest."""
        say(f"{self.path}, line {line}, record {shown(record)}: {digest}")
        if self._digests is not None and digest not in self._digests:
            self.strange += 1
            self.fault(line, record, "its digest is not in the list", digest, "a digest of the list")


def check(path, definitions, xsd, digests):
    """Exit status for one file."""
    report = Report(path, digests)
    document = Document(definitions, report.fault, report.digest)
    try:
        with Path(path).open("rb") as file:
            document.read(file)
    except OSError as error:
        say(f"{report.path}: cannot be read: {error.strerror}; nothing was checked")
        return 2
    except NotLinkRecord as why:
        line, message, found, expected = why.args
        report.fault(line, "", message, found, expected)
        say(f"{report.path}: not a link record; nothing after line {line} was looked at")
        return 2
    if report.told > MOST_FAULTS:
        say(f"{report.path}: {report.told - MOST_FAULTS} more faults are not listed")
    if document.refused:
        say(f"{report.path}: not a link record: its structure is not that of the schema")
        return 2
    for name, count in document.absent.items():
        say(f"{report.path}: note: {count} keys of {name} have no row here, which is allowed")
    by, refused = schema.judged(path, xsd)
    if refused:
        say(f"{report.path}: not a link record: the schema refuses it: {shown(refused)}")
        return 2
    if not by:
        say(f"{report.path}: schema not checked: neither lxml nor xmllint is there")
    return _summary(report, document, by)


def _summary(report, document, by):
    clean = by and not report.told
    parts = [
        f"{document.records} record{'' if document.records == 1 else 's'}",
        f"{document.sound} with a digest",
        f"{document.faults} fault{'' if document.faults == 1 else 's'}",
    ]
    parts += [f"{document.apart} not in canonical form"] if document.apart else []
    parts += [f"{report.strange} with a digest that is not in the list"] if report.strange else []
    verdict = "sound" if clean else "something to look at"
    say(f"{report.path}: {verdict}: " + ", ".join([*parts, f"schema checked by {by}" if by else "schema not checked"]))
    return 0 if clean else 1


def main(words):
    """Exit status for the words of the command line."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="backslashreplace")
    digests = None
    if words[:1] == ["--digests"] and len(words) > 1:
        try:
            with Path(words[1]).open(encoding="utf-8", errors="replace") as file:
                digests = {d for line in file for d in _DIGEST.findall(line)}
        except OSError as error:
            say(f"{shown(words[1])}: cannot be read: {error.strerror}; nothing was checked")
            return 2
        words = words[2:]
    if not words or words[0].startswith("-"):
        say(__doc__.strip())
        return 0 if words[:1] in (["--help"], ["-h"]) else 2
    definitions = Definitions(json.loads(__loader__.get_data("definitions.json")))
    xsd = __loader__.get_data("link-record.xsd")
    return max(check(path, definitions, xsd, digests) for path in words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
