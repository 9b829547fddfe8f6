"""Runs a muniment command and tells the largest memory it took, as JSON on standard error."""

from __future__ import annotations

import json
import resource
import sys

from archive.cli import main

if __name__ == "__main__":
    try:
        main()
    finally:
        used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(json.dumps({"peak": used if sys.platform == "darwin" else used * 1024}), file=sys.stderr)
