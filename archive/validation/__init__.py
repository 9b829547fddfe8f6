"""Rules, each with a name, severity, reason and remedy; they look at a Batch and yield findings."""

from __future__ import annotations

from archive.validation.catalogue import Rule, UnknownRule, version
from archive.validation.check import RuleFault, check
from archive.validation.job import Job, check_job
from archive.validation.policy import Policy, load

__all__ = ["Job", "Policy", "Rule", "RuleFault", "UnknownRule", "check", "check_job", "load", "version"]
