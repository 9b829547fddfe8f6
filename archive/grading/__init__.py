"""Derived quantities, margins, verdicts: array code over whole batches."""

from __future__ import annotations

from archive.grading.accuracy import Accuracy
from archive.grading.accuracy import load as load_accuracy
from archive.grading.derived_sweeps import derived
from archive.grading.grader import grade

__all__ = ["Accuracy", "derived", "grade", "load_accuracy"]
