"""Forecasts in the JSON that weather services document, and what a bad one is told.

The forms, abridged to what counts, values made up:

- GeoJSON timeseries: Norwegian Meteorological Institute, "General point forecast JSON format"
  (api.met.no/doc/ForecastJSON).
- ISO 8601 intervals: US National Weather Service, "Gridpoint Frequently Asked Questions"
  (weather-gov.github.io/api/gridpoints). List of periods: its API documentation, "forecast/hourly".
- arrays: documentation of the Open-Meteo forecast API, "JSON Return Object", from memory.
"""

import json
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curewatch.answers.forecast import forecast_document
from curewatch.cli.screens.forecast import lines
from curewatch.clock import iso_utc
from curewatch.errors import UsageError
from curewatch.shed import forecasts
from curewatch.wire.forecast_forms import foretold
from curewatch.wording import Wording
from tests.examples import up_to

HOUR, NOW = 3600.0, 1_764_000_000.0
HOURS = list(range(-1, 13))


def at(hours: float, zone: Any = UTC) -> datetime:
    return datetime.fromtimestamp(NOW + HOUR * hours, zone)


def timeseries(issued: float = -2.0, units: bool = True) -> dict[str, Any]:
    """Hourly to 6 h, then six-hourly."""
    steps = [*range(-1, 7), 12, 18]
    named = {"air_temperature": "celsius", "relative_humidity": "%"}
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [10.75, 59.91, 12]},
        "properties": {
            "meta": {"updated_at": iso_utc(NOW + HOUR * issued), "units": named if units else {}},
            "timeseries": [
                {
                    "time": iso_utc(NOW + HOUR * step),
                    "data": {
                        "instant": {"details": {"air_temperature": 5.0 + step, "relative_humidity": 80.0}},
                        "next_1_hours": {"summary": {"symbol_code": "rain"}},
                    },
                }
                for step in steps
            ],
        },
    }


def arrays(offset: int = 3600) -> dict[str, Any]:
    local = [(at(hour) + timedelta(seconds=offset)).strftime("%Y-%m-%dT%H:%M") for hour in HOURS]
    return {
        "latitude": 59.91,
        "longitude": 10.75,
        "utc_offset_seconds": offset,
        "hourly_units": {"time": "iso8601", "temperature_2m": "°F", "relative_humidity_2m": "%"},
        "hourly": {
            "time": local,
            "temperature_2m": [32.0 + 1.8 * (5.0 + hour) for hour in HOURS],
            "relative_humidity_2m": [80 for _ in HOURS],
        },
    }


def intervals() -> dict[str, Any]:
    """Temperature by the hour, humidity for stretches of five hours."""
    return {
        "geometry": {"type": "Polygon", "coordinates": [[[10.7, 59.9], [10.8, 59.9], [10.8, 60.0]]]},
        "properties": {
            "updateTime": at(-2).isoformat(),
            "temperature": {
                "uom": "wmoUnit:degC",
                "values": [
                    {"validTime": f"{at(hour).isoformat()}/PT1H", "value": 5.0 + hour} for hour in HOURS
                ],
            },
            "relativeHumidity": {
                "uom": "wmoUnit:percent",
                "values": [
                    {"validTime": f"{at(hour).isoformat()}/PT5H", "value": 80} for hour in range(-1, 13, 5)
                ],
            },
        },
    }


def periods() -> dict[str, Any]:
    return {
        "properties": {
            "generatedAt": at(-2).isoformat(),
            "periods": [
                {
                    "startTime": at(hour, ZoneInfo("America/New_York")).isoformat(),
                    "temperature": 41 + 1.8 * hour,
                    "temperatureUnit": "F",
                    "relativeHumidity": {"unitCode": "wmoUnit:percent", "value": 80},
                }
                for hour in HOURS
            ],
        }
    }


def headless() -> bytes:
    return "".join(f"{iso_utc(NOW + HOUR * hour)},{5.0 + hour},80\n" for hour in HOURS).encode()


FORMS = {
    "GeoJSON timeseries": timeseries(),
    "arrays beside a list of times": arrays(),
    "values with ISO 8601 intervals": intervals(),
    "list of periods": periods(),
}


def packed(document: Any) -> bytes:
    return json.dumps(document).encode()


@pytest.mark.parametrize("form", FORMS)
def test_each_form_is_the_same_forecast(form: str) -> None:
    """Degrees, per cent, offsets and holds come out alike: (5 + hour) degC and 80 % at each hour."""
    fed = forecasts.from_bytes(packed(FORMS[form]), NOW)
    assert fed.form == form
    ahead = (fed.forecast.time - NOW) / HOUR
    assert np.allclose(fed.forecast.temperature, 278.15 + ahead)
    damp = fed.forecast.vapour_pressure / np.array([_saturation(t) for t in fed.forecast.temperature])
    assert np.allclose(damp, 0.80, atol=1e-3)
    assert ahead[0] == -1
    assert ahead[-1] >= 12


def _saturation(temperature: float) -> float:
    from curewatch.physics import moist_air

    return float(moist_air.saturation_pressure(temperature))


def test_it_says_what_it_understood() -> None:
    """Span, step, issue time, place and quantities, each once."""
    fed = forecasts.from_bytes(packed(timeseries()), NOW)
    assert fed.forecast.issued == NOW - 2 * HOUR
    said = "\n".join(lines(forecast_document([fed.forecast], NOW, fed), NOW, Wording()))
    for part in (
        "air temperature and relative humidity, GeoJSON timeseries",
        "step 1 h, at the end 6 h",
        "issued 2 h ago",
        "latitude 59.91, longitude 10.75",
        "10 moments",
    ):
        assert part in said
    unstated = forecasts.from_bytes(packed(arrays()), NOW)
    assert unstated.forecast.issued == NOW
    said = "\n".join(lines(forecast_document([unstated.forecast], NOW, unstated), NOW, Wording()))
    assert "its issue time is not stated" in said


def test_csv_without_a_header_is_time_temperature_humidity() -> None:
    """The first column is a time, so no header is needed; with a byte order mark, too."""
    for data in (headless(), b"\xef\xbb\xbf" + headless()):
        fed = forecasts.from_bytes(data, NOW)
        assert fed.form == "CSV without a header"
        assert len(fed.forecast.time) == len(HOURS)
        assert fed.forecast.temperature[0] == pytest.approx(277.15)


def test_half_null_keeps_what_is_whole_and_says_so() -> None:
    """A moment without humidity is left out, counted, and never filled."""
    document = arrays()
    document["hourly"]["relative_humidity_2m"][::2] = [None] * 7
    fed = forecasts.from_bytes(packed(document), NOW)
    assert len(fed.forecast.time) == 7
    assert fed.left_out == 7
    said = "\n".join(lines(forecast_document([fed.forecast], NOW, fed), NOW, Wording()))
    assert "7 moments left out" in said
    document["hourly"]["relative_humidity_2m"] = [None] * 14
    with pytest.raises(UsageError, match=r"found 0 moments .* and 14 that lack one of them"):
        forecasts.from_bytes(packed(document), NOW)


@pytest.mark.parametrize("form", FORMS)
def test_what_lies_in_the_past_is_refused(form: str) -> None:
    """A week later its last moment is past: said, with no traceback."""
    with pytest.raises(UsageError, match="h ago"):
        forecasts.from_bytes(packed(FORMS[form]), NOW + 168 * HOUR)


def test_a_stale_one_keeps_its_age_and_a_future_issue_counts_as_now() -> None:
    """Its error grows with age; a clock ahead of ours gains nothing."""
    old = forecasts.from_bytes(packed(timeseries(issued=-30.0)), NOW)
    assert old.forecast.issued == NOW - 30 * HOUR
    said = "\n".join(lines(forecast_document([old.forecast], NOW, old), NOW, Wording()))
    assert "issued 30 h ago. An old one errs more" in said
    assert forecasts.from_bytes(packed(timeseries(issued=+5.0)), NOW).forecast.issued == NOW


def test_an_unknown_unit_is_no_temperature() -> None:
    """A value in a unit of something else is missing, not taken as degrees."""
    document = timeseries()
    document["properties"]["meta"]["units"]["air_temperature"] = "hPa"
    with pytest.raises(UsageError, match="found 0 moments"):
        forecasts.from_bytes(packed(document), NOW)


def test_the_distance_of_two_places() -> None:
    """A degree of latitude is 111.2 km (a great circle is 40,030 km on a sphere of 6,371 km)."""
    assert forecasts.far_away((60.0, 5.0), (59.0, 5.0)) == pytest.approx(111.2e3, rel=1e-3)
    assert forecasts.far_away((0.0, 179.5), (0.0, -179.5)) == pytest.approx(111.2e3, rel=1e-3)


scraps = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where something stands in a document."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [path, *(each for key, value in inner for each in places(value, (*path, key)))]


@pytest.mark.long
@given(st.data(), st.sampled_from(sorted(FORMS)))
@settings(max_examples=up_to(60))
def test_no_damage_raises(data: st.DataObject, form: str) -> None:
    """Anything put in the place of anything: a forecast, or a sentence; never a traceback."""
    document = json.loads(json.dumps(FORMS[form]))
    path = data.draw(st.sampled_from(places(document)[1:]))
    node = document
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = data.draw(scraps)
    damaged = packed(document)
    foretold(damaged)
    try:
        fed = forecasts.from_bytes(damaged, NOW)
    except UsageError:
        return
    assert fed.forecast.issued <= NOW
    assert np.isfinite(fed.forecast.temperature).all()
