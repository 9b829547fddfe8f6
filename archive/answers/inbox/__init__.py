"""An inbox: finished uploads in a folder for each job, taken into an archive whenever a scheduler asks."""

from __future__ import annotations

from archive.answers.inbox.page import compose
from archive.answers.inbox.take import InboxChoices, InboxRun, JobTaken, take

__all__ = ["InboxChoices", "InboxRun", "JobTaken", "compose", "take"]
