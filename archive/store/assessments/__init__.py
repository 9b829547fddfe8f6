"""Assessments: a grading run over the archive, kept as an immutable bag of its own."""

from __future__ import annotations

from archive.store.assessments.read import Assessed, of_records, statements
from archive.store.assessments.write import (
    AssessmentOutcome,
    RecordsToGrade,
    RunFacts,
    assess,
    graded,
    records_to_grade,
)

__all__ = [
    "Assessed",
    "AssessmentOutcome",
    "RecordsToGrade",
    "RunFacts",
    "assess",
    "graded",
    "of_records",
    "records_to_grade",
    "statements",
]
