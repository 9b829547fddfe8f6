"""Disposal: the records of a job whose retention is over go, named by two people; tombstones and a proof stay."""

from __future__ import annotations

from archive.store.disposal.dispose import Disposal, approve, disposals, propose
from archive.store.disposal.due import DisposableJob, due, one_job

__all__ = ["DisposableJob", "Disposal", "approve", "disposals", "due", "one_job", "propose"]
