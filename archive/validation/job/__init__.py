"""Jobs as a whole: rules across records, the schedule, copied curves, the job in numbers."""

from __future__ import annotations

from archive.validation.job.check import Job, JobOutcome, check_job
from archive.validation.job.summary import Summary

__all__ = ["Job", "JobOutcome", "Summary", "check_job"]
