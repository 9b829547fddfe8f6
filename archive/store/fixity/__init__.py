"""Whether an archive is as it was: by count, by digest, or deep."""

from __future__ import annotations

from archive.store.fixity.report import DEPTHS, Report
from archive.store.fixity.run import fixity

__all__ = ["DEPTHS", "Report", "fixity"]
