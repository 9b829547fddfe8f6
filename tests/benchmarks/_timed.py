"""Runs a muniment command and tells the largest memory and the processor time it took, as JSON on standard error."""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path

from archive.cli import main


def peak() -> int:
    """Largest memory of this process, in bytes. The counter of getrusage would begin with that of the parent."""
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) * 1024
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used if sys.platform == "darwin" else used * 1024


if __name__ == "__main__":
    try:
        main()
    finally:
        print(json.dumps({"peak": peak(), "cpu": time.process_time()}), file=sys.stderr)
