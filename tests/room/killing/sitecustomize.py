"""Ends a child process of the desk at one step of its work on the disk, as a power cut would: put before all else in
PYTHONPATH by a test, it looks for an order in the file DESK_KILL, and obeys it once."""

import contextlib
import json
import os
import signal
from pathlib import Path

_order = Path(os.environ.get("DESK_KILL", "nowhere"))
with contextlib.suppress(OSError):
    asked = json.loads(_order.read_text())
    _order.unlink()

    from archive import disk

    met = []

    def watch(what, path, old):
        """Ends this process before the step that was named, or before the one after it."""
        if met or (what == asked["what"] and asked["part"] in str(path)):
            if met or not asked["after"]:
                os.kill(os.getpid(), signal.SIGKILL)
            met.append(path)

    disk.watcher = watch
