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
    settings,
    standing,
    thumbnails,
)
from archive.room.app import RoomPage

PAGES: Mapping[str, RoomPage] = {
    "/": RoomPage("GET", finding.page),
    "/find/rows": RoomPage("GET", finding.rows),
    "/find/narrow": RoomPage("GET", finding.narrow),
    "/find/values": RoomPage("GET", finding.values),
    "/find.csv": RoomPage("GET", finding.table),
    "/link": RoomPage("GET", links.page),
    "/link/graded": RoomPage("GET", links.graded_part),
    "/link/curves": RoomPage("GET", curves.curves),
    "/link/traces": RoomPage("GET", curves.traces),
    "/link/timeline.svg": RoomPage("GET", links.timeline),
    "/link/wiremap.svg": RoomPage("GET", links.wiremap),
    "/compare": RoomPage("GET", comparing.page),
    "/proof": RoomPage("GET", proofs.page),
    "/proof/line": RoomPage("GET", proofs.line),
    "/proof.json": RoomPage("GET", proofs.bundle),
    "/original": RoomPage("GET", documents.original),
    "/document": RoomPage("GET", documents.document),
    "/document/picture": RoomPage("GET", thumbnails.page),
    "/jobs": RoomPage("GET", jobs.listed),
    "/job": RoomPage("GET", jobs.page),
    "/job/acceptance.pdf": RoomPage("GET", jobs.acceptance),
    "/job/book.zip": RoomPage("POST", jobs.book),
    "/claim": RoomPage("GET", claims.form),
    "/claim.zip": RoomPage("POST", claims.made),
    "/rates": RoomPage("GET", analysis.rates_page),
    "/rates.svg": RoomPage("GET", analysis.rates_picture),
    "/trends": RoomPage("GET", analysis.trends_page),
    "/trends.svg": RoomPage("GET", analysis.trends_picture),
    "/ready": RoomPage("GET", analysis.ready_page),
    "/limits": RoomPage("GET", limits.listed),
    "/limit": RoomPage("GET", limits.page),
    "/recall": RoomPage("GET", standing.recall),
    "/copies": RoomPage("GET", standing.copied),
    "/health": RoomPage("GET", standing.health),
    "/sign-ins": RoomPage("GET", settings.sign_ins),
    "/sign-ins/end": RoomPage("POST", settings.end),
    "/language": RoomPage("POST", settings.language),
    "/help": RoomPage("GET", finding.help_page),
}
"""By path, what answers and what it needs."""
