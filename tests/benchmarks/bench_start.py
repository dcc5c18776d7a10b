"""What short commands cost from start to end, in the demonstration's shed.

Run: python -m tests.benchmarks.bench_start

Processor time of the whole process, median of five: a busy machine makes it up to twice as long.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.demo_world import SETTINGS, evening_until

EVENING = 1_792_256_400.0  # UTC [s], 17:00 on the 17th of October 2026, in the demonstration's evening
COMMANDS = ("--help", "explain blush", "alerts", "doctor", "layer --running")
BARE = (("python", "pass"), ("typer alone", "import typer"), ("numpy alone", "import numpy"))


def spent(words: list[str], folder: Path) -> float:
    """Processor time of one run. [s]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = {**os.environ, "CUREWATCH_CONFIG": str(folder / "curewatch.toml")}
    subprocess.run(words, cwd=folder, env=environment, capture_output=True, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        evening_until(EVENING, folder)
        (folder / "curewatch.toml").write_text(SETTINGS, encoding="utf-8")
        runs = {said: [sys.executable, "-c", code] for said, code in BARE}
        runs |= {said: [sys.executable, "-m", "curewatch", *said.split()] for said in COMMANDS}
        for said, words in runs.items():
            print(f"{said:20}{statistics.median(spent(words, folder) for _ in range(5)):8.3f} s")


if __name__ == "__main__":
    main()
