"""The library that speaks to stores, loaded when a bucket is opened; a connection as settings says it is to be made."""

from __future__ import annotations

from typing import Any

from archive.errors import Trouble
from archive.objects import settings


def library() -> Any:
    """The library. Errors: Trouble where it is not installed."""
    try:
        import obstore
    except ImportError:
        raise Trouble(
            "an archive on an object store needs a library that is not installed",
            code="store.not-installed",
            remedy="pip install 'muniment[store]'",
        ) from None
    return obstore


def connected(scheme: str, name: str, times: int) -> Any:
    """A bucket as the library has it. times: how often it asks again by itself."""
    store: Any = library().store

    if scheme == "memory":
        return store.MemoryStore()
    options, retry = settings.client(), settings.retries(times)
    if scheme == "s3":
        said = settings.profile()
        options["allow_http"] = said.get("endpoint", "").startswith("http://")
        return store.S3Store(name, **said, client_options=options, retry_config=retry)
    kinds = {"gs": store.GCSStore, "az": store.AzureStore}
    return kinds[scheme](name, client_options=options, retry_config=retry)
