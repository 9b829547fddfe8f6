"""The table of pages."""

from __future__ import annotations

from collections.abc import Mapping

from archive.room import (
    analysis,
    claims,
    comparing,
    curves,
    documents,
    finding,
    jobs,
    limits,
    links,
    proofs,
    thumbnails,
)
from archive.room.app import Page

PAGES: Mapping[str, tuple[str, Page]] = {
    "/": ("GET", finding.page),
    "/find/rows": ("GET", finding.rows),
    "/find/values": ("GET", finding.values),
    "/find.csv": ("GET", finding.table),
    "/link": ("GET", links.page),
    "/link/graded": ("GET", links.graded_part),
    "/link/curves": ("GET", curves.curves),
    "/link/traces": ("GET", curves.traces),
    "/link/timeline.svg": ("GET", links.timeline),
    "/link/wiremap.svg": ("GET", links.wiremap),
    "/compare": ("GET", comparing.page),
    "/proof": ("GET", proofs.page),
    "/proof/line": ("GET", proofs.line),
    "/proof.json": ("GET", proofs.bundle),
    "/original": ("GET", documents.original),
    "/document": ("GET", documents.document),
    "/document/picture": ("GET", thumbnails.page),
    "/jobs": ("GET", jobs.listed),
    "/job": ("GET", jobs.page),
    "/claim": ("GET", claims.form),
    "/claim.zip": ("POST", claims.made),
    "/rates": ("GET", analysis.rates_page),
    "/rates.svg": ("GET", analysis.rates_picture),
    "/trends": ("GET", analysis.trends_page),
    "/trends.svg": ("GET", analysis.trends_picture),
    "/ready": ("GET", analysis.ready_page),
    "/limits": ("GET", limits.listed),
    "/limit": ("GET", limits.page),
    "/help": ("GET", finding.help_page),
}
"""By path: the method, and what answers it."""
