"""Says how much of the core's branches the tests took, and fails below the floor.

Run by `tests/run` with the JSON report of coverage: `python tests/branch_coverage.py REPORT`.
"""

import json
import sys
from pathlib import Path
from typing import Any

CORE = "server/tape/"
FLOOR = 95.0
"""Percent of the branches of server/tape that the tests take; more is needed than this."""


def taken(report: dict[str, Any]) -> tuple[int, int]:
    """How many branches of the core the tests took, and how many there are."""
    core = [each["summary"] for path, each in report["files"].items() if path.startswith(CORE)]
    return (
        sum(each["covered_branches"] for each in core),
        sum(each["num_branches"] for each in core),
    )


def main(path: str) -> int:
    """0 where the branches taken are above the floor."""
    covered, branches = taken(json.loads(Path(path).read_text(encoding="utf-8")))
    percent = 100 * covered / branches if branches else 0.0
    print(f"{CORE}: {covered} of {branches} branches taken, {percent:.1f} % (floor {FLOOR} %)")
    return 0 if percent > FLOOR else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
