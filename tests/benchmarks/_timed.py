"""Runs a muniment command and tells the largest memory it took, as JSON on standard error."""

from __future__ import annotations

import json
import sys

from archive.cli import main
from tests.benchmarks.deposit import peak

if __name__ == "__main__":
    try:
        main()
    finally:
        print(json.dumps({"peak": peak()}), file=sys.stderr)
