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
    receipts,
    settings,
    standing,
    thumbnails,
)
from archive.room.app import RoomPage, RoomUpload
from archive.room.desk import hand_in, planning, receiving, running
from archive.room.desk.look_after import act_pages

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
    "/receipt": RoomPage("GET", receipts.page),
    "/receipt/file": RoomPage("GET", receipts.file),
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

DESK_PAGES: Mapping[str, RoomPage | RoomUpload] = {
    "/hand-in": RoomPage("GET", hand_in.page, "deposit"),
    "/hand-in/files": RoomUpload(receiving.form),
    "/hand-in/file": RoomUpload(receiving.one),
    "/hand-in/arrived": RoomPage("POST", hand_in.arrived, "deposit"),
    "/hand-in/choose": RoomPage("POST", hand_in.choose, "deposit"),
    "/hand-in/tray": RoomPage("GET", hand_in.tray_page, "deposit"),
    "/hand-in/remove": RoomPage("POST", hand_in.remove, "deposit"),
    "/hand-in/survey": RoomPage("POST", hand_in.survey, "deposit"),
    "/hand-in/job": RoomPage("GET", hand_in.job_state, "deposit"),
    "/hand-in/dry-run": RoomPage("POST", hand_in.dry_run, "deposit"),
    "/hand-in/plan": RoomPage("GET", planning.page, "deposit"),
    "/hand-in/confirm": RoomPage("POST", planning.confirm, "deposit"),
    "/running": RoomPage("GET", running.listed, "deposit"),
    "/running/one": RoomPage("GET", running.page, "deposit"),
    "/running/stop": RoomPage("POST", running.stop, "deposit"),
    "/running/again": RoomPage("POST", running.again, "deposit"),
    **act_pages(),
}
"""What there is with a desk besides."""
