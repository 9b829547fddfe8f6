"""The load generator of the room's benchmark, a process of its own: people who type, each on a connection of its own.

    python -m tests.benchmarks._typing HOST PORT BASE COOKIE PEOPLE SECONDS < labels, one a line

Each person takes a label and types it, or a part from its middle, a key every 0.2 to 0.3 seconds, and asks at each key,
as the page does. Prints one JSON object: milliseconds of each answer, and how many answers named the label typed.
Written on bare sockets, so that it takes little of the processor that it measures.
"""

from __future__ import annotations

import asyncio
import gzip
import json
import random
import sys
import time
from urllib.parse import quote

KEY = (0.2, 0.3)
"""Seconds between keys."""


async def person(
    number: int, labels: list[str], until: float, place: tuple[str, int, str, str]
) -> list[tuple[float, bool]]:
    """One person: pairs of milliseconds, and whether the answer to a whole label names it; True of other answers."""
    host, port, base, cookie = place
    rng, found = random.Random(number), list[tuple[float, bool]]()
    reader, writer = await asyncio.open_connection(host, port)
    await asyncio.sleep(rng.uniform(0, KEY[1]))
    while time.monotonic() < until:
        label = rng.choice(labels)
        begin = 0 if rng.random() < 0.75 else len(label) // 2
        for end in range(begin + 1, len(label) + 1):
            sent = time.monotonic()
            target = f"{base}/find/rows?q={quote(label[begin:end])}"
            writer.write(
                f"GET {target} HTTP/1.1\r\nHost: {host}:{port}\r\nCookie: {cookie}\r\nHX-Request: true\r\n"
                "Accept-Encoding: gzip\r\nSec-Fetch-Site: same-origin\r\n\r\n".encode()
            )
            body = await _answer(reader)
            took = (time.monotonic() - sent) * 1e3
            whole = begin == 0 and end == len(label)
            found.append((took, not whole or label in body))
            if time.monotonic() > until:
                break
            await asyncio.sleep(max(0.0, rng.uniform(*KEY) - took / 1e3))
    writer.close()
    return found


async def _answer(reader: asyncio.StreamReader) -> str:
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").casefold()
    if " 200 " not in head.splitlines()[0]:
        raise RuntimeError(head.splitlines()[0])
    if "transfer-encoding: chunked" in head:
        body = b""
        while size := int(await reader.readline(), 16):
            body += await reader.readexactly(size)
            await reader.readline()
        await reader.readline()
    else:
        body = await reader.readexactly(int(head.partition("content-length:")[2].split()[0]))
    return (gzip.decompress(body) if "content-encoding: gzip" in head else body).decode()


async def main(host: str, port: str, base: str, cookie: str, people: str, seconds: str) -> None:
    """Runs all of them, and prints."""
    labels = [line.rstrip("\n") for line in sys.stdin]
    until, place = time.monotonic() + float(seconds), (host, int(port), base, cookie)
    each = await asyncio.gather(*(person(n, labels, until, place) for n in range(int(people))))
    told = [answer for one in each for answer in one]
    sys.stdout.write(json.dumps({"ms": [ms for ms, _ in told], "named": sum(right for _, right in told)}))


if __name__ == "__main__":
    asyncio.run(main(*sys.argv[1:]))
