"""The outlook walked through measured weather: skill, and bands that hold what they say."""

import numpy as np
import pytest

from curewatch.model.air import error_paths, learned_paths, prospect
from curewatch.model.air.past import Past
from curewatch.model.air.surface import lagged_temperature
from curewatch.physics import moist_air
from tests.published.forecast_trials import Space, past_of, roof
from tests.published.weather_years import (
    HOUR,
    Skill,
    Weather,
    airport,
    ranked_probability_score,
    roof_space,
    typical_year,
    walk_forward,
)

AIR, DEW = 0, 1


@pytest.fixture(scope="module")
def newark() -> Skill:
    return walk_forward(airport("EWR"))


def report(name: str, skill: Skill) -> str:
    lines = [
        f"{name}: hours, error, persistence, yesterday [K], share in the 80 % band, CRPS, its persistence"
    ]
    for quantity, word in ((AIR, "air"), (DEW, "dew")):
        for hours in (1, 3, 6, 12, 24, 48, 72):
            values = [f"{part[quantity, hours - 1]:6.2f}" for part in skill]
            lines.append(f"  {word} {hours:3d} " + " ".join(values))
    return "\n".join(lines)


@pytest.mark.long
def test_air_temperature_is_told_as_well_as_asked(newark: Skill, record_property) -> None:
    """On EWR 2013 the error at 1, 3, 6, 12 h is at most 0.85, 1.7, 2.5, 3.35 K, below both plain guesses."""
    print(report("EWR", newark))
    found = (f"{newark.error[AIR, hours - 1]:.2f}" for hours in (1, 3, 6, 12))
    record_property("measured", f"{', '.join(found)} K at 1, 3, 6, 12 h")
    for hours, allowed in ((1, 0.85), (3, 1.7), (6, 2.5), (12, 3.35)):
        assert newark.error[AIR, hours - 1] <= allowed, hours
    assert np.all(newark.error[AIR] < newark.persistence[AIR])
    assert np.all(newark.error[AIR] < newark.yesterday[AIR])


@pytest.mark.long
def test_bands_hold_what_they_say(newark: Skill, record_property) -> None:
    """The 80 % band holds 76 to 84 % for air and for dew point, and no single hour strays far."""
    air, dew = 100 * newark.coverage.mean(axis=1)
    record_property("measured", f"{air:.0f} % of air, {dew:.0f} % of dew point")
    assert np.all(np.abs(newark.coverage.mean(axis=1) - 0.80) <= 0.04)
    assert np.all(np.abs(newark.coverage - 0.80) <= 0.05)
    for hours in (1, 3, 6, 12, 24, 48, 72):
        assert 0.76 <= newark.coverage[AIR, hours - 1] <= 0.84, hours


@pytest.mark.long
def test_dew_point_and_scores_beat_staying_as_it_is(newark: Skill, record_property) -> None:
    """Dew point beats persistence from 3 h on, and the whole distribution beats it at every horizon."""
    for hours in (3, 12):
        pairs = [
            f"{ours[which, hours - 1]:.2f}/{staying[which, hours - 1]:.2f}"
            for which, ours, staying in (
                (DEW, newark.error, newark.persistence),
                (AIR, newark.score, newark.persistence_score),
            )
        ]
        record_property("measured", f"{hours} h: dew point {pairs[0]}, CRPS of air {pairs[1]} K")
    assert np.all(newark.error[DEW, 2:] < newark.persistence[DEW, 2:])
    assert np.all(newark.error[DEW, :2] < 1.02 * newark.persistence[DEW, :2])
    assert np.all(newark.score < newark.persistence_score)


@pytest.mark.long
@pytest.mark.parametrize("name", ["703165TY.csv", "723170TYA.CSV", "12839.tm2"])
def test_other_climates_are_told_as_honestly(name: str, record_property) -> None:
    """Alaska, North Carolina, Florida: below both plain guesses up to 12 h, no worse after, honest bands.

    These years are put together from months of different years, so a day ahead there is little to gain
    over staying as it is in a climate as even as the Alaskan coast. So no hour may be worse by more than
    two standard errors of the paired difference, where starts within four days count as one. 72 hours of
    two quantities overlap, so all of them together are far fewer than 144 trials.
    """
    skill = walk_forward(typical_year(name), every=19)
    print(report(name, skill))
    at_six = f"{skill.error[AIR, 5]:.2f} K at 6 h, staying {skill.persistence[AIR, 5]:.2f}"
    record_property("measured", f"{name}: {at_six}")
    for plain in (skill.persistence, skill.yesterday):
        assert np.all(skill.error[AIR, :12] < plain[AIR, :12])
    assert np.all(skill.behind < 2)
    assert skill.behind.mean() < 0
    assert np.all(skill.score < skill.persistence_score)
    assert np.all(np.abs(skill.coverage.mean(axis=1) - 0.80) <= 0.04)


@pytest.mark.long
def test_a_stated_chance_of_a_dry_surface_is_how_often_it_came(record_property) -> None:
    """EWR's weather in a simulated shed: of the nights told dry with so many per cent, so many were dry.

    It never promises more than came; in the middle (told 20 to 50 %) it is more careful than it need be:
    seven in ten such nights stayed dry (told 0.36, came 0.71). That is a known gap after two weeks of past;
    after 60 days it is a third smaller. The bound is a true gap of 0.25 and two standard errors of a share;
    a night that is asked about for 12 and for 24 h counts once. The chance is that the surface keeps 3 K
    above the dew point for the whole of 12 or of 24 h; the margin's own 80 % band holds 76 to 84 %. Two weeks
    of past, a probe on a surface that lags two hours.
    """
    weather = airport("EWR")
    inside = lagged_temperature(weather.time, weather.temperature + 1.0, 3 * HOUR)
    vapour = lagged_temperature(weather.time, moist_air.saturation_pressure(weather.dew_point), 1.5 * HOUR)
    vapour = np.minimum(vapour, moist_air.saturation_pressure(inside))
    surface = lagged_temperature(weather.time, inside, 2 * HOUR)
    margin = surface - moist_air.dew_point(vapour)
    told, held = [], []
    for now in range(40 * 24, 340 * 24, 31):
        known = slice(now - 14 * 24, now + 1)
        unknown = np.full(14 * 24 + 1, np.nan)
        past = Past(weather.time[known], inside[known], vapour[known], surface[known], unknown, unknown)
        outlook = prospect.coming_hours(
            past, weather.time[now], inside[now], vapour[now], surface[now], length=72 * HOUR, step=HOUR
        )
        members = outlook.condensation_margin()[:, 1:]
        low, high = np.quantile(members, [0.1, 0.9], axis=0)
        came = margin[now + 1 : now + 73]
        held.append((came >= low) & (came <= high))
        told += [
            ((members[:, :hours] >= 3).all(axis=1).mean(), (came[:hours] >= 3).all()) for hours in (12, 24)
        ]
    assert 0.76 <= np.mean(held) <= 0.84
    chance, dry = np.array(told, dtype=float).T
    for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        some = (chance >= low) & (chance < high)
        print(f"told {chance[some].mean():.2f}, came {dry[some].mean():.2f} ({some.sum()} times)")
        record_property("measured", f"told {chance[some].mean():.0%}, came {dry[some].mean():.0%}")
        nights = len(np.unique(np.flatnonzero(some) // 2))
        sampling = 2 * np.sqrt(chance[some].mean() * (1 - chance[some].mean()) / nights)
        assert chance[some].mean() - dry[some].mean() < 0.05 + sampling, "it promised more than came"
        assert dry[some].mean() - chance[some].mean() < (0.25 if high < 0.9 else 0.05) + sampling


@pytest.mark.long
def test_means_of_days_help_after_a_day(monkeypatch: pytest.MonkeyPatch, record_property) -> None:
    """LGA: without the distance from its means of 3 and 10 days, air at 24 and 48 h is told 5 % worse."""
    weather = airport("LGA")
    part = Weather(*(series[: 250 * 24] for series in weather))
    told = walk_forward(part, first_day=62, every=97, horizon=48)
    monkeypatch.setattr(learned_paths, "MEANS", ())
    plain = walk_forward(part, first_day=62, every=97, horizon=48)
    pairs = [f"{plain.error[AIR, at - 1]:.2f} to {told.error[AIR, at - 1]:.2f}" for at in (24, 48)]
    record_property("measured", f"K at 24 and 48 h: {', '.join(pairs)}")
    for ahead in (24, 48):
        assert told.error[AIR, ahead - 1] < 0.95 * plain.error[AIR, ahead - 1]
    assert told.error[:, :12].mean() < 1.01 * plain.error[:, :12].mean()


@pytest.mark.long
def test_a_short_walk_beats_both_plain_guesses(record_property) -> None:
    """Two weeks of EWR in May, told six hours ahead: the default run's share of the long walk."""
    weather = airport("EWR")
    part = Weather(*(series[80 * 24 : 150 * 24] for series in weather))
    skill = walk_forward(part, first_day=54, every=5, horizon=12)
    plain = min(skill.persistence[AIR, 5], skill.yesterday[AIR, 5])
    record_property(
        "measured", f"6 h ahead {skill.error[AIR, 5]:.2f} K, the better plain guess {plain:.2f} K"
    )
    assert skill.error[AIR, 5] < 0.75 * skill.persistence[AIR, 5]
    assert skill.error[AIR, 5] < 0.75 * skill.yesterday[AIR, 5]
    assert 0.70 < skill.coverage[AIR].mean() < 0.90


@pytest.mark.parametrize(("table", "every"), [("roof_space_R2", 59), ("roof_space_R6", 29)])
@pytest.mark.long
def test_a_real_unheated_roof_space_is_told_better_than_staying(
    table: str, every: int, record_property
) -> None:
    """In a real unheated space the error of the air lies below staying as it is, and bands are honest.

    Of 160 starts the share in a band of R6 errs by 0.03, so it has more of them.
    """
    space = roof_space(table)
    part = Weather(*(series[100 * 24 : 380 * 24] for series in space))
    skill = walk_forward(part, every=every, horizon=24)
    at_six = f"{skill.error[AIR, 5]:.2f} K at 6 h, staying {skill.persistence[AIR, 5]:.2f}"
    held = 100 * skill.coverage.mean(axis=1)
    record_property("measured", f"{table}: {at_six}; bands hold {held[0]:.0f} and {held[1]:.0f} %")
    assert np.all(skill.error[AIR] < skill.persistence[AIR])
    assert np.all(skill.score[AIR] < skill.persistence_score[AIR])
    assert np.all(np.abs(skill.coverage.mean(axis=1) - 0.80) <= 0.04)


def test_the_score_is_zero_for_a_certain_truth_and_grows_with_the_miss() -> None:
    """The score of one sure member is its distance; of two members about the truth, less than that."""
    came = np.array([10.0])
    assert ranked_probability_score(np.array([[10.0]]), came) == pytest.approx(0.0)
    assert ranked_probability_score(np.array([[12.0]]), came) == pytest.approx(2.0)
    assert ranked_probability_score(np.array([[9.0], [11.0]]), came) == pytest.approx(0.5)


def lowest_scores(space: Space, every: int) -> tuple[float, float]:
    """CRPS of the lowest margin of the coming 20 h, and the truth's mean rank among the members."""
    margin = space.surface - space.dew_point
    scores, ranks = [], []
    for now in range(62 * 24, len(space.time) - 24, every):
        outlook = prospect.coming_hours(
            past_of(space, now, sensor_outside=False),
            float(space.time[now]),
            float(space.air[now]),
            float(moist_air.saturation_pressure(space.dew_point[now])),
            float(space.surface[now]),
            length=20 * HOUR,
            step=HOUR,
        )
        lowest = outlook.condensation_margin().min(axis=1)
        came = margin[now : now + 21].min()
        scores.append(ranked_probability_score(lowest, np.asarray(came)))
        ranks.append(np.mean(lowest < came - 1e-6) + 0.5 * np.mean(np.abs(lowest - came) <= 1e-6))
    return float(np.mean(scores)), float(np.mean(ranks))


@pytest.mark.long
@pytest.mark.parametrize("table", ["roof_space_R2", "roof_space_R6"])
def test_the_lowest_margin_of_a_night_is_told_better_by_like_nights(
    table: str, monkeypatch: pytest.MonkeyPatch, record_property
) -> None:
    """Lowest margin of 20 h in a roof space: CRPS 5 % lower than by errors drawn evenly and straight.

    That was the fault: each hour alone was right, and the lowest of a night was told too low. The control
    puts it back.
    """
    space = roof(table)
    score, rank = lowest_scores(space, every=97)
    monkeypatch.setattr(error_paths, "LIKE_NIGHT", 1e9)
    for name in ("on_scale", "from_scale"):
        monkeypatch.setattr(error_paths, name, np.asarray)
    before, before_rank = lowest_scores(space, every=97)
    record_property(
        "measured",
        f"{table}: CRPS {before:.3f} to {score:.3f} K, rank of the truth {before_rank:.2f} to {rank:.2f}",
    )
    assert score < 0.95 * before
    assert abs(rank - 0.5) < 0.05
