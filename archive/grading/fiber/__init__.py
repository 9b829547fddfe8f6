"""Grading of optical links: losses against limits by formula, against applications, events of traces."""

from __future__ import annotations

from archive.grading.fiber.both_ends import BOTH_ENDS
from archive.grading.fiber.both_ways import BOTH_WAYS
from archive.grading.fiber.grade import OpticalBound, asked_for, grade_optical, named_limit
from archive.grading.fiber.loss_tests import LossTest, loss_tests, optical

__all__ = [
    "BOTH_ENDS",
    "BOTH_WAYS",
    "LossTest",
    "OpticalBound",
    "asked_for",
    "grade_optical",
    "loss_tests",
    "named_limit",
    "optical",
]
