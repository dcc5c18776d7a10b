"""The table of measurements, with the machine and its load: ``python -m tests.benchmarks [NAME ...]``.

Runs the benchmarks one after the other and writes what each printed into ``README.md``. With
names only those are run anew; the other rows stay. It takes an hour on two cores.
"""

import os
import platform
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks import environment

FOLDER = Path(__file__).parent
FILE = FOLDER / "README.md"
BEGIN, END = "<!-- made by python -m tests.benchmarks -->", "<!-- end of what was made -->"
HEAD = "| bench | what it printed | load | made |\n|---|---|---|---|\n"
LONGEST = 1800.0  # s of one benchmark
ARGUMENTS = {"bench_sheets": ("60",), "bench_logbook": ("1000000",), "bench_ingest": ("20000",)}
APART = {
    "bench_aarch64": "fetches and emulates an ARM processor, half an hour",
    "bench_evenings": "half an hour; writes its part of ACCURACY.md",
    "bench_forecast": "two hours; its figures stand in the room of the air",
    "bench_new_user": "installs from the package registry",
}


def names() -> list[str]:
    """Every benchmark there is."""
    return sorted(path.stem for path in FOLDER.glob("bench_*.py"))


def machine() -> str:
    """Processor, cores, Python and system."""
    found = re.search(r"model name\s*: (.*)", Path("/proc/cpuinfo").read_text("utf-8"))
    processor = found[1] if found else platform.machine()
    return f"{processor}, {os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()}"


def rows(name: str) -> Iterator[str]:
    """A row for each line that a benchmark prints, with the load before it began."""
    load, made = f"{os.getloadavg()[0]:.1f}", time.strftime("%Y-%m-%d")
    command = [sys.executable, "-m", f"tests.benchmarks.{name}", *ARGUMENTS.get(name, ())]
    ran = subprocess.run(
        command, env=environment(), capture_output=True, text=True, timeout=LONGEST, check=False
    )
    said = [" ".join(line.split()).replace("|", "/") for line in ran.stdout.splitlines()]
    for line in filter(None, said):
        yield f"| `{name}` | {line} | {load} | {made} |"
    if ran.returncode:
        last = (ran.stderr.strip().splitlines() or ["nothing was said"])[-1][:120].replace("|", "/")
        yield f"| `{name}` | **not met: status {ran.returncode}** {last} | {load} | {made} |"


def kept(text: str) -> dict[str, list[str]]:
    """The rows of each benchmark as they stand."""
    found: dict[str, list[str]] = {}
    for row in text.partition(BEGIN)[2].partition(END)[0].splitlines():
        if name := re.match(r"\| `(bench_\w+)`", row):
            found.setdefault(name[1], []).append(row)
    return found


def main(asked: list[str]) -> None:
    """Run what is asked for, or all that is not apart, and write the table after each."""
    for name in asked or [each for each in names() if each not in APART]:
        made = list(rows(name))
        text = FILE.read_text("utf-8")
        FILE.write_text(written(text, kept(text) | {name: made}), "utf-8")
        print(name, flush=True)


def written(text: str, table: dict[str, list[str]]) -> str:
    """The file with this table; a benchmark that was never run here says so."""
    never = {each: [f"| `{each}` | not run here yet | | |"] for each in names() if each not in APART}
    whole = never | table
    lines = "\n".join(row for each in sorted(whole) for row in whole[each])
    before, after = text.partition(BEGIN)[0], text.partition(END)[2]
    return f"{before}{BEGIN}\n{machine()}.\n\n{HEAD}{lines}\n{END}{after}"


if __name__ == "__main__":
    main(sys.argv[1:])
