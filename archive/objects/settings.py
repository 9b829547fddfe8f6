"""How a store is reached: credentials and region from the standard places alone, patience and retries set here.

The library reads the variables of the environment by itself (AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY,
AWS_SESSION_TOKEN, AWS_REGION, AWS_ENDPOINT_URL, and those of roles on machines of a cloud). Where they name no key, the
profile AWS_PROFILE, or `default`, of ~/.aws/credentials and ~/.aws/config is read here.
MUNIMENT_STORE_TIMEOUT: seconds until an answer counts as lost.
"""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path
from typing import Any

from archive.errors import Trouble

SCHEMES = {"s3": "S3", "gs": "Google Cloud Storage", "az": "Azure Blob Storage", "memory": "the memory of this process"}
"""Schemes of addresses, and what lies behind each. Tests run against S3 and memory alone."""

_TIMEOUT = 30.0
_KEPT = {
    "aws_access_key_id": "access_key_id",
    "aws_secret_access_key": "secret_access_key",
    "aws_session_token": "session_token",
    "region": "region",
    "endpoint_url": "endpoint",
}


def timeout() -> float:
    """Seconds until an answer counts as lost."""
    given = os.environ.get("MUNIMENT_STORE_TIMEOUT", "")
    try:
        seconds = float(given) if given else _TIMEOUT
    except ValueError:
        seconds = 0.0
    if not 0 < seconds < 86_400:
        raise Trouble(
            "no number of seconds",
            code="store.timeout",
            where="MUNIMENT_STORE_TIMEOUT",
            found=given,
            expected=f"seconds until an answer counts as lost, such as {_TIMEOUT:.0f}",
        )
    return seconds


def client() -> dict[str, Any]:
    """Options of the connection. Plain HTTP is used only where the endpoint that somebody named says so."""
    seconds = timeout()
    return {"timeout": timedelta(seconds=seconds), "connect_timeout": timedelta(seconds=min(seconds, 5))}


def retries(times: int) -> dict[str, Any]:
    """How often a request is made again by the library, with waits that double from a tenth of a second."""
    backoff = {"init_backoff": timedelta(seconds=0.1), "max_backoff": timedelta(seconds=5), "base": 2}
    return {"max_retries": times, "retry_timeout": timedelta(seconds=4 * timeout()), "backoff": backoff}


def profile() -> dict[str, str]:
    """What the profile says that the environment does not, by the names that the library has for it."""
    import configparser  # here, for reading the others needs no such thing

    home = Path.home() / ".aws"
    name = os.environ.get("AWS_PROFILE") or os.environ.get("AWS_DEFAULT_PROFILE") or "default"
    places = (
        (os.environ.get("AWS_SHARED_CREDENTIALS_FILE") or home / "credentials", name),
        (os.environ.get("AWS_CONFIG_FILE") or home / "config", name if name == "default" else f"profile {name}"),
    )
    found: dict[str, str] = {}
    for path, section in places:
        read = configparser.ConfigParser(interpolation=None)
        try:
            read.read(path, encoding="utf-8")
        except (configparser.Error, UnicodeDecodeError):
            raise Trouble(
                "this file of credentials cannot be read",
                code="store.profile",
                where=str(path),
                expected="sections in [brackets] with lines of `name = value`",
            ) from None
        if read.has_section(section):
            found = {
                **{ours: read[section][theirs] for theirs, ours in _KEPT.items() if theirs in read[section]},
                **found,
            }
    if os.environ.get("AWS_ACCESS_KEY_ID"):  # keys of the environment are never mixed with those of a file
        found = {k: v for k, v in found.items() if k in ("region", "endpoint")}
    if os.environ.get("AWS_REGION") or os.environ.get("AWS_DEFAULT_REGION"):
        found.pop("region", None)
    if os.environ.get("AWS_ENDPOINT_URL") or os.environ.get("AWS_ENDPOINT_URL_S3"):
        found["endpoint"] = os.environ.get("AWS_ENDPOINT_URL_S3") or os.environ["AWS_ENDPOINT_URL"]
    return found
