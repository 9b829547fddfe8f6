"""The quick form of `python -m tests.endurance fuzz`: some cases of each reader, always the same."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from archive.confined import MEMORY, SECONDS
from tests.endurance import fuzz


@pytest.mark.parametrize("reader", fuzz.READERS)
def test_whatever_was_changed_is_read_set_aside_or_told(
    reader: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(MEMORY, "1500")
    monkeypatch.setenv(SECONDS, "60")
    cases = 8 if reader in ("drafts", "survey", "workbooks") else 30
    ended = Counter(fuzz.run(reader, number, tmp_path / str(number)) for number in range(cases))
    assert ended.total() == cases
    assert len(ended) > 1, "some are read, and some are not"
