"""A server on loopback between a client and an S3 server that does wrong what networks and stores do wrong.

What becomes of a request is said by a plan: a function of its method, its path and its number that gives one of FAULTS,
or None. Every request is kept with its answer's status and size.
"""

from __future__ import annotations

import asyncio
import random
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

FAULTS = ("lose", "drop", "500", "503", "409", "500 after", "hang", "strip")
"""lose: it is done, and the answer never comes; drop: nothing is done, and no answer comes; a number: nothing is done,
and that is the answer; 500 after: it is done, and the answer is 500; hang: it is done, and the answer comes too late;
strip: the condition of the write is taken out."""

Plan = Callable[[str, str, int], str | None]


@dataclass
class Answered:
    """One request: method, path with the query, fault, status of the answer (0: none), bytes of its body."""

    method: str
    path: str
    fault: str | None
    status: int = 0
    size: int = 0


def at_random(seed: int, chances: Mapping[str, Mapping[str, float]]) -> Plan:
    """A plan by chance. chances: of each fault, by method."""
    draw = random.Random(seed)

    def plan(method: str, _path: str, _number: int) -> str | None:
        left = draw.random()
        for fault, chance in chances.get(method, {}).items():
            if left < chance:
                return fault
            left -= chance
        return None

    return plan


@dataclass
class FaultProxy:
    """The server, in a thread of its own. port: of the S3 server behind it; pause: seconds that `hang` takes."""

    port: int
    pause: float = 3.0
    plan: Plan = lambda _method, _path, _number: None
    seen: list[Answered] = field(default_factory=list)
    address: str = ""

    def __enter__(self) -> FaultProxy:
        started = threading.Event()

        async def serve() -> None:
            self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
            server = await asyncio.start_server(self._client, "127.0.0.1", 0, limit=1 << 26)
            self.address = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
            started.set()
            await self._stop.wait()
            server.close()

        self._thread = threading.Thread(target=lambda: asyncio.run(serve()), daemon=True)
        self._thread.start()
        started.wait()
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join()

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while await self._one(reader, writer):
                pass
        except (asyncio.IncompleteReadError, asyncio.CancelledError, ConnectionError):
            pass
        finally:
            writer.close()

    async def _one(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        head = await reader.readuntil(b"\r\n\r\n")
        method, path, _ = head.split(b"\r\n", 1)[0].decode().split(" ")
        lines = [line for line in head.split(b"\r\n") if not line.lower().startswith(b"connection:")]
        length = next((int(x.split(b":")[1]) for x in lines if x.lower().startswith(b"content-length:")), 0)
        body = await reader.readexactly(length)
        told = Answered(method, path, self.plan(method, path, len(self.seen)))
        self.seen.append(told)
        fault = told.fault
        if fault == "drop":
            writer.transport.abort()
            return False
        if fault in ("500", "503", "409"):
            return await self._answer(writer, told, int(fault))
        if fault == "strip":
            lines = [line for line in lines if not line.lower().startswith(b"if-none-match")]
        behind, ahead = await asyncio.open_connection("127.0.0.1", self.port)
        ahead.write(b"\r\n".join([lines[0], b"Connection: close", *lines[1:]]) + body)
        answer = await behind.read()
        ahead.close()
        if fault == "hang":
            await asyncio.sleep(self.pause)
        if fault in ("lose", "hang"):
            writer.transport.abort()
            return False
        if fault == "500 after":
            return await self._answer(writer, told, 500)
        told.status, told.size = int(answer.split(b" ", 2)[1]), len(answer.partition(b"\r\n\r\n")[2])
        writer.write(answer)
        await writer.drain()
        return False  # the server behind closes each connection, and its answer says so

    async def _answer(self, writer: asyncio.StreamWriter, told: Answered, status: int) -> bool:
        told.status = status
        writer.write(f"HTTP/1.1 {status} Fault\r\nContent-Length: 0\r\n\r\n".encode())
        await writer.drain()
        return True
