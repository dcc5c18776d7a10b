"""A thermometer in the layer or in a cup: its history, its lesson, its alarm, and when it is not believed."""

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch import configuration
from curewatch.advice.alert.alerts import AlertKind
from curewatch.advice.alert.probe import ProbePath, Surroundings, believed
from curewatch.advice.alert.progress import follow
from curewatch.advice.alert.watchers import signals
from curewatch.advice.judge.batches import SHARE
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.surface import lagged_temperature
from curewatch.model.film import film
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.milestones import milestones, sanding_age
from curewatch.model.film.running_sum import running
from curewatch.model.fit.evidence import cup_evidence
from curewatch.model.fit.learning import current_resin, learn
from curewatch.model.fit.rise import taught_by_rise
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import Laminate, LaminateLayer, laminate
from curewatch.model.mass.pot import body, pot
from curewatch.readings import Reading
from curewatch.record import layer_history
from curewatch.record.measured import Post, as_probed, measure, part_of
from curewatch.shed import layer_log, probes
from curewatch.shed.consult import about
from curewatch.shed.look import Look
from curewatch.units import FloatArray
from curewatch.wording import plain_wording
from tests.unit.test_advice_progress import ASKED, LINES, NOW, SLOW, ahead, layer, shed

Say = Callable[..., str]
FAST, FOAM = load_resin("epoxy-fast"), load_substrate("foam")
AROUND = Surroundings(NOW - 900.0 * np.arange(40.0, -1.0, -1.0), np.full(41, 288.15), np.full(41, 287.15))


def minutes(count: int) -> FloatArray:
    """One reading a minute up to now. UTC [s]"""
    return NOW - 60.0 * np.arange(count - 1.0, -1.0, -1.0)


# ---- is it believed?


def test_a_probe_that_follows_is_believed_whole() -> None:
    """It warms to 38 degC and cools by itself: nothing of that is doubted."""
    time = minutes(240)
    warm = 288.15 + 23.0 * np.exp(-(((time - NOW + 7200.0) / 2400.0) ** 2))
    found = believed("p1", time, warm, NOW, AROUND)
    assert found.trouble == ""
    assert found.time.size == 240


@pytest.mark.parametrize(
    ("change", "words", "left"),
    [
        (lambda time, warm: (time, np.where(time > NOW - 1800.0, 288.4, warm)), "pulled out", 210),
        (lambda time, warm: (time[:-30], warm[:-30]), "silent for 30 min", 210),
        (lambda time, warm: (time, np.where(time > NOW - 1800.0, 280.0, warm)), "colder than air", 210),
        (lambda time, warm: (time[:0], warm[:0]), "no reading", 0),
    ],
)
def test_pulled_out_cold_or_silent_is_noticed_and_said(
    change: Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]], words: str, left: int
) -> None:
    """From that moment nothing is believed; what came before still is."""
    time = minutes(240)
    found = believed("p1", *change(time, np.full(time.size, 310.15)), NOW, AROUND)
    assert words in plain_wording().say(found.trouble, NOW)
    assert found.time.size == pytest.approx(left, abs=1)


# ---- its history is the layer's


def test_the_measured_temperature_is_the_history_in_place_of_the_modelled_one() -> None:
    """A layer at 35 degC in a shed of 15: it cures along what was measured, not along the hull."""
    situation, time = shed(NOW, 15.0, 0.5), minutes(121)
    probe = ProbePath("p1", time, np.full(time.size, 308.15))
    seen = follow(layer(2.0), ASKED, situation, ahead(situation), probe=probe)
    alone = film.cure(SLOW, film.constant(308.15, 7200.0))
    assert seen.conversion == pytest.approx(float(alone.conversion[-1]), abs=0.01)
    without = follow(layer(2.0), ASKED, situation, ahead(situation))
    assert without.conversion < 0.5 * seen.conversion


def test_where_it_is_no_longer_believed_the_model_takes_over() -> None:
    """Pulled out after an hour: an hour at 35 degC, then the shed's 15; and an alert says so."""
    situation, time = shed(NOW, 15.0, 0.5), minutes(121)
    probe = ProbePath("p1", time[:61], np.full(61, 308.15), "pulled out")
    seen = follow(layer(2.0), ASKED, situation, ahead(situation), probe=probe)
    path = film.History(np.array([0.0, 3600.0, 3660.0, 7200.0]), np.array([308.15, 308.15, 288.15, 288.15]))
    assert seen.conversion == pytest.approx(
        float(film.cure(SLOW, path).conversion[-1]), abs=0.03
    )  # paths lie on 7.5 minutes
    raised = [each for each in signals(situation, [seen], LINES, None, active={}) if each.raised]
    (lost,) = (each for each in raised if each.key.kind is AlertKind.PROBE)
    assert "p1 is not believed (pulled out); the model goes on" in plain_wording().say(lost.text, NOW)


def thick(hours: float) -> tuple[Layer, Question, Laminate, ProbePath]:
    """2.4 mm of epoxy-fast on foam at 20 degC, and a probe that reads what the laminate does each minute."""
    truth = laminate(FAST, [LaminateLayer(0.0, 2.4e-3)], film.constant(293.15, 86400.0), FOAM)
    laid = replace(layer(hours), resin="epoxy-fast", thickness=2.4e-3)
    time = minutes(round(60.0 * hours) + 1)
    read = np.interp(time - laid.started, truth.time, truth.hottest)
    asked = replace(ASKED, resin=FAST, substrate=FOAM, thickness=2.4e-3)
    return laid, asked, truth, ProbePath("p1", time, read)


@pytest.mark.parametrize(
    ("hours", "trouble"),
    [
        (0.25, ""),
        (0.75, "pulled out"),
        *(
            pytest.param(hours, trouble, marks=pytest.mark.long)
            for hours, trouble in ((0.25, "pulled out"), (0.5, ""), (0.5, "pulled out"), (0.75, ""))
        ),
    ],
)
def test_own_heat_that_is_still_to_come_is_foreseen(hours: float, trouble: str) -> None:
    """A probe in a layer that has not warmed yet makes it no film: it gels and closes when the layer does."""
    laid, asked, truth, probe = thick(hours)
    situation = shed(NOW, 20.0, 0.5)
    seen = follow(laid, asked, situation, ahead(situation), probe=probe._replace(trouble=trouble))
    without = follow(laid, asked, situation, ahead(situation))
    gel, closes = (seen.moment(name).likely or np.inf for name in ("gel", "laminate-before"))
    assert gel - laid.started == pytest.approx(truth.gel, abs=300.0)
    assert closes == pytest.approx(without.moment("laminate-before").likely, abs=300.0)
    early, late = (seen.moment("laminate-before").early, without.moment("laminate-before").early)
    assert early is not None
    assert late is not None
    assert hours > 0.5 or early < late + 600.0  # it has shown nothing yet of how fast its lot is
    as_film = follow(laid, replace(asked, thickness=1e-4), situation, ahead(situation), probe=probe)
    assert (as_film.moment("gel").likely or np.inf) - laid.started > truth.gel + 1200.0


@pytest.mark.parametrize(("hours", "trouble"), [(0.25, ""), (0.25, "pulled out"), (2.0, "")])
def test_a_probe_silences_no_word_of_how_hot_a_layer_gets(hours: float, trouble: str) -> None:
    """Before its heat has come as after; the model alone says about the same."""
    laid, asked, _, _ = thick(hours)
    thicker = laminate(FAST, [LaminateLayer(0.0, 5e-3)], film.constant(293.15, 86400.0), FOAM)
    time = minutes(round(60.0 * hours) + 1)
    probe = ProbePath("p1", time, np.interp(time - laid.started, thicker.time, thicker.hottest))
    situation, laid, asked = (
        shed(NOW, 20.0, 0.5),
        replace(laid, thickness=5e-3),
        replace(asked, thickness=5e-3),
    )
    peak = follow(laid, asked, situation, ahead(situation), probe=probe._replace(trouble=trouble)).own_peak
    without = follow(laid, asked, situation, ahead(situation)).own_peak
    assert without is not None
    assert without > 373.15
    assert peak == pytest.approx(without, abs=12.0)


def test_before_a_probe_spoke_the_model_holds() -> None:
    """It speaks for the first time after an hour, in the heat: the layer was not so warm all the time."""
    laid, asked, truth, probe = thick(2.0)
    late = probe._replace(time=probe.time[60:], temperature=probe.temperature[60:])
    situation = shed(NOW, 20.0, 0.5)
    seen = follow(laid, asked, situation, ahead(situation), probe=late)
    gel = seen.moment("gel").likely
    assert gel is not None
    assert gel - laid.started == pytest.approx(truth.gel, abs=300.0)
    warm = film.cure(FAST, film.constant(float(late.temperature[0]), 7200.0))
    assert milestones(FAST, warm).gel < 0.4 * truth.gel


def test_a_stated_wait_is_not_shortened_by_what_a_probe_measured() -> None:
    """Dust of a layer that was hot is as green: a stated wait goes by the surface."""
    laid, asked, _, probe = thick(2.0)
    situation = shed(NOW, 20.0, 0.5)
    seen, without = (
        follow(laid, asked, situation, ahead(situation), probe=each).moment("ready-to-sand").early
        for each in (probe, None)
    )
    assert seen == without
    warm = film.History(probe.time - laid.started, probe.temperature)
    aged = running(warm.time, sanding_age(FAST, warm.temperature))[-1]
    assert aged > warm.time[-1] + 3600.0


# ---- what it teaches


@pytest.mark.parametrize("factor", [0.65, 1.0, 1.6])
def test_the_warmth_of_a_layer_teaches_its_lot(factor: float) -> None:
    """Truth by the laminate in twenty cells, 4 mm on foam at 20 degC, noise of 0.3 K: rate within 12 %."""
    air = film.constant(293.15, 3 * 3600.0)
    truth = laminate(FAST, [LaminateLayer(0.0, 4e-3)], air, FOAM, rate_factor=factor)
    at = np.arange(300.0, 3 * 3600.0, 300.0)
    excess = (
        np.interp(at, truth.time, truth.hottest) - 293.15 + np.random.default_rng(3).normal(0.0, 0.3, at.size)
    )
    told = taught_by_rise(FAST, air, at, excess, Heat(Buildup(4e-3, FOAM)))
    assert told.kinetics.k2 / FAST.kinetics.k2 == pytest.approx(factor, rel=0.12)
    assert told.rate_sd < 0.5 * FAST.rate_sd


def taught(read: Laminate, asked: Question, below: tuple[LaminateLayer, ...], silent: float) -> float:
    """How fast a lot is found to be, two hours after a ply, by a probe that spoke only after so long. [s]"""
    begun = -below[0].at if below else 0.0
    laid = replace(layer(2.0), resin="epoxy-fast", thickness=asked.thickness)
    time = minutes(120)[round(silent / 60.0) :]
    probe = ProbePath("p1", time, np.interp(begun + time - laid.started, read.time, read.hottest))
    under = tuple(each._replace(at=laid.started + each.at) for each in below)
    question = replace(asked, resin=FAST, below=under)
    found = probes._by_layer(FAST, question, laid, shed(NOW, 20.0, 0.5, hours=8.0), probe)
    return found.kinetics.k2 / FAST.kinetics.k2


@pytest.mark.parametrize(
    ("fibre", "below", "silent"),
    [(0.45, (LaminateLayer(-1200.0, 2.4e-3),), 0.0), (0.0, (), 0.0), (0.45, (), 5400.0)],
    ids=["on a warm ply", "plain resin", "a probe that speaks late"],
)
def test_a_usual_lot_is_taught_to_be_a_usual_one(
    fibre: float, below: tuple[LaminateLayer, ...], silent: float
) -> None:
    """Truth by the laminate on foam: found within 8 %. Control: the ply alone, with cloth, from mixing."""
    begun = -below[0].at if below else 0.0
    plies = [*(each._replace(at=0.0) for each in below), LaminateLayer(begun, 2.4e-3)]
    read = laminate(FAST, plies, film.constant(293.15, 86400.0), FOAM, fibre_mass_fraction=fibre)
    asked = replace(ASKED, substrate=FOAM, thickness=2.4e-3, fibre_mass_fraction=fibre)
    assert taught(read, asked, below, silent) == pytest.approx(1.0, rel=0.08)
    at = np.arange(300.0, 7200.0, 300.0)
    excess = np.interp(begun + np.maximum(at, silent), read.time, read.hottest) - 293.15
    alone = taught_by_rise(FAST, film.constant(293.15, 7200.0), at, excess, Heat(Buildup(2.4e-3, FOAM)))
    assert abs(alone.kinetics.k2 / FAST.kinetics.k2 - 1.0) > 0.15


def test_a_film_too_thin_to_warm_teaches_nothing() -> None:
    """The negative control: no excess, no lesson."""
    air = film.constant(283.15, 2 * 3600.0)
    at = np.arange(300.0, 7200.0, 300.0)
    assert taught_by_rise(SLOW, air, at, np.zeros(at.size), Heat(Buildup(2e-4, FOAM))) is SLOW


# ---- the cup rings first


@pytest.mark.long
def test_a_cup_of_a_fast_lot_rings_before_the_model_does() -> None:
    """A lot 1.6 times as fast: its own thermometer rings sooner than the model, and before it kicks."""
    situation = shed(NOW, 20.0, 0.5)
    true = pot(FAST, 0.2, 293.15, rate_factor=1.6, duration=7200.0)
    usual = pot(FAST, 0.2, 293.15, duration=7200.0)
    asked = replace(ASKED, resin=FAST, limits=LINES)
    rings: dict[str, float] = {}
    for minute in range(3, int(true.pot_life / 60.0)):
        laid = Layer("L1", NOW - 60.0 * minute, "epoxy-fast", batch_mass=0.2)
        time = minutes(minute + 1)
        cup = ProbePath("c1", time, np.interp(time - laid.started, true.time, true.middle))
        seen = follow(laid, asked, situation, ahead(situation), cup=cup)
        for name, progress in (("measured", seen), ("model", replace(seen, cup_slope=None))):
            found = signals(situation, [progress], LINES, None, active={})
            if any(each.raised for each in found if each.key.kind is AlertKind.POT):
                rings.setdefault(name, 60.0 * minute)
    assert rings["measured"] < 0.8 * true.pot_life
    assert rings["measured"] < rings.get("model", SHARE * usual.pot_life)


def test_a_cup_teaches_the_lot_once_it_has_risen() -> None:
    """Its own 5, 10 and 15 K: within 10 % of the lot's rate."""
    true = pot(FAST, 0.2, 293.15, rate_factor=1.4, duration=7200.0)
    evidence = cup_evidence(film.History(true.time, true.middle), 0.2)
    told = current_resin(FAST, [evidence])
    assert told.kinetics.k2 / FAST.kinetics.k2 == pytest.approx(1.4, rel=0.1)


def warming(kelvin: float, hours: float) -> Surfaced:
    """A shed at 12 degC that a heater has warmed by so much in the first of these hours."""
    situation = shed(NOW, 12.0, 0.5, hours=hours + 6.0)
    begun = situation.past.time - (NOW - 3600.0 * hours)
    situation.past.air_temperature[:] += kelvin * np.clip(begun / 3600.0, 0.0, 1.0)
    return situation


@pytest.mark.parametrize("name", ["epoxy-slow", "epoxy-fast", "polyester-laminating"])
def test_a_cup_that_the_air_warms_teaches_nothing(name: str, tmp_path: Path) -> None:
    """Two hours of a cup that makes no heat at all, in a shed that a heater warms by 10 K: no fast lot.

    The controls: its log alone would be one, and in a shed that stays a lot is learnt as before.
    """
    resin, laid = load_resin(name), replace(layer(2.0), resin=name, batch_mass=0.06, peroxide_percent=None)
    time = minutes(121)
    air = 285.15 + 10.0 * np.clip((time - laid.started) / 3600.0, 0.0, 1.0)
    dead = lagged_temperature(time, air, 1.0 / body(resin, 0.06).loss)
    true = pot(resin, 0.06, 285.15, rate_factor=1.3, duration=7200.0)
    with Logbook(tmp_path / "log.db") as logbook:
        led, kept = (
            probes._by_cup(logbook, resin, laid, situation, ProbePath("c1", time, read))
            for situation, read in (
                (warming(10.0, 2.0), dead),
                (warming(0.0, 2.0), np.interp(time - laid.started, true.time, true.middle)),
            )
        )
    assert led is resin
    alone = cup_evidence(film.History(time - laid.started, dead), 0.06)
    lesson = learn(resin, alone)
    assert lesson.contradicts or abs(lesson.factor - 1.0) > 0.1
    if name != "epoxy-slow":  # of which a usual lot would not rise at all
        assert kept.kinetics.k2 / resin.kinetics.k2 == pytest.approx(1.3, rel=0.12)


# ---- from the command to the countdown


@pytest.fixture
def say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., str]:
    """A shed at 15 degC; probe p1 has lain at 35 degC for three hours, probe c1 fell silent an hour ago."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[logbook]\npath = "log.db"\n[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'
        '[sensors.p1]\nrole = "layer"\n[sensors.c1]\nrole = "cup"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc - 10.0
    at = [now - 60.0 * back for back in range(360, -1, -1)]
    warmth = {"bench": (288.15, 0.4), "hull": (288.05, None), "p1": (308.15, None)}
    readings = [
        Reading(name, each, each, kelvin + 0.02 * (place % 7), humidity)
        for name, (kelvin, humidity) in warmth.items()
        for place, each in enumerate(at)
    ]
    readings += [Reading("c1", each, each, 293.15) for each in at[:-60]]
    with Logbook(tmp_path / "log.db") as logbook:
        logbook.append(readings)

    def call(line: str) -> str:
        with pytest.raises(SystemExit):
            run(shlex.split(line))
        found = capsys.readouterr()
        return found.out + found.err

    return call


@pytest.mark.long
def test_a_probe_is_bound_by_its_name_and_moves_the_countdown(say: Say) -> None:
    """Two layers of one age: the one with the probe is further; a sensor of the shed is no probe."""
    assert "has not the role layer or cup. Use one of p1, c1" in say("layer --resin epoxy-slow --probe hull")
    say("layer --resin epoxy-slow --ago '2 h' --probe p1")
    say("layer --resin epoxy-slow --ago '2 h' --part deck")
    found = json.loads(say("layer --running --json"))["running"]
    assert found[0]["conversion"] > 2.0 * found[1]["conversion"]


@pytest.mark.long
def test_a_cup_is_bound_with_its_layer(say: Say, tmp_path: Path) -> None:
    """By its sensor's role, with the mass in it; what cannot be learnt from is refused, with what to give."""
    layer = "layer --resin epoxy-fast --ago '3 h' --force"
    assert "Use --probe-mass" in say(f"{layer} --probe c1")
    assert "Use --probe NAME" in say(f"{layer} --probe-mass '60 g'")
    assert "Use --probe NAME" in say(f"{layer} --probe p1 --probe-mass '60 g'")
    assert "L1" in say(f"{layer} --probe c1 --probe-mass '60 g'")
    assert "L2" in say(f"{layer} --probe c1 --mass '200 g'")
    assert say("layer --running").count("probe c1: not believed (silent for 1 h") == 2
    with Logbook(tmp_path / "log.db") as logbook:
        laid = layer_log.running(logbook, SystemClock().now().utc)
    assert [(each.probe, each.cup, each.cup_mass, each.batch_mass) for each in laid] == [
        ("", "c1", 0.06, None),
        ("", "c1", None, 0.2),
    ]


@pytest.mark.long
def test_a_cup_told_with_the_layer_goes_before_that_of_its_batch(say: Say, tmp_path: Path) -> None:
    """The batch's cup and its mass stay where the layer names a probe of its own, or that cup again."""
    silent_cup(say)
    layer = "layer --batch B1 --ago '2 h' --force --probe"
    assert "L2" in say(f"{layer} p1")
    assert "L3" in say(f"{layer} c1 --probe-mass '40 g'")
    with Logbook(tmp_path / "log.db") as logbook:
        laid = layer_log.running(logbook, SystemClock().now().utc)
    assert [(each.probe, each.cup, each.cup_mass) for each in laid] == [
        ("", "c1", pytest.approx(0.12)),
        ("p1", "c1", pytest.approx(0.12)),
        ("", "c1", pytest.approx(0.04)),
    ]


def silent_cup(say: Say) -> None:
    """A layer of a batch whose probe says nothing any more."""
    say("job open --title 'rudder cheek'")
    masses = "--resin-mass '100 g' --hardener-mass '20 g'"
    assert "B1" in say(f"job batch --resin epoxy-fast {masses} --probe c1 --ago '2 h' --force")
    assert "L1" in say("layer --batch B1 --ago '2 h' --force")


@pytest.mark.long
def test_a_silent_probe_is_said(say: Say) -> None:
    """The layer names it."""
    silent_cup(say)
    assert "probe c1: not believed (silent for 1 h" in say("layer --running")


@pytest.mark.long
def test_a_silent_probe_leaves_the_shed_known(say: Say) -> None:
    """It says nothing of the shed: the verdict is not unknown for it."""
    silent_cup(say)
    assert json.loads(say("tonight --json"))["verdict"] != "unknown"


@pytest.mark.long
def test_the_record_follows_a_layer_by_its_probe(tmp_path: Path) -> None:
    """Two hours at 35 degC under the peel ply, then pulled out into 15: as the countdown had it."""
    settings = configuration.parse(
        f"[logbook]\npath = {str(tmp_path / 'log.db')!r}\n"
        '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n[sensors.p1]\nrole = "layer"\n'
    )
    started, times = NOW - 3 * 3600.0, NOW - 60.0 * np.arange(600.0)
    told = [
        Reading(name, at, at, 288.15 + 1e-3 * (at % 7), 0.5) for at in times for name in ("bench", "hull")
    ]
    warm = np.where(times < NOW - 3600.0, 308.15, 288.15)
    told += [Reading("p1", at, at, kelvin) for at, kelvin in zip(times, warm, strict=True) if at >= started]
    laid = Layer("L1", started, "epoxy-slow", probe="p1")
    with Logbook(tmp_path / "log.db") as logbook:
        logbook.append(told, entries=[Entry("layer", layer_as_plain(laid), started)])
        (running,) = Look(logbook, settings, NOW).running
        posts = [Post("bench", "air", part_of("unknown")), Post("hull", "surface", part_of("unknown"))]
        plain = measure(logbook, posts, started - 3600.0, NOW, load_substrate("plywood"))
        probed = as_probed(logbook, plain, "p1", started, NOW)
    followed = [
        layer_history.follow(layer_as_plain(laid), each, NOW, lambda *_: SLOW, lambda _: None)
        for each in (probed, plain)
    ]
    ends = [float(each.conversion[1][-1]) for each in followed]
    warmest = followed[0].warmest
    assert warmest is not None
    assert (warmest.temperature, warmest.probe) == (pytest.approx(308.15), "p1")
    assert warmest.held == pytest.approx(2 * 3600.0, abs=120.0)
    assert followed[1].warmest is not None
    assert (followed[1].warmest.temperature < 290.0, followed[1].warmest.probe) == (True, "")
    assert running.progress is not None
    assert ends[0] == pytest.approx(running.progress.conversion, abs=0.04)
    assert ends[1] < 0.5 * ends[0]


@pytest.mark.long
def test_what_a_thermometer_shows_of_its_lot_moves_the_countdown(tmp_path: Path) -> None:
    """A lot 1.6 times as fast, in a cup or under the peel ply: its layers are further than a usual lot's."""
    settings = configuration.parse(
        f"[logbook]\npath = {str(tmp_path / 'log.db')!r}\n[shed]\nsubstrate = 'foam'\n"
        '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'
        '[sensors.c1]\nrole = "cup"\n[sensors.p1]\nrole = "layer"\n'
    )
    times, age = NOW - 60.0 * np.arange(600.0), 2400.0
    cup = pot(FAST, 0.05, 293.15, rate_factor=1.6, duration=2 * age)
    own = laminate(FAST, [LaminateLayer(0.0, 4e-3)], film.constant(293.15, 2 * age), FOAM, rate_factor=1.6)
    warmth = {"c1": (cup.time, cup.middle), "p1": (own.time, own.hottest)}
    told = [
        Reading(name, at, at, 293.15 + 1e-3 * (at % 7), 0.5) for at in times for name in ("bench", "hull")
    ]
    told += [
        Reading(name, at, at, float(np.interp(at - NOW + age, *path)))
        for name, path in warmth.items() for at in times if at >= NOW - age
    ]  # fmt: skip
    usual = Layer("L1", NOW - age, "epoxy-fast", batch_mass=0.05, thickness=4e-3)
    laid = (usual, replace(usual, layer="L2", cup="c1"), replace(usual, layer="L3", probe="p1"))
    with Logbook(tmp_path / "log.db") as logbook:
        logbook.append(told, entries=[Entry("layer", layer_as_plain(each), NOW - age) for each in laid])
        look = Look(logbook, settings, NOW)
        plain, by_cup, by_probe = (each.progress for each in look.running)
        assert plain is not None
        assert by_cup is not None
        assert by_probe is not None
        assert look.surfaced is not None
        assert look.outlook is not None
        seen = probes.of_layer(logbook, laid[2], look.surfaced).layer
        asked = about(laid[2], settings, look.question, logbook)
        untaught = follow(laid[2], asked, look.surfaced, look.outlook, probe=seen)
    assert by_cup.conversion > 1.2 * plain.conversion
    assert untaught.pot is not None
    assert by_probe.pot is not None
    assert by_probe.pot.usual.pot_life < 0.8 * untaught.pot.usual.pot_life
