"""Grading of optical links: losses against limits by formula, against applications, events of traces."""

from __future__ import annotations

from archive.grading.fiber.grade import OpticalBound, asked_for, grade_optical, named_limit
from archive.grading.fiber.loss_tests import LossTest, loss_tests, optical

__all__ = ["LossTest", "OpticalBound", "asked_for", "grade_optical", "loss_tests", "named_limit", "optical"]
