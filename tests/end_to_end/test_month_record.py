"""A job of thirty days, three sensors, a reading a minute each: written, verified here and by shell."""

from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from curewatch.record.examination import verify
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.benchmarks.bench_record import fill
from tests.record_attacks import shell_check


@pytest.mark.long
def test_a_month_at_a_minute(tmp_path: Path):
    """Every reading of the job is in the record, and both checks hold."""
    fill(tmp_path / "logbook.sqlite", 30.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 40 * DAY)
    assert written.readings == 3 * 31 * 1440  # with the day before the job, which the rule sets ask for
    assert written.pdf is not None
    assert written.folder is not None
    for made in (written.pdf, written.folder):
        assert verify(made, code=written.seal.code).readings == written.readings
    done = shell_check(written.folder, written.seal.code)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"{written.readings} readings" in done.stdout
