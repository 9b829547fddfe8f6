"""What rules look at: the columns and curves of one batch, and the records of a job by link."""

from __future__ import annotations

from archive.validation.look.job_look import JobLook
from archive.validation.look.record_look import RecordLook

__all__ = ["JobLook", "RecordLook"]
