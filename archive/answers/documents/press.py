"""Many documents as PDF, one after the other, in bounded memory.

The typesetter keeps what it has computed for as long as its process lives. So documents are set in a process of their
own, which gives way to a new one after so many bytes.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path
from types import TracebackType

from archive.answers.documents.model import Document
from archive.answers.documents.pdf import MADE, STANDARD, lay_out
from archive.answers.documents.text import fonts

_PACKAGE = Path(__file__).resolve().parents[2]
_BYTES = 12_000_000
_CHILD = """
import sys
sys.path.insert(0, sys.argv[3])
from archive.answers.documents.pdf import typeset
for line in sys.stdin:
    try:
        typeset(line.rstrip("\\n"), sys.argv[1], sys.argv[2])
        print("made", flush=True)
    except Exception as error:
        print(" ".join(str(error).split()) or type(error).__name__, flush=True)
"""


class Press:
    """Sets documents. To be used in a with statement."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[str] | None = None
        self._set = 0

    def pdf(self, document: Document) -> bytes:
        """The document as PDF bytes, the same as documents.pdf makes. Errors: RuntimeError where it is refused."""
        with tempfile.TemporaryDirectory(prefix="muniment-") as name:
            size = lay_out(document, Path(name))
            if self._set and self._set + size > _BYTES:
                self.close()
            self._set += size
            answer = self._ask(name)
            if answer != "made":
                raise RuntimeError(f"the typesetter refuses the document: {answer}")
            return (Path(name) / MADE).read_bytes()

    def close(self) -> None:
        """Ends the process."""
        if self._child is not None:
            self._child.communicate()
            self._child, self._set = None, 0

    def __enter__(self) -> Press:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _ask(self, folder: str) -> str:
        if self._child is None:
            # -P: a folder of the user's that is called archive is not ours.
            command = [sys.executable, "-P", "-c", _CHILD, str(fonts()), STANDARD, str(_PACKAGE.parent)]
            self._child = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
            )
        assert self._child.stdin is not None and self._child.stdout is not None
        self._child.stdin.write(folder + "\n")
        self._child.stdin.flush()
        return self._child.stdout.readline().rstrip("\n") or "the process ended without a word"
