"""The user's own score: counted from what was seen, shown where it matters, and wider where it was bad."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.materials import load_resin
from curewatch.materials.resin import Covariance
from curewatch.model.film.ensemble import band, milestone_times
from curewatch.model.film.film import constant
from curewatch.model.fit.evidence import Evidence, as_plain, remembered
from curewatch.model.fit.learning import learn
from curewatch.model.fit.score import OWN, Deviation, scored, widened, widening
from curewatch.readings import Reading
from curewatch.shed import learnt

SLOW = load_resin("epoxy-slow")
Do = Callable[..., str]


def test_the_score_is_counted_by_hand() -> None:
    """Of fourteen: eleven within 1.28 standard deviations, two early, one late."""
    pulls = [0.3, -0.8, 1.1, -1.0, 0.2, 0.9, -0.4, 0.6, -1.2, 0.1, 1.0, -1.6, -1.9, 1.7]
    (found,) = scored(Deviation("gelled", each) for each in pulls)
    assert found == ("gelled", 14, 11, 2, 1)


def test_each_thing_seen_has_its_own_row_and_a_range_as_wide_as_told_then() -> None:
    """After four that contradict the next range is wider: 1.6 is within it, as it would not be at first."""
    early = [Deviation("gelled", 2.9)] * 4
    gelled, tack = scored([*early, Deviation("gelled", 1.6), Deviation("tack-free", -1.5)])
    assert gelled == ("gelled", 5, 1, 0, 4)
    assert tack == ("tack-free", 1, 1, 0, 0)
    assert scored([Deviation("gelled", 1.6)])[0].late == 1


@given(st.lists(st.floats(-50.0, 50.0), max_size=30))
def test_a_score_never_narrows(pulls: list[float]) -> None:
    assert widening(pulls) >= 1.0
    assert widening([*pulls, 0.0]) <= widening(pulls)


def test_what_contradicts_widens_the_more_the_farther_off_up_to_three() -> None:
    """By hand: one pull of 3 beside six that were right; a wrong hour, 20 deviations off, as much."""
    assert widening([3.0]) == pytest.approx(np.sqrt((OWN + 9.0) / (OWN + 1.0)))
    assert widening([2.7]) > widening([2.0]) > 1.0
    assert widening([-20.0]) == widening([1e6]) == widening([3.0])


@pytest.mark.long
def test_a_fitted_resin_is_widened_in_all_that_it_left_open() -> None:
    """Its covariance by the square; one and a half times as wide is so in a band of its gel time."""
    keys = ("kinetics.k1", "kinetics.k2")
    fitted = replace(SLOW, covariance=Covariance(keys, ((0.09, 0.09), (0.09, 0.09))), rate_sd=0.04)
    times = [milestone_times(each, constant(293.15, 2e5))["gel"] for each in (fitted, widened(fitted, 1.5))]
    narrow, wide = (np.log(float(band(each).late[0] / band(each).early[0])) for each in times)
    assert wide == pytest.approx(1.5 * narrow, rel=0.05)


def test_spreads_that_are_right_stay_and_those_half_as_wide_are_found() -> None:
    """Normal pulls of one standard deviation widen by less than 1.15 on average; of two by far more."""
    rng = np.random.default_rng(4)
    right = [widening(rng.normal(0.0, 1.0, 14)) for _ in range(300)]
    narrow = [widening(rng.normal(0.0, 2.0, 40)) for _ in range(300)]
    assert np.mean(right) < 1.15
    assert np.mean(narrow) > 1.4


@pytest.fixture
def do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Do:
    """A warm shed in whose logbook five layers gelled: three as told, two much too early."""
    path = tmp_path / "log.db"
    file = tmp_path / "curewatch.toml"
    file.write_text(
        f'[logbook]\npath = "{path}"\n[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc
    with Logbook(path) as logbook:
        at = np.arange(now - 7200.0, now, 60.0).tolist()
        logbook.append([Reading(name, each, each, 295.15, 0.35) for each in at for name in ("bench", "hull")])
        expected = learn(SLOW, Evidence("gelled", 1e4, constant(295.15, 1e6))).expected
        for number, share in enumerate((1.05, 0.95, 1.1, 0.52, 0.55), start=1):
            seen = Evidence("gelled", share * expected, constant(295.15, 1e6), layer=f"L{number}")
            told = {"layer": f"L{number}", "resin": "epoxy-slow", "lot": None, "at": now - 60.0}
            payload = {**as_plain(seen), "memory": remembered(learn(SLOW, seen).memory), **told}
            logbook.write(Entry(EntryKind.OBSERVATION, payload, now - 60.0))

    def call(*arguments: str) -> str:
        with pytest.raises(SystemExit):
            run(list(arguments))
        return capsys.readouterr().out

    return call


@pytest.mark.long
def test_it_stands_on_resin_show_and_tonight_and_widens_what_is_told(do: Do, tmp_path: Path) -> None:
    """In words, in JSON, and as a wider range; never on the first screen."""
    words = "of 5 layers here, 3 gelled within the range told; 2 early"
    assert words in do("resin", "show", "epoxy-slow")
    assert words in do("tonight", "--why")
    assert words not in do("tonight")
    shown = json.loads(do("resin", "show", "epoxy-slow", "--json"))
    (score,) = shown["score"]
    assert (score["layers"], score["within"], score["early"], score["late"]) == (5, 3, 2, 0)
    assert shown["spread_ratio"] > 1.1
    with Logbook(tmp_path / "log.db", read_only=True) as logbook:
        raw, told = learnt.resin_of_lot(logbook, SLOW, None), learnt.told_resin(logbook, SLOW, None)
    assert told.rate_sd == pytest.approx(shown["spread_ratio"] * raw.rate_sd, rel=1e-3)
    assert json.loads(do("resin", "show", "epoxy-fast", "--json"))["score"] == []
