"""The memory of a worker stays flat over many quick requests (``tests/bench/memory.py``)."""

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
REQUESTS = 20_000
# From 4,000 requests, when memos have met all figures, to 20,000; 400 bytes kept of each of the
# 16,000 would be more.
MOST_GROWTH_MIB = 6


def test_memory_stays_flat_over_many_requests(
    record_property: Callable[[str, object], None],
) -> None:
    done = subprocess.run(
        [
            *(
                sys.executable,
                ROOT / "tests" / "bench" / "memory.py",
                "--quick",
                "--variants",
                "60",
            ),
            *("--requests", str(REQUESTS), "--every", "2000"),
            *("--most-growth-mib", str(MOST_GROWTH_MIB)),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    *readings, told = done.stdout.splitlines()
    assert len(readings) == REQUESTS // 2000
    assert re.fullmatch(r"from 4000 to 20000 requests: growth -?[\d.]+ MiB, slope .*", told)
    record_property("summary", f"Memory of a worker {told}.")
