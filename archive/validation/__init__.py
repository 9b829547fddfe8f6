"""Rules, each with a name, severity, reason and remedy; they look at a Batch and yield findings."""

from __future__ import annotations

from archive.validation.catalogue import CatalogueRule, UnknownRule, version
from archive.validation.catalogue.answering import RuleFault
from archive.validation.catalogue.policy import Policy, load
from archive.validation.check import check
from archive.validation.job import JobCheck, check_job

__all__ = ["CatalogueRule", "JobCheck", "Policy", "RuleFault", "UnknownRule", "check", "check_job", "load", "version"]
