"""Findings for people and for other programs: in words, as JSON, as SARIF 2.1.0."""

from __future__ import annotations

from archive.validation.report.collect import KEPT, Collected
from archive.validation.report.document import document
from archive.validation.report.sarif import sarif
from archive.validation.report.wording import MOST, lines, total

__all__ = ["KEPT", "MOST", "Collected", "document", "lines", "sarif", "total"]
