"""The time that entries carry: what the clock of this machine said. Order follows the numbers, never the clock."""

from __future__ import annotations

from datetime import UTC, datetime


def now() -> datetime:
    """UTC, to the millisecond."""
    at = datetime.now(UTC)
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


def text(at: datetime) -> str:
    """An instant as ISO 8601 in UTC with milliseconds and Z."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{at.microsecond // 1000:03d}Z"
