"""One bucket: the few requests that an archive makes of a store. All errors of the library end here.

What was seen of a key (size and ETag) and small objects that were fetched are kept until the next look, so that a
question asks for nothing twice. The bytes that are read are those of the ETag that was seen: a read names it, and is
refused where the object is another by then.
"""

from __future__ import annotations

import random
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Lock
from typing import Any, NamedTuple, TypeVar

from archive.errors import Trouble
from archive.objects.connection import connected, library
from archive.objects.refusals import NotAllowed, not_known, told, unconditional

T = TypeVar("T")

_TRIES = 8
"""Creates of one key, each after a look that found nothing there."""
_AT_ONCE = 16
"""Requests beside each other where many objects are wanted."""
PIECE = 8 << 20
"""Bytes of a large object that are asked for at once; smaller objects are fetched whole where all of one is wanted."""
_HELD = 64 << 20
"""Bytes of fetched objects that are kept in memory."""
_BY_YEAR = "deposits"
"""Folder of which each folder is listed by itself, beside the others: a page of a list has a thousand keys."""


class SeenKey(NamedTuple):
    """What a store says of a key. tag: its ETag, by which one content is told from another."""

    size: int
    tag: str


class Bucket:
    """A bucket; keys are text with / between parts. Errors of all methods: FileNotFoundError where there is no such
    key, StoreTrouble where the store refuses or does not answer."""

    def __init__(self, scheme: str, name: str) -> None:
        self._base = f"{scheme}://{name}"
        self._store = connected(scheme, name, 5)
        self._once = self._store if scheme == "memory" else connected(scheme, name, 0)
        self._held: OrderedDict[tuple[str, str], bytes] = OrderedDict()
        self._size = 0
        self._lock = Lock()
        self._conditional: set[str] = set()
        self.seen: dict[str, SeenKey] = {}
        self.keeps_versions = False
        """Whether old bytes stay where a key is overwritten or deleted, as the answer to the first write tells."""

    def forget(self, prefix: str) -> None:
        """From now on everything under a prefix is asked for anew."""
        before = f"{prefix}/" if prefix else ""
        with self._lock:
            self.seen = {k: v for k, v in self.seen.items() if not k.startswith(before)}
            for key in [held for held in self._held if held[0].startswith(before)]:
                self._size -= len(self._held.pop(key))

    def stat(self, key: str) -> SeenKey:
        """Size and ETag of a key, as last seen."""
        return self.seen.get(key) or self._see(self._ask(key, lambda store, o: o.head(store, key)))

    def get(self, key: str) -> bytes:
        """The bytes of a small object."""
        if (seen := self.seen.get(key)) is not None and (held := self._held.get((key, seen.tag))) is not None:
            return held

        def whole(store: Any, o: Any) -> bytes:
            answer = o.get(store, key, options={"if_match": seen.tag} if seen and seen.tag else {})
            data = bytes(answer.bytes())
            self._keep(key, self._see(answer.meta), data)
            return data

        return self._ask(key, whole)

    def range(self, key: str, start: int, end: int, seen: SeenKey) -> bytes:
        """Bytes from start to before end of what was seen under a key, or an error where it is another by now."""
        if (held := self._held.get((key, seen.tag))) is not None:
            return held[start:end]
        end = min(end, seen.size)
        if start >= end:
            return b""
        # A part that was asked for is asked for again by the next table of a bag.
        named = key if (start, end) == (0, seen.size) else f"{key}#{start}-{end}"
        if (held := self._held.get((named, seen.tag))) is None:
            held = self._part(key, start, end, seen)
            self._keep(named, seen, held)
        return held

    def pieces(self, key: str) -> Iterator[bytes]:
        """All bytes, a piece at a time."""
        seen = self.stat(key)
        if seen.size <= PIECE:
            yield self.get(key)
            return
        yield from (self._part(key, at, min(at + PIECE, seen.size), seen) for at in range(0, seen.size, PIECE))

    def _part(self, key: str, start: int, end: int, seen: SeenKey) -> bytes:
        options: dict[str, Any] = {"range": (start, end), **({"if_match": seen.tag} if seen.tag else {})}
        return self._ask(key, lambda store, o: bytes(o.get(store, key, options=options).bytes()))

    def fetch(self, keys: Iterable[str]) -> None:
        """Small objects that will be wanted, many at once; one that cannot be had is told when it is asked for."""

        def one(key: str) -> None:
            try:
                self.get(key)
            except (OSError, Trouble):
                return

        listed = list(keys)
        if len(listed) > 1:
            with ThreadPoolExecutor(_AT_ONCE) as pool:
                list(pool.map(one, listed))

    def keys(self, prefix: str, after: str = "") -> list[str]:
        """Keys under a prefix of whole parts, sorted, those after one of them alone."""
        found = self._under(prefix, after)
        self.seen.update(found)
        return sorted(found)

    def level(self, prefix: str) -> tuple[list[str], list[str]]:
        """What lies directly under a prefix: folders, and keys."""
        folders, found = self._directly_under(prefix)
        self.seen.update(found)
        return folders, sorted(found)

    def ages(self, prefix: str) -> list[tuple[str, float]]:
        """Keys under a prefix with the seconds since each was written."""

        def listed(store: Any, o: Any) -> list[tuple[str, float]]:
            stream = o.list(store, prefix)
            return [(str(m["path"]), now - m["last_modified"].timestamp()) for chunk in stream for m in chunk]

        now = time.time()
        return self._ask(prefix, listed)

    def look(self, prefix: str) -> None:
        """Sees everything under a prefix anew: what was changed has another ETag, what is gone is seen no more."""
        folders, found = self._directly_under(prefix)
        below: list[str] = []
        for folder in folders:
            if folder.rpartition("/")[2] != _BY_YEAR:
                below.append(folder)
                continue
            years, there = self._directly_under(folder)
            below += years
            found |= there
        with ThreadPoolExecutor(_AT_ONCE) as pool:
            for there in pool.map(self._under, below):
                found |= there
        before = f"{prefix}/" if prefix else ""
        self.seen = {k: v for k, v in self.seen.items() if not k.startswith(before)} | found

    def _under(self, prefix: str, after: str = "") -> dict[str, SeenKey]:
        def listed(store: Any, o: Any) -> dict[str, SeenKey]:
            stream = o.list(store, prefix or None, offset=after or None)
            return dict(_seen(meta) for chunk in stream for meta in chunk)

        return self._ask(prefix, listed)

    def _directly_under(self, prefix: str) -> tuple[list[str], dict[str, SeenKey]]:
        def listed(store: Any, o: Any) -> tuple[list[str], dict[str, SeenKey]]:
            found = o.list_with_delimiter(store, prefix or None)
            return sorted(found["common_prefixes"]), dict(map(_seen, found["objects"]))

        return self._ask(prefix, listed)

    def put(self, key: str, data: bytes | Path) -> None:
        """Writes a key that nobody else writes; a large file goes in parts, and is there only when all are."""
        answer = self._put(key, data)
        size = len(data) if isinstance(data, bytes) else data.stat().st_size
        self._note(answer)
        seen = self.seen[key] = SeenKey(size, str(answer["e_tag"] or ""))
        if size <= PIECE:
            self._keep(key, seen, data if isinstance(data, bytes) else data.read_bytes())

    def _put(self, key: str, data: bytes | Path) -> Any:
        """Where the answer to the last step of an upload in parts was lost, there is no such upload any more: again."""
        for _ in range(_TRIES):
            try:
                return self._ask(key, lambda store, o: o.put(store, key, data))
            except FileNotFoundError as lost:
                gone = lost
        raise told(RuntimeError(str(gone)), self.address(key))

    def create(self, key: str, data: bytes) -> bool:
        """Writes a key unless there is one: True where these bytes stand there, False where others do.

        After any error of the write the key is read: an answer may be lost though the write was done, and a refusal may
        be of our own first try. Errors: StoreTrouble `store.commit-unknown` where neither can be told.
        """
        for attempt in range(_TRIES):
            try:
                answer = library().put(self._once, key, data, mode="create")
            except Exception as error:  # noqa: BLE001 - of whatever kind: the key says what became of it
                last = told(error, self.address(key))
            else:
                self._note(answer)
                self._keep(key, self.seen.setdefault(key, SeenKey(len(data), str(answer["e_tag"] or ""))), data)
                return True
            self.seen.pop(key, None)
            try:
                return self.get(key) == data
            except FileNotFoundError:
                if isinstance(last, NotAllowed):
                    raise last from None
            except Trouble as blind:
                last = blind
            _wait(attempt)
        raise not_known(self.address(key), last)

    def require_conditions(self, prefix: str) -> None:
        """Creates one key twice, once in a process. Errors: StoreTrouble where the second create is accepted."""
        if prefix in self._conditional:
            return
        key = "/".join(p for p in (prefix, "aside", f"condition-{random.SystemRandom().getrandbits(64):016x}") if p)
        self.create(key, b"first")
        try:
            if self.create(key, b"second"):
                raise unconditional(self.address(prefix))
        finally:
            self.delete(key)
        self._conditional.add(prefix)

    def copy(self, old: str, new: str) -> None:
        """Gives an object a second key."""
        self._ask(old, lambda store, o: o.copy(store, old, new))
        self.seen.pop(new, None)

    def delete(self, key: str) -> None:
        """Takes a key away; nothing where it is gone already."""
        self.seen.pop(key, None)
        try:
            self._ask(key, lambda store, o: o.delete(store, key))
        except FileNotFoundError:
            return

    def address(self, key: str) -> str:
        """A key as a person names it."""
        return f"{self._base}/{key}" if key else self._base

    def _ask(self, key: str, request: Callable[[Any, Any], T]) -> T:
        for attempt in range(_TRIES):
            try:
                return request(self._store, library())
            except Trouble:
                raise
            except Exception as error:  # noqa: BLE001 - of the library, which has many kinds
                found = told(error, self.address(key))
            if not (isinstance(found, Trouble) and found.found == "HTTP status 409"):
                break
            _wait(attempt)  # another request of the same key was being done; the library asks again after all others
        raise found from None

    def _see(self, meta: Any) -> SeenKey:
        key, seen = _seen(meta)
        self.seen[key] = seen
        return seen

    def _note(self, answer: Any) -> None:
        self.keeps_versions = self.keeps_versions or (answer["version"] or "null") != "null"

    def _keep(self, key: str, seen: SeenKey, data: bytes) -> None:
        """Without an ETag nothing tells one content from the next, and nothing is kept."""
        if not seen.tag or len(data) > PIECE:
            return
        with self._lock:
            if (key, seen.tag) not in self._held:
                self._held[key, seen.tag] = data
                self._size += len(data)
            while self._size > _HELD:
                self._size -= len(self._held.popitem(last=False)[1])


def _wait(attempt: int) -> None:
    """Twice as long after each try, and not as long as others do."""
    time.sleep(random.uniform(0.5, 1) * min(0.05 * 2**attempt, 2))


def _seen(meta: Any) -> tuple[str, SeenKey]:
    return str(meta["path"]), SeenKey(int(meta["size"]), str(meta["e_tag"] or ""))


_open: dict[tuple[str, str], Bucket] = {}


def bucket(scheme: str, name: str) -> Bucket:
    """The bucket of that name, one for the whole process."""
    if (scheme, name) not in _open:
        _open[scheme, name] = Bucket(scheme, name)
    return _open[scheme, name]
