"""Assessments: a grading run over the archive, kept as an immutable bag of its own."""

from __future__ import annotations

from archive.store.assessments.read import Assessed, of_records, statements
from archive.store.assessments.write import Assessment, AssessmentOutcome, RunFacts, assess

__all__ = ["Assessed", "Assessment", "AssessmentOutcome", "RunFacts", "assess", "of_records", "statements"]
