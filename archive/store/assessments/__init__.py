"""Assessments: a grading run over the archive, kept as an immutable bag of its own."""

from __future__ import annotations

from archive.store.assessments.write import Assessment, Outcome, assess

__all__ = ["Assessment", "Outcome", "assess"]
