"""Problems that a person can fix, in one line: where, what was found, what was expected, what to do."""

from __future__ import annotations


class Trouble(Exception):
    """Input or usage that a person can fix; printed as one line, exit code 2.

    code: stable name of this kind of trouble, listed in schemas/troubles/; where: file and the place in it (line, row,
    XPath, cell); found, expected: as text; remedy: what to do.
    """

    def __init__(
        self, message: str, *, code: str = "", where: str = "", found: str = "", expected: str = "", remedy: str = ""
    ) -> None:
        super().__init__(message)
        self.message, self.code, self.where = message, code, where
        self.found, self.expected, self.remedy = found, expected, remedy

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.message}" if self.where else self.message]
        if self.found:
            parts.append(f"found {self.found}")
        if self.expected:
            parts.append(f"expected {self.expected}")
        line = "; ".join(parts)
        if self.remedy:
            line = f"{line}. {self.remedy[:1].upper()}{self.remedy[1:]}"
        return " ".join(line.split())


class Caveat(UserWarning):
    """What whoever relies on an answer must know of it. Commands print it, add it to their JSON as `caveats`, and end
    with 1 instead of 0."""


class MachineNotice(UserWarning):
    """What whoever runs a command must know of this machine; no answer is worth less for it. Printed once, and the exit
    code stays."""


class Remark(Caveat):
    """A caveat that is as it should be: it is printed and in the JSON, and changes no exit code."""
