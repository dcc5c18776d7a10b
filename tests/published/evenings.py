"""Evenings at places that were measured: what the program answered, and what then came.

The program hears the series plus one constant error of each sensor, drawn anew for each evening from the
class of the part. The truth is the series itself: each limit kept from the start until the film is set, with
a lot drawn from the resin's own spread.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge import checks, limits
from curewatch.advice.judge.answer import Verdict
from curewatch.advice.judge.course import AHEAD, course
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Surfaced, place
from curewatch.advice.judge.weather import dressed
from curewatch.materials import load_resin
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.forecast import Forecast
from curewatch.model.film.lots import STRATA, lots
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.shed.look import coming_hours
from tests.published.forecast_trials import Space, past_of, received
from tests.published.weather_years import HOUR

RESINS = ("epoxy-slow", "polyester-laminating")
BENCH, HULL = load_sensor_part("humidity-2"), load_sensor_part("probe")
STEP = 900.0
FIRST = 62 * 24  # hours of past before the first evening


class Evening(NamedTuple):
    """One answer and what came of it."""

    resin: str
    hours_before: int  # that it was asked
    told: float  # chance that every check holds until it sets
    go: bool
    came: bool


def evenings(
    space: Space,
    *,
    hour: int,
    every: int = 1,
    before: Sequence[int] = (0, 8),
    resins: Sequence[str] = RESINS,
    forecasts: Sequence[Forecast] = (),
    seed: int = 7,
) -> Iterator[Evening]:
    """Each so manieth evening at this hour (UTC), asked so many hours before. [h]"""
    noise = np.random.default_rng(seed)
    substrate = load_substrate("plywood")
    questions = {
        name: Question((one := load_resin(name)), limits.for_resin(one), substrate) for name in resins
    }
    clock = (space.time / HOUR).round().astype(int) % 24
    starts = np.flatnonzero(
        (clock == hour) & (np.arange(len(clock)) > FIRST) & (np.arange(len(clock)) < len(clock) - 50)
    )
    for start in starts[::every].tolist():
        wrong = noise.normal(size=4)
        lot = int(noise.integers(STRATA))
        came = {name: _came(space, start, one, lot) for name, one in questions.items()}
        for ago in before:
            known = heard(space, start - ago, wrong)
            kept = received(forecasts, known.at)
            outlook = coming_hours(replace(known, forecasts=tuple(kept)), substrate)
            for name, one in questions.items():
                said = ask(one, known, outlook, float(space.time[start]))
                yield Evening(name, ago, said.probability or 0.0, said.verdict is Verdict.GO, came[name])


def _came(space: Space, start: int, question: Question, lot: int) -> bool:
    """Whether every limit was truly kept until the film set."""
    time = space.time[start] + STEP * np.arange(int(AHEAD / STEP) + 1)
    air, dew, surface = (np.interp(time, space.time, series)[None] for series in space[1:4])
    there = dressed(time, air, surface, moist_air.saturation_pressure(np.minimum(dew, air)))
    chosen = [lots(question.resin, STRATA)[lot]]
    seen = course(question.resin, there, np.zeros(1, dtype=np.int64), chosen=chosen)
    return bool(checks.holds(seen, checks.lines(seen, question.limits))[0, 0])


def heard(space: Space, now: int, wrong: np.ndarray) -> Surfaced:
    """The situation at an hour as the sensors read it, each wrong by its own constant."""
    warm, hull = wrong[0] * BENCH.temperature_sd, wrong[2] * HULL.temperature_sd
    damp = wrong[1] * (BENCH.relative_humidity_sd or 0.0)
    part = slice(max(0, now - 60 * 24), now + 1)
    true = moist_air.relative_humidity(space.air[part], moist_air.saturation_pressure(space.dew_point[part]))
    air = space.air[part] + warm
    humidity = np.clip(true + damp, 0.02, 1.0)
    vapour = humidity * moist_air.saturation_pressure(air)
    past = past_of(space, now, sensor_outside=False)._replace(
        air_temperature=air, vapour_pressure=vapour, surface_temperature=space.surface[part] + hull
    )
    at = float(space.time[now])
    bench = Reading("bench", at - 60, at - 60, float(air[-1]), float(humidity[-1]))
    below = Place("hull", "surface", at - 60, float(space.surface[now] + hull), HULL.temperature_sd)
    return Surfaced(
        at=at,
        air=place(bench, "air", BENCH.temperature_sd, BENCH.relative_humidity_sd or 0.0),
        surface=below,
        past=past,
    )


class Reliability(NamedTuple):
    """Of the answers told with about the same chance."""

    low: float
    high: float
    count: int
    told: float  # mean
    came: float  # share
    standard_error: float  # of the share, if the chance told is right


def reliability(found: Sequence[Evening]) -> list[Reliability]:
    """By tenths of the chance told."""
    told = np.array([each.told for each in found])
    came = np.array([each.came for each in found])
    table = []
    for tenth in range(10):
        inside = (told >= tenth / 10) & ((told < (tenth + 1) / 10) | (tenth == 9))
        if inside.any():
            mean, count = float(told[inside].mean()), int(inside.sum())
            error = float(np.sqrt(max(mean * (1 - mean), 1e-4) / count))
            table.append(
                Reliability(tenth / 10, (tenth + 1) / 10, count, mean, float(came[inside].mean()), error)
            )
    return table


class Score(NamedTuple):
    """How the answers went."""

    count: int
    go: int
    false_go: float  # share of GOs on which a limit broke
    lost: float  # share of good evenings that were refused
    brier: float
    lost_by_the_rule: float  # share that would be refused if each chance told were exact
    false_by_the_rule: float  # share of GOs that would be false then


def score(found: Sequence[Evening]) -> Score:
    told = np.array([each.told for each in found])
    go, came = (np.array([getattr(each, key) for each in found]) for key in ("go", "came"))
    return Score(
        len(found),
        int(go.sum()),
        float((go & ~came).sum() / max(1, go.sum())),
        float((~go & came).sum() / max(1, came.sum())),
        float(np.mean(np.square(told - came))),
        float((told * ~go).sum() / max(1e-9, told.sum())),
        float(((1.0 - told) * go).sum() / max(1, go.sum())),
    )
