"""Findings of this reader as rows; their words stand in schemas/rules/optical-trace.toml."""

from __future__ import annotations

from functools import partial

from archive.formats.base import findings

finding = partial(findings.finding, "optical-trace")
"""One row of findings by the name of its rule: archive.formats.base.findings.finding."""
