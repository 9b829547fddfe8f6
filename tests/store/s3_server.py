"""An S3 server on loopback for tests (moto), in a process of its own; the environment that leads to it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

BUCKET = "certificates"


@contextmanager
def s3_server() -> Iterator[int]:
    """The server; gives its port."""
    program = "import sys; from moto.server import main; main(['-H', '127.0.0.1', '-p', '0'])"
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", program],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stderr is not None
    try:
        line = next(line for line in process.stderr if "Running on http://127.0.0.1:" in line)
        port = int(line.rsplit(":", 1)[1].split()[0].strip("/"))
        make_bucket(port)
        drain(process)
        yield port
    finally:
        process.kill()
        process.wait()


def drain(process: subprocess.Popen[str]) -> None:
    """Its log goes nowhere, and never fills the pipe."""
    from threading import Thread

    assert process.stderr is not None
    Thread(target=lambda: [None for _ in process.stderr or ()], daemon=True).start()


def make_bucket(port: int, name: str = BUCKET, *, versions: bool = False) -> None:
    """A bucket; versions: it keeps old ones."""
    _put(f"http://127.0.0.1:{port}/{name}", b"")
    if versions:
        said = b"<VersioningConfiguration><Status>Enabled</Status></VersioningConfiguration>"
        _put(f"http://127.0.0.1:{port}/{name}?versioning", said)


def _put(url: str, data: bytes) -> None:
    for _ in range(50):
        try:
            urllib.request.urlopen(urllib.request.Request(url, data, {"Content-Type": "text/xml"}, method="PUT")).read()
            return
        except urllib.error.URLError:
            time.sleep(0.1)
    raise AssertionError(url)


def environment(url: str) -> dict[str, str]:
    """Variables by which programs reach a store at a URL; none of this user's own."""
    return {
        "AWS_ACCESS_KEY_ID": "invented",
        "AWS_SECRET_ACCESS_KEY": "invented-secret-8125",
        "AWS_REGION": "us-east-1",
        "AWS_ENDPOINT_URL": url,
        "AWS_CONFIG_FILE": os.devnull,
        "AWS_SHARED_CREDENTIALS_FILE": os.devnull,
        "MUNIMENT_STORE_TIMEOUT": "2",
    }
