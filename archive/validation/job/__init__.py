"""Jobs as a whole: rules across records, the schedule, copied curves, the job in numbers."""

from __future__ import annotations

from archive.validation.job.job_check import JobCheck, JobOutcome, check_job
from archive.validation.job.job_summary import JobSummary

__all__ = ["JobCheck", "JobOutcome", "JobSummary", "check_job"]
