"""The one look at the shed: what is known has one way, and is the same wherever it is asked for."""

import ast
import json
import re
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

import curewatch
from curewatch import configuration
from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.advice.judge.weather import weather
from curewatch.advice.plan.windows import strip
from curewatch.answers.gathering import gather
from curewatch.answers.tonight import tonight_document
from curewatch.cli.main import run
from curewatch.clock import Instant, SystemClock
from curewatch.configuration import Configuration
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Publish
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.mass.buildup import Buildup
from curewatch.readings import Reading
from curewatch.record.layer_history import follow
from curewatch.record.measured import Post, measure, part_of
from curewatch.shed import present, recall
from curewatch.shed.clock_watch import ClockState
from curewatch.shed.look import Look, looking
from curewatch.units import DAY, HOUR, MINUTE
from curewatch.wording import plain_wording

NOW = 1_795_000_000.0
PACKAGE = Path(curewatch.__file__).parent


def configured(path: Path) -> Configuration:
    return configuration.parse(
        f"[logbook]\npath = {str(path)!r}\n[shed]\ncarbon_dioxide_ppm = 900\n"
        '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'
    )


def readings(now: float, *names: str) -> list[Reading]:
    return [Reading(name, now - 60 * n, now - 60 * n, 293.15, 0.5) for n in range(120) for name in names]


def keys(documents: list[dict[str, Any]]) -> set[tuple[str, str]]:
    return {(each["alert"], each["subject"]) for each in documents}


@pytest.mark.parametrize("days", [1, 31, 400])
def test_an_alert_is_active_everywhere_or_nowhere(
    days: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """However long it has stood: in the daemon, on its topic, on the board and in the list of alerts."""
    settings, now = configured(tmp_path / "log.sqlite"), SystemClock().now().utc
    file = tmp_path / "curewatch.toml"
    file.write_text(f"[logbook]\npath = {str(tmp_path / 'log.sqlite')!r}\n", encoding="utf-8")
    key = Key(AlertKind.SENSOR_LOST, "hull")  # of which nothing new is heard: it stays
    raised = Event(Happening.RAISED, key, now - days * DAY, "hull: silent", "see to it")
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(
            readings(now, "bench"), entries=[Entry("alert", alerts.event_as_plain(raised), raised.at)]
        )
        evaluation = Evaluation(settings, logbook)
        said = evaluation(Instant(now, 0.0), "asked by a test")
        logbook.append(entries=[one for one in said if isinstance(one, Entry)])
        shown = gather(logbook, settings, now).alerts
        board = {Key(AlertKind(each.alert), each.subject) for each in shown}
        found = set(Look(logbook, settings, now).active)
    published = next(one.document for one in said if isinstance(one, Publish) and one.topic == "alerts")
    with pytest.raises(SystemExit):
        run(["alerts", "--json", "--config", str(file)])
    listed = json.loads(capsys.readouterr().out)["active"]
    assert key in found
    assert found == board == set(evaluation.memory.alerts)
    assert {(str(each.kind), each.subject) for each in found} == keys(published["alerts"]) == keys(listed)


def test_a_sensor_that_is_no_longer_configured_has_no_alert_and_no_state(tmp_path: Path) -> None:
    """Its name was mistyped and mended: nobody sees to it any more. The control: before, both are there."""
    now = SystemClock().now().utc
    mended = configured(tmp_path / "log.sqlite")
    mistyped = msgspec.structs.replace(mended, sensors={**mended.sensors, "hlul": mended.sensors["hull"]})
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(readings(now, "bench", "hull"))
        keeping, seen = WatchKeeping(mistyped, recall.tracks(logbook, ["bench", "hull"], now)), []
        for at, settings in ((now, mistyped), (now + MINUTE, mended)):
            keeping.reconfigure(settings)
            said = keeping.look(Instant(at, 0.0), ClockState(), {})
            (state,) = (one.document for one in said if isinstance(one, Publish))
            of_look = Evaluation(settings, logbook)(Instant(at, 0.0), "asked by a test")
            logbook.append(entries=[one for one in of_look if isinstance(one, Entry)])
            active = {key.subject for key in Look(logbook, settings, at).active}
            seen.append(("hlul" in state["sensors"], "hlul" in active))
    assert seen == [(True, True), (False, False)]


@pytest.mark.long
def test_each_part_of_a_look_is_worked_out_once_and_only_if_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no layer is running, a list of them reads no weather; advice and signals share one outlook."""
    asked: list[float] = []
    once = present.situation

    def counted(logbook: Any, settings: Configuration, now: float, **more: Any) -> Any:
        asked.append(now)
        return once(logbook, settings, now, **more)

    monkeypatch.setattr(present, "situation", counted)
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(readings(NOW, "bench", "hull"))
        look = Look(logbook, configured(tmp_path / "log.sqlite"), NOW)
        assert look.running == ()
        assert not asked
        assert look.advice.verdict
        assert look.signals
        assert look.foreseen(look.question) == (look.surfaced, look.outlook)
    assert asked == [NOW]


def test_what_is_judged_has_its_surface_and_its_carbon_dioxide(tmp_path: Path) -> None:
    """Without a probe it is estimated and says so; with one it is the probe's; without air there is none."""
    settings = configured(tmp_path / "log.sqlite")
    with Logbook(tmp_path / "log.sqlite") as logbook:
        bare = Look(logbook, settings, NOW)
        assert bare.surfaced is None
        assert bare.outlook is None
        assert bare.foreseen(bare.question) is None
        logbook.append(readings(NOW, "bench"))
        estimated = Look(logbook, settings, NOW).surfaced
        logbook.append(readings(NOW, "hull"))
        probed = Look(logbook, settings, NOW).surfaced
    assert estimated is not None
    assert probed is not None
    assert (estimated.surface.estimated, estimated.surface.sensor) == (True, "bench")
    assert (probed.surface.estimated, probed.surface.sensor) == (False, "hull")
    assert estimated.carbon_dioxide == pytest.approx(900e-6)  # as configured: nobody measured it


@pytest.mark.long
@pytest.mark.parametrize("hours", [6, 72])
@pytest.mark.few(1)
def test_the_record_follows_a_layer_as_its_countdown_did(hours: int, tmp_path: Path) -> None:
    """The probe fell silent while the air turned cold, and a burner raised the carbon dioxide: one cure."""
    started, thick = NOW - hours * HOUR, load_substrate("timber", 0.05)
    settings = configuration.parse(
        f"[logbook]\npath = {str(tmp_path / 'log.sqlite')!r}\n"
        '[shed]\nsubstrate = "timber"\nthickness_mm = 50\n'
        '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'
    )
    times = [NOW - 60.0 * n for n in range((hours + 18) * 60)]
    air = [(at, 295.15 if at < started else 281.15) for at in times]
    told = [Reading("bench", at, at, kelvin, 0.55, 3000e-6) for at, kelvin in air]
    told += [Reading("hull", at, at, kelvin) for at, kelvin in air if at < started]
    layer = Layer("L1", started, "epoxy-slow")
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(told, entries=[Entry("layer", layer_as_plain(layer), started)])
        (running,) = Look(logbook, settings, NOW).running
        posts = [Post("bench", "air", part_of("unknown")), Post("hull", "surface", part_of("unknown"))]
        measured = measure(logbook, posts, started - 18 * HOUR, NOW, thick)
        built = Buildup(layer.thickness, load_substrate("plywood"))
        recorded = follow(
            layer_as_plain(layer), measured, NOW, lambda *_: load_resin("epoxy-slow"), lambda _: built
        )
    assert running.progress is not None
    coarser = 0.02  # the past of a look lies on quarter hours
    assert recorded.conversion[1][-1] == pytest.approx(running.progress.conversion, abs=coarser)
    assert recorded.unmeasured == 0
    if hours > 48:  # it is past blushing: nothing of it is foreseen any more
        assert (
            recorded.blush != "none"
        )  # the countdown has the sensors' errors in its chance: it may ask for more
        assert running.progress.blush in {recorded.blush, "wash-and-abrade"}


def test_without_a_logbook_nothing_is_known_and_nothing_is_made(tmp_path: Path) -> None:
    """It is an unknown, and no error; looking makes no file."""
    with looking(configured(tmp_path / "log.sqlite"), NOW) as look:
        assert str(look.advice.verdict) == "unknown"
        assert look.running == ()
        assert not look.alerts
    assert not (tmp_path / "log.sqlite").exists()


def test_only_the_look_gives_a_situation_its_surface() -> None:
    """No other module of the program makes one, or reads the situation from the logbook by hand."""
    made = {
        (path.relative_to(PACKAGE).as_posix(), called)
        for path in PACKAGE.rglob("*.py")
        for source in [path.read_text(encoding="utf-8")]
        if re.search(r"urfaced|situation|coming_hours", source)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        for called in [ast.unparse(node.func).rpartition(".")[2]]
        if called in {Surfaced.__name__, "surfaced"}
        or ast.unparse(node.func) in {"present.situation", "prospect.coming_hours"}
    }
    assert {path for path, _ in made} == {"shed/look.py"}
    assert ("shed/look.py", "situation") in made


@pytest.mark.long
@pytest.mark.parametrize(("other", "warm"), [(None, True), ("bow", False)])
def test_a_start_knows_the_layer_that_runs_below_it(other: str | None, warm: bool, tmp_path: Path) -> None:
    """A warm layer, of another resin too, brings gel forward in every answer; of two none is guessed.

    Where a face is told it is not the running layer's.
    """
    settings = configured(tmp_path / "log.sqlite")
    below = Layer("L1", NOW - 1200, "epoxy-fast", thickness=4e-3, part="stern")
    layers = [below] + ([Layer("L2", NOW - 1200, "epoxy-fast", part=other)] if other else [])
    with Logbook(tmp_path / "log.sqlite") as logbook:
        told = [Entry("layer", layer_as_plain(each), each.started) for each in layers]
        logbook.append(readings(NOW, "bench", "hull"), entries=told)
        look = Look(logbook, settings, NOW)
        on_it, on_timber = look.asked(resin="epoxy-slow"), look.asked(resin="epoxy-slow", face="bare-timber")
        gels = [
            next(one.likely for one in look.advise(each).timeline if one.name == "gel") or 0.0
            for each in (on_it, on_timber)
        ]
        strips = [strip(each, *(look.foreseen(each) or ()), (), ahead=HOUR) for each in (on_it, on_timber)]
        document = tonight_document(look.advise(on_it), plain_wording(settings.zone), ())
    assert (gels[0] < gels[1] - 30 * MINUTE) == warm
    opened = [each.starts.laminate_from - each.starts.start for each in strips]
    assert bool((opened[0] < opened[1] - 10 * MINUTE).all()) == warm
    assert ("a layer 20 min old on" in document.layer_on) == warm


def moments(look: Look) -> list[float]:
    """Likely moments of the running layers. [min of the clock]"""
    told = [one.likely for each in look.progress for one in each.timeline]
    return [when / MINUTE for when in told if when is not None]


@pytest.mark.parametrize("hours", [7, pytest.param(150, marks=pytest.mark.long)])
def test_asked_later_with_nothing_new_heard_the_same_moments_are_told(
    hours: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From a few hours and from days of recordings. The control: paths that begin when it is asked."""
    settings = configured(tmp_path / "log.sqlite")
    times = np.arange(NOW - hours * HOUR, NOW, 5 * MINUTE)
    warm = 291.0 + 5.0 * np.sin(2 * np.pi * times / DAY)
    laid = [
        Layer(f"L{n}", NOW - n * HOUR, "epoxy-slow", 0.1, part=f"cheek {n}")
        for n in (1, 3)[: 1 + hours // 100]
    ]
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(
            [Reading("bench", at, at, air, 0.5) for at, air in zip(times, warm, strict=True)],
            [Entry("layer", layer_as_plain(each), each.started) for each in laid],
        )
        first = moments(Look(logbook, settings, NOW))
        for minutes in (15, 60, 180) if hours > 7 else (180,):
            assert moments(Look(logbook, settings, NOW + minutes * MINUTE)) == pytest.approx(first, abs=1.0)
        spread = [float(np.ptp(_air_at(Look(logbook, settings, NOW + late * HOUR)))) for late in (0, 1, 3)]
        assert spread[0] < spread[1] < spread[2]
        monkeypatch.setattr(Situation, "heard", property(lambda self: self.at))
        moved = np.subtract(moments(Look(logbook, settings, NOW + 3 * HOUR)), first)
        assert np.abs(moved).max() > 10.0
        assert np.ptp(_air_at(Look(logbook, settings, NOW + 3 * HOUR))) == 0.0


def _air_at(look: Look) -> np.ndarray:
    """The air at the moment of asking, on each path. [K]"""
    assert look.outlook is not None
    return weather(look.outlook, look.at, length=HOUR).air_temperature[:, 0] + look.outlook.errors.air[:, 0]
