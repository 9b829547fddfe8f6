"""START-HERE.html: an offline page that verifies the folder it lies in, the same bytes in every one of a version."""

from __future__ import annotations

from pathlib import Path

START_HERE = "START-HERE.html"
WINDOWS = (
    "Get-Content -Encoding UTF8 manifest-sha256.txt | ForEach-Object { $h, $p = $_ -split '\\s+', 2; "
    "if (-not (Test-Path -LiteralPath $p) -or (Get-FileHash -Algorithm SHA256 -LiteralPath $p).Hash -ne $h) "
    '{ "CHANGED $p" } }'
)
"""What PowerShell makes of the manifest: the files that are missing or changed. The page has the same line."""


def start_here() -> bytes:
    """The page."""
    return (Path(__file__).parent / START_HERE).read_bytes()
