"""Each way a sensor can lie or fall silent is told from a healthy one."""

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.logbook import Series
from curewatch.readings import Flag, Reading
from curewatch.shed import health
from curewatch.shed.health import Health, Track
from curewatch.shed.neighbours import compare
from curewatch.shed.tracing import trace
from curewatch.wording import plain_wording
from tests.published.published_rows import rows

START = 1_790_000_000.0
MINUTE = 60.0
HOUR = 3600.0


def _reading(
    minute: float, temperature: float | None, humidity: float | None = 0.7, flags: int = 0
) -> Reading:
    at = START + minute * MINUTE
    return Reading("bench", at, at, temperature, humidity, flags=flags)


def _track(
    minutes: int, temperature=lambda m: 285.0 + 0.01 * (m % 7), humidity=lambda m: 0.7, flags=lambda m: 0
):  # type: ignore[no-untyped-def]
    track = Track()
    for minute in range(minutes):
        track = health.step(track, _reading(minute, temperature(minute), humidity(minute), flags(minute)))
    return track


def _health(track: Track, minute: float) -> Health:
    return health.judge("bench", track, START + minute * MINUTE, MINUTE).health


def test_a_living_sensor_is_fresh_then_late_then_silent() -> None:
    """The state follows the age of the last report, in that order, at the stated multiples."""
    track = _track(60)
    assert _health(track, 60) is Health.FRESH
    assert _health(track, 59 + 3.1) is Health.LATE
    assert _health(track, 59 + 10.1) is Health.SILENT
    assert _health(Track(), 0) is Health.NEVER


def test_a_stuck_sensor_alone_and_beside_a_moving_one() -> None:
    """Alone four hours of the very same value are needed; beside a moving neighbour ninety minutes."""
    stuck = _track(100, temperature=lambda m: 285.0)
    assert _health(stuck, 100) is Health.FRESH
    still = _track(100)
    moving = _track(100, temperature=lambda m: 285.0 + 2.0 * m / 100)
    now = START + 100 * MINUTE
    assert compare({"bench": stuck, "hull": still}, {}, now) == {}
    found = compare({"bench": stuck, "hull": moving}, {}, now)
    assert {name: each.health for name, each in found.items()} == {"bench": Health.STUCK}
    assert _health(_track(245, temperature=lambda m: 285.0), 245) is Health.STUCK


@pytest.mark.parametrize(
    ("humidity", "moved", "flags", "found"),
    [
        (0.523, 2.0, 0, Health.STUCK),
        (0.523, 0.9, 0, Health.FRESH),
        (0.52, 2.0, 0, Health.FRESH),  # a chip of whole per cents stands still for longer
        (0.52, 3.5, 0, Health.STUCK),
        (0.523, 2.0, Flag.CORRECTED, Health.FRESH),  # of a whole per cent, perhaps
        (None, 3.5, 0, Health.FRESH),
    ],
)
def test_a_humidity_that_stands_still_while_its_temperature_moves_is_stuck(
    humidity: float | None, moved: float, flags: int, found: Health
) -> None:
    """At one humidity for four hours the air would have gained or lost vapour as its warmth moved."""

    def track(minutes: int, said=lambda m: humidity) -> Track:  # type: ignore[no-untyped-def]
        return _track(minutes, lambda m: 285.0 + moved * m / 240, said, lambda m: flags)

    assert _health(track(245), 245) is found
    assert _health(track(235), 235) is Health.FRESH  # not so long
    moves = track(245, lambda m: humidity and humidity + 0.01 * (m == 100))
    assert _health(moves, 245) is Health.FRESH
    if found is Health.STUCK:
        told = health.judge("bench", track(245), START + 245 * MINUTE, MINUTE).reason
        assert plain_wording().say(told) == (
            f"the very same humidity for 4.1 h while its temperature moved {moved * 244 / 240:.1f} °C"
        )


@pytest.mark.parametrize(
    ("warm", "moved", "flags", "found"),
    [
        (285.27, 0.09, 0, Health.STUCK),
        (285.27, 0.07, 0, Health.FRESH),
        (285.15, 0.19, 0, Health.FRESH),  # 12 °C: a chip of whole or half degrees stands still for longer
        (285.65, 0.19, 0, Health.FRESH),
        (285.372, 0.19, 0, Health.FRESH),  # 54 °F as a logbook keeps it
        (285.15, 0.21, 0, Health.STUCK),
        (285.27, 0.09, Flag.CORRECTED, Health.STUCK),  # only a humidity is corrected
        (None, 0.21, 0, Health.FRESH),
    ],
)
def test_a_temperature_that_stands_still_while_its_humidity_moves_is_stuck(
    warm: float | None, moved: float, flags: int, found: Health
) -> None:
    """A register stuck low passes damp air off as dry."""

    def track(minutes: int, said=lambda m: warm, damp=lambda m: 0.503 + moved * m / 240) -> Track:  # type: ignore[no-untyped-def]
        return _track(minutes, said, damp, lambda m: flags)

    assert _health(track(245), 245) is found
    assert _health(track(235), 235) is Health.FRESH  # not so long
    assert _health(track(245, lambda m: warm and warm + 0.1 * (m == 100)), 245) is Health.FRESH
    if found is Health.STUCK:
        told = health.judge("bench", track(245), START + 245 * MINUTE, MINUTE).reason
        assert plain_wording().say(told) == (
            f"the very same temperature for 4.1 h while its humidity moved {100 * moved * 244 / 240:.0f} %"
        )


@pytest.mark.long
@pytest.mark.parametrize("space", ["R2", "R6"])
def test_in_a_real_roof_space_nothing_stands_still_while_the_other_quantity_moves(space: str) -> None:
    """By the hour, each word repeated: of tenths none is called stuck, of whole ones less than 1 in 500.

    The controls are the same air with one quantity held for seven: most of what moved enough is found.
    """
    hours = [
        (float(row["temperature_c"]), float(row["humidity_percent"]))
        for row in rows(f"roof_space_{space}")
        if row["temperature_c"] and row["humidity_percent"]
    ]
    first = [n - n % 7 for n in range(len(hours))]
    assert _stuck_hours([(round(warm, 1), damp) for warm, damp in hours]) == 0
    assert _stuck_hours([(warm, round(damp)) for warm, damp in hours]) < len(hours) / 500
    assert _stuck_hours([(round(warm), damp) for warm, damp in hours]) < len(hours) / 500
    damp_held = [(warm, hours[n][1] + 0.01) for n, (warm, _) in zip(first, hours, strict=True)]
    warm_held = [(hours[n][0], damp) for n, (_, damp) in zip(first, hours, strict=True)]
    assert _stuck_hours(damp_held) > len(hours) / 20
    assert _stuck_hours(warm_held) > len(hours) / 10


def _stuck_hours(hours: list[tuple[float, float]]) -> int:
    """How many of these hours the rules call stuck: temperatures [°C] and humidities [%]."""
    track, found = Track(), 0
    for hour, (warm, damp) in enumerate(hours):
        for minute in range(0, 60, 10):
            track = health.step(track, _reading(hour * 60 + minute, warm + 273.15, damp / 100.0))
        told = health.judge("attic", track, START + (hour * 60 + 50) * MINUTE, 10 * MINUTE)
        found += told.health is Health.STUCK and track.unchanged_count < 24
    return found


def test_a_wet_chip_is_saturated() -> None:
    """An hour at 100 per cent is a state of its own; a minute below ends it."""
    assert _health(_track(62, humidity=lambda m: 1.0), 62) is Health.SATURATED
    assert _health(_track(62, humidity=lambda m: 1.0 if m < 61 else 0.99), 62) is Health.FRESH


def test_three_jumps_are_a_fault_and_one_is_a_door() -> None:
    """The plausibility check marks jumps; three of them within half an hour condemn the sensor."""
    assert _health(_track(30, flags=lambda m: Flag.JUMP if m == 20 else 0), 30) is Health.FRESH
    assert _health(_track(30, flags=lambda m: Flag.JUMP if m in {10, 15, 20} else 0), 30) is Health.JUMPING
    assert _health(_track(90, flags=lambda m: Flag.JUMP if m in {10, 15, 20} else 0), 90) is Health.FRESH


def test_two_sensors_of_one_role_must_agree() -> None:
    """Three kelvin, or twelve per cent of humidity, are more than two such chips can differ by."""
    a = _track(30)
    b = _track(30, temperature=lambda m: 288.5 + 0.01 * (m % 5))
    wet = _track(30, humidity=lambda m: 0.85)
    now = START + 30 * MINUTE
    both = {"bench": "air", "beam": "air"}
    assert set(compare({"bench": a, "beam": b}, both, now)) == {"bench", "beam"}
    assert set(compare({"bench": a, "beam": wet}, both, now)) == {"bench", "beam"}
    assert compare({"bench": a, "beam": b}, {"bench": "air", "beam": "surface"}, now) == {}
    assert compare({"bench": a, "beam": b}, {"bench": "air", "beam": "outside"}, now) == {}


def test_exchanged_plugs_are_noticed() -> None:
    """Each jumps to where the other had been; a heater that warms both is not that."""

    def course(low: float, high: float, change: int):  # type: ignore[no-untyped-def]
        return lambda m: (low if m < change else high) + 0.02 * math.sin(m)

    bench, hull = _track(60, course(290.0, 284.0, 40)), _track(60, course(284.0, 290.0, 40))
    now = START + 60 * MINUTE
    found = compare({"bench": bench, "hull": hull}, {}, now)
    assert {each.health for each in found.values()} == {Health.SWAPPED}
    assert "where hull had been" in plain_wording().say(found["bench"].reason)
    heated = _track(60, course(284.0, 290.0, 40))
    assert compare({"bench": heated, "hull": _track(60, course(283.0, 289.0, 40))}, {}, now) == {}
    assert compare({"bench": bench, "hull": hull}, {}, now + 13 * HOUR) == {}


def test_a_track_is_bounded_and_keeps_its_order() -> None:
    """A week of minutes leaves at most the stated number of points; a late reading changes nothing."""
    track = _track(7 * 1440)
    assert len(track.points) == health.LONGEST
    assert [p.time for p in track.points] == sorted(p.time for p in track.points)
    assert health.step(track, _reading(5, 300.0))._replace(behind=None) == track


@pytest.mark.parametrize("temperature", [None, 285.0])
def test_a_sensor_without_one_quantity_is_judged_by_the_other(temperature: float | None) -> None:
    """A probe without humidity and a hygrometer without temperature both have a health."""
    track = health.step(Track(), _reading(0, temperature, None if temperature else 0.6))
    assert _health(track, 1) is Health.FRESH


def test_a_sensor_that_comes_seldom_stays_late() -> None:
    """Every fifth report only: late all along, not fresh for a minute after each of them."""
    track = Track()
    for minute in range(0, 60, 5):
        track = health.step(track, _reading(minute, 285.0 + minute))
    assert {_health(track, minute) for minute in (55.1, 57.0, 59.0)} == {Health.LATE}
    for minute in (56.0, 57.0):
        track = health.step(track, _reading(minute, 285.0))
    assert _health(track, 57.5) is Health.FRESH
    after_a_gap = health.step(_track(3), _reading(40, 285.0))
    assert _health(after_a_gap, 40.5) is Health.FRESH


def test_a_sensor_that_is_ill_itself_accuses_nobody() -> None:
    """Beside a jumping, stuck or saturated sensor the healthy one stays fresh."""
    now = START + 100 * MINUTE
    healthy = _track(100, temperature=lambda m: 285.0 + 4.0 * m / 100)
    jumping = _track(
        100, temperature=lambda m: 285.0 + 8.0 * (m % 2), flags=lambda m: Flag.JUMP if m > 90 else 0
    )
    stuck = _track(100, temperature=lambda m: 285.0)
    saturated = _track(100, temperature=lambda m: 285.0 + 4.0 * m / 100, humidity=lambda m: 1.0)
    both = {"bench": "air", "spare": "air"}
    assert set(compare({"bench": jumping, "spare": healthy}, both, now)) <= {"bench"}
    assert set(compare({"bench": saturated, "spare": healthy}, both, now)) <= {"bench"}
    found = compare({"bench": stuck, "spare": healthy}, both, now)
    assert {name: each.health for name, each in found.items()} == {"bench": Health.STUCK}


def test_a_sensor_whose_clock_was_set_back_is_said_to_speak() -> None:
    """It is silent by its stamps, and not by its cable: what is seen says which."""
    track = _track(60)
    for minute in range(60, 80):
        late = _reading(minute - 90, 285.0)._replace(received=START + minute * MINUTE)
        track = health.step(track, late)
    judged = health.judge("bench", track, START + 80 * MINUTE, MINUTE)
    assert judged.health is Health.SILENT
    assert judged.reason == "it reports, but its stamps lie 1.5 h behind this machine's clock"
    later = health.judge("bench", track, START + 120 * MINUTE, MINUTE)
    assert later.reason == "nothing for 61 min"


KNOWN = st.one_of(st.none(), st.sampled_from([283.0, 285.0, 285.0, 288.5]))
SPOKEN = st.tuples(
    st.sampled_from([0.0, 20.0, 60.0, 130.0, 4000.0]),
    KNOWN,
    st.one_of(st.none(), st.sampled_from([0.7, 0.7, 0.996, 1.0])),
    st.sampled_from([0, 0, int(Flag.JUMP)]),
)


@pytest.mark.long
@given(st.lists(SPOKEN, min_size=1, max_size=60), st.sampled_from(["whole", "warm", "damp", "as it comes"]))
def test_a_track_traced_at_once_is_the_one_stepped(words: list[Any], kind: str) -> None:
    """Whatever a sensor said, in whole reports or in halves: point for point, and the same last word."""
    at, readings = START, []
    for after, warm, damp, flags in words:
        at += after
        temperature = None if kind == "damp" else warm or (285.0 if kind == "whole" else None)
        humidity = None if kind == "warm" else damp or (0.7 if kind == "whole" else None)
        readings.append(Reading("bench", at, at + 1.0, temperature, humidity, flags=flags))
    stepped = Track()
    for reading in readings:
        stepped = health.step(stepped, reading)
    columns = {
        name: np.array([getattr(one, name) for one in readings], dtype=float)
        for name in ("temperature", "relative_humidity", "carbon_dioxide")
    }
    found = Series(
        np.array([one.time for one in readings]),
        np.array([one.received for one in readings]),
        np.array([one.flags for one in readings], np.uint16),
        np.zeros(len(readings), np.int64),
        columns,
    )
    assert trace("bench", found) == (stepped, readings[-1])


def test_many_sensors_tell_what_each_pair_of_them_tells() -> None:
    """Of forty sensors, some stuck, some swapped, one apart, the same are found as two by two."""
    tracks = {
        f"s{n}": _track(120, temperature=lambda m, n=n: 285.0 + 0.01 * ((m + n) % 7) + 0.02 * n)
        for n in range(30)
    }
    tracks |= {f"stuck{n}": _track(120, temperature=lambda m: 285.0) for n in range(5)}
    tracks["moving"] = _track(120, temperature=lambda m: 284.0 + 2.5 * m / 120)
    tracks["far"] = _track(120, temperature=lambda m: 294.0 + 0.01 * (m % 5))
    tracks["one"] = _track(120, temperature=lambda m: (290.0 if m < 100 else 284.0) + 0.02 * math.sin(m))
    tracks["two"] = _track(120, temperature=lambda m: (284.0 if m < 100 else 290.0) + 0.02 * math.sin(m))
    roles = {name: "air" for name in tracks if name not in {"one", "two"}}
    now = START + 120 * MINUTE
    together = {name: each.health for name, each in compare(tracks, roles, now).items()}
    pairs: dict[str, set[Health]] = {}
    for one, other in combinations(tracks, 2):
        for name, each in compare({one: tracks[one], other: tracks[other]}, roles, now).items():
            pairs.setdefault(name, set()).add(each.health)
    assert {name for name, each in together.items() if each is Health.STUCK} == {
        f"stuck{n}" for n in range(5)
    }
    assert together["one"] is together["two"] is Health.SWAPPED
    assert together["far"] is Health.DISAGREEING
    assert set(together) == set(pairs)
    assert all(each in pairs[name] for name, each in together.items())
