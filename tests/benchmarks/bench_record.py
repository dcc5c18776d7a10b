"""How long a record takes: a month of three sensors at one minute, written and verified three ways.

Run: ``python -m tests.benchmarks.bench_record [days]``
"""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from msgspec.structs import replace

from curewatch.logbook import EntryKind, Logbook
from curewatch.logbook.sealing import seal
from curewatch.record.examination import verify
from curewatch.record.writing import Written, write
from curewatch.units import DAY
from tests import record_world as world


def show(label: str, value: float, unit: str) -> None:
    print(f"{label:44s}{value:12,.2f} {unit}")


def timed(label: str, work: Callable[[], object]) -> object:
    begin, busy = time.perf_counter(), time.process_time()
    done = work()
    show(label, time.perf_counter() - begin, f"s, {time.process_time() - busy:.2f} s of processor")
    return done


def fill(path: Path, days: float) -> None:
    """The demo's job, closed after so many days; a reading a minute of each of three sensors."""
    end = world.OPENED + days * DAY
    with Logbook(path) as logbook:
        logbook.write(world.configuration(world.OPENED - DAY))
        readings = list(world.readings(world.OPENED - DAY, end))
        for n in range(0, len(readings), 300):
            logbook.append(readings[n : n + 300])
        for entry in world.work():
            late = entry.kind == EntryKind.JOB_CLOSE
            logbook.write(replace(entry, at=end, recorded=end) if late else entry)
        seal(logbook, reason="job-close", at=end + 1)
    show("readings in the logbook", len(readings), "")


def main(days: float = 30.0) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fill(folder / "logbook.sqlite", days)
        with Logbook(folder / "logbook.sqlite") as logbook:
            written = timed(
                "write: PDF, folder and HTML",
                lambda: write(logbook, world.JOB, folder, at=world.OPENED + 40 * DAY),
            )
        assert isinstance(written, Written)
        assert written.pdf is not None
        assert written.folder is not None
        pdf, place = written.pdf, written.folder
        timed("verify the PDF", lambda: verify(pdf))
        timed("verify the folder, its PDF and HTML", lambda: verify(place))
        timed(
            "check.sh", lambda: subprocess.run(["sh", "check.sh"], cwd=place, check=True, capture_output=True)
        )
        show("PDF", pdf.stat().st_size / 1e6, "MB")
    show("largest resident size", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, "MB")


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
