"""Finish: what a shed reaches, what a post-cure brings, what a part stands in the sun."""

import json
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.cli.main import run
from curewatch.materials import Resin, load_resin, resin_names
from curewatch.model.film.film import constant, cure
from curewatch.model.film.finish import MARGIN, finish, lower_band, reachable
from curewatch.physics.glass_transition import glass_transition
from tests.examples import up_to

SLOW = load_resin("epoxy-slow")


def stated(resin: Resin) -> Resin:
    """The same resin, of a maker whose sheet states the highest glass transition that ours reckons with."""
    return replace(resin, network=replace(resin.network, stated=resin.network.full))


TOLD = stated(SLOW)


@given(st.floats(0.0, 30.0), st.floats(1.0, 20.0))
@settings(max_examples=up_to(20), deadline=None)
def test_a_warmer_shed_never_reaches_a_lower_glass_transition(celsius: float, warmer: float) -> None:
    """Two weeks at a higher temperature end at a higher glass transition, up to the highest there is."""
    cold, warm = (reachable(SLOW, 273.15 + at) for at in (celsius, celsius + warmer))
    assert cold <= warm <= SLOW.network.full


def test_a_cold_film_ends_a_little_above_its_own_temperature() -> None:
    """At 8 degC it stops some 15 to 50 K above, far from its highest."""
    found = reachable(SLOW, 281.15)
    assert 15.0 < found - 281.15 < 50.0
    assert found < SLOW.network.full - 20.0


def test_service_needs_its_margin_below_the_glass_transition() -> None:
    """Just the margin stands it, a kelvin less does not; a post-cure lifts what it can."""
    done = cure(SLOW, constant(288.15, 3 * 86400.0))
    found = finish(TOLD, done)
    transition = found.least
    service = found.stands[0].service
    asked = (transition - MARGIN, transition - MARGIN + 1.0, SLOW.network.full)
    at_margin, too_hot, hopeless = (service._replace(temperature=kelvin) for kelvin in asked)
    stands = finish(TOLD, done, [at_margin, too_hot, hopeless]).stands
    assert [each.now for each in stands] == [True, False, False]
    assert [each.finished for each in stands] == [True, True, False]


@given(st.sampled_from(["epoxy-slow", "epoxy-fast", "polyester-laminating"]), st.floats(2.0, 30.0))
@settings(max_examples=up_to(12), deadline=None)
def test_the_film_that_stalls_early_is_the_lower_bound(name: str, celsius: float) -> None:
    """Now and in two weeks it lies below the likely one, by several kelvin once there is glass."""
    resin = stated(load_resin(name))
    found = finish(resin, cure(resin, constant(celsius + 273.15, 3 * 86400.0)))
    assert found.least <= found.glass_transition <= found.reachable
    assert found.least <= found.reachable_least < found.reachable
    if found.least > celsius + 273.15 + 20.0:
        assert found.glass_transition - found.least > 3.0
    assert found.stands
    assert all(each.spare == found.least - each.service.temperature for each in found.stands)


def test_a_history_that_was_half_inhibited_is_walked_again_from_its_beginning() -> None:
    """A film that began with conversion keeps it in the lower band, whose network is a softer one."""
    begun, net = cure(SLOW, constant(278.15, 3600.0), conversion=0.5), lower_band(SLOW).network
    expected = glass_transition(begun.conversion[-1], net.uncured, net.full, net.shape)
    assert finish(SLOW, begun).least == pytest.approx(float(expected), abs=0.5)


def test_a_network_that_is_finished_needs_nothing() -> None:
    """A film held at 80 degC for a day is called finished."""
    found = finish(TOLD, cure(TOLD, constant(353.15, 86400.0)))
    assert found.finished


@pytest.mark.parametrize("name", resin_names())
def test_without_a_sheet_that_states_one_nothing_is_judged(name: str) -> None:
    """No archetype knows its highest glass transition: neither a service nor a post-cure is promised."""
    resin = load_resin(name)
    found = finish(resin, cure(resin, constant(293.15, 3 * 86400.0)))
    assert (found.stands, found.post_cures, found.wanted, found.finished) == ((), (), None, None)


def test_a_post_cure_never_aims_above_what_the_sheet_states() -> None:
    """A sheet that states 55 degC is not bettered by the archetype's 85."""
    modest = replace(SLOW, network=replace(SLOW.network, stated=328.15))
    assert finish(modest, cure(modest, constant(293.15, 86400.0))).wanted == pytest.approx(328.15)


def sheet(folder: Path, *, transition: bool) -> str:
    """The example sheet fitted by the command, with or without what it states of glass transition."""
    text = resources.files("curewatch.materials").joinpath("sheets/example.toml").read_text()
    folder.joinpath("sheet.toml").write_text(text if transition else text.split("[[glass_transition]]")[0])
    with pytest.raises(SystemExit):
        run(["resin", "fit", str(folder / "sheet.toml"), "--output", str(folder / "mine.toml")])
    return str(folder / "mine.toml")


@pytest.mark.long
def test_a_sheet_with_times_only_says_nothing_of_service(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command says that it is not known, and why; a table of resins leaves it out."""
    mine = sheet(tmp_path, transition=False)
    capsys.readouterr()
    asked = ["cure", "--resin", mine, "--temperature", "10", "--hours", "72"]
    with pytest.raises(SystemExit):
        run([*asked, "--why"])
    shown = " ".join(capsys.readouterr().out.split())
    assert "not known, because no maker's sheet states a glass transition" in shown
    for promise in ("stands it", "may soften", "A post-cure to", "no post-cure is needed"):
        assert promise not in shown
    with pytest.raises(SystemExit):
        run([*asked, "--json"])
    said = json.loads(capsys.readouterr().out)["finish"]
    assert (said["service"], said["post_cures"], said["wanted_c"], said["finished"]) == ([], [], None, None)
    assert "no maker's sheet" in said["not_known"]
    with pytest.raises(SystemExit):
        run(["resin", "compare", "--temperature", "12", "--humidity", "60", "--json"])
    rows = json.loads(capsys.readouterr().out)["resins"]
    assert {row["glass_transition_c"] for row in rows} == {None}


@pytest.mark.long
def test_cure_tells_it_at_its_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Caution, service and post-cure of a sheet that states it, within 80 columns; and the same as JSON."""
    mine = sheet(tmp_path, transition=True)
    capsys.readouterr()
    with pytest.raises(SystemExit):
        run(["cure", "--resin", mine, "--temperature", "10", "--hours", "72", "--why"])
    shown = capsys.readouterr().out
    joined = " ".join(shown.split())
    assert joined.index("WARNING") < joined.index("residual-current device") < joined.index("A post-cure to")
    assert "dark paint in the sun" in shown
    assert "ask a surveyor" in joined
    assert "by calorimetry: DMTA reads about 10 °C more" in joined
    assert "No step is more than 10 °C above the lower glass transition by then" in joined
    assert "at most 10 °C an hour" in joined
    part = shown[shown.index("glass transition") : shown.index("slow lots")]
    assert all(len(line) <= 80 for line in part.splitlines())
    with pytest.raises(SystemExit):
        run(["cure", "--resin", mine, "--temperature", "10", "--hours", "72", "--json"])
    said = json.loads(capsys.readouterr().out)["finish"]
    assert not said["finished"]
    assert all(each["steps"][0]["temperature_c"] <= said["start_no_warmer_c"] for each in said["post_cures"])
    for each in said["service"]:
        assert each["stands_now"] == (said["least_c"] - each["temperature_c"] >= 15.0), each["title"]
    assert np.all(np.diff([each["temperature_c"] for each in said["post_cures"]]) > 0)
    assert {each["tag"] for each in said["service"]} <= {"common-practice", "from-memory"}


@pytest.mark.long
def test_a_post_cure_is_said_in_the_units_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No kelvin and no degree Celsius is left for who reads Fahrenheit."""
    mine = sheet(tmp_path, transition=True)
    capsys.readouterr()
    with pytest.raises(SystemExit):
        run(["cure", "--resin", mine, "--temperature", "54", "--units", "F", "--why"])
    shown = " ".join(capsys.readouterr().out.split())
    assert "about 18 °F an hour" in shown
    assert "°C" not in shown
