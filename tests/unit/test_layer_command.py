"""Saying that a layer was started: the logbook has it, and a mistake is told what is allowed."""

import json
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.clock import SystemClock, utc_from_iso
from curewatch.errors import ExitStatus
from curewatch.jobs import Layer, layer_as_plain, layer_from_plain
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Reading
from curewatch.shed.layer_log import next_name, running


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A configuration of the demo world with its logbook beside it."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[shed]\nname = "Saltmarsh Shed"\nzone = "Europe/Lisbon"\n'
        '[resin]\nname = "epoxy-slow"\nlot = "A-17"\nbatch_mass_g = 150.0\n'
        '[logbook]\npath = "logbook.sqlite"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    return tmp_path / "logbook.sqlite"


def called(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        run(["layer", *arguments])
    return int(stop.value.code or 0)


@pytest.mark.parametrize(
    "more", [("--close", "L1"), ("--mass", "100 g"), ("--ago", "5 min"), ("--job", "J1"), ("--force",)]
)
def test_what_is_only_shown_tells_nothing_besides(
    shed: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...]
) -> None:
    """A layer that is told with --running would be lost without a word; it is refused, nothing is written."""
    called()
    with Logbook(shed, read_only=True) as logbook:
        before = logbook.head()
    assert called("--running", *more) == ExitStatus.USAGE
    assert "--running only shows what is running" in capsys.readouterr().err
    with Logbook(shed, read_only=True) as logbook:
        assert logbook.head() == before


def test_a_layer_takes_the_configured_resin(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Resin, lot and batch come from the configuration, the time from the clock."""
    before = SystemClock().now().utc
    assert called() == ExitStatus.OK
    assert "L1, epoxy-slow, 150 g" in capsys.readouterr().out
    with Logbook(shed, read_only=True) as logbook:
        (layer,) = running(logbook, SystemClock().now().utc)
    assert (layer.layer, layer.resin, layer.lot, layer.batch_mass) == ("L1", "epoxy-slow", "A-17", 0.15)
    assert abs(layer.started - before) < 120.0  # of one clock, which may be set a little meanwhile
    assert not layer.given_afterwards


def test_a_time_told_afterwards_is_marked(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The start lies where it was told, and everybody can see that it was told later."""
    assert called("--ago", "20 min", "--mass", "5 oz", "--text", "second\x1b[2J side") == ExitStatus.OK
    assert "\x1b" not in capsys.readouterr().out
    with Logbook(shed, read_only=True) as logbook:
        (entry,) = logbook.entries("layer")
    assert entry.payload["given_afterwards"] is True
    assert entry.recorded - entry.at == pytest.approx(1200, abs=2)
    assert entry.payload["batch_mass"] == pytest.approx(0.1417, abs=1e-4)


def test_layers_are_listed_and_closed(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Names count on, a closed one is gone from the list, and its name is not given again."""
    called("--json")
    called("--resin", "polyester-laminating", "--peroxide", "2", "--json")
    capsys.readouterr()
    assert called("--running", "--json") == ExitStatus.OK
    listed = json.loads(capsys.readouterr().out)["running"]
    assert [each["layer"] for each in listed] == ["L1", "L2"]
    assert (listed[1]["peroxide_percent"], listed[1]["lot"]) == (2.0, None)
    assert called("--close", "l2") == ExitStatus.OK
    with Logbook(shed, read_only=True) as logbook:
        assert [layer.layer for layer in running(logbook, SystemClock().now().utc)] == ["L1"]
        assert next_name(logbook) == "L3"


@pytest.mark.long
def test_a_layer_is_told_with_its_countdowns(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With a shed that speaks, each moment has its likely time and its band, in text and as JSON."""
    now = SystemClock().now().utc
    with Logbook(shed) as logbook:
        logbook.append(
            [
                Reading(name, now - 60.0 * minute, now, 288.15, 0.55 if name == "bench" else None)
                for minute in range(60)
                for name in ("bench", "hull")
            ]
        )
    assert called("--ago", "10 min") == ExitStatus.OK
    told = capsys.readouterr().out
    assert "laminate again before" in told
    assert max(map(len, told.splitlines())) <= 110
    called("--running", "--json")
    (layer,) = json.loads(capsys.readouterr().out)["running"]
    moments = {moment["name"]: moment for moment in layer["timeline"]}
    assert layer["stage"] == "open"
    assert moments["gel"]["early"] < moments["gel"]["likely"] < moments["gel"]["late"]


def test_a_large_pot_is_told_with_when_it_must_be_empty(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two kilograms of a quick epoxy kick long before their film sets; told empty it is not told any more."""
    now = SystemClock().now().utc
    with Logbook(shed) as logbook:
        logbook.append([Reading("bench", now - 60 * n, now, 297.15, 0.5) for n in range(180)])
        told = {"title": "cheek", "name": "J1"}
        logbook.write(Entry("job-open", told, now - 3600, job="J1"))
    assert called("--mass", "2 kg", "--resin", "epoxy-fast", "--json") == ExitStatus.OK
    [layer] = json.loads(capsys.readouterr().out)["running"]
    until = utc_from_iso(layer["pot_use_until"]) - utc_from_iso(layer["started"])
    assert 5 * 60 < until < 20 * 60  # of `cure --mass 2kg`: kicks after 16 min; three quarters of that
    assert called("--running") == ExitStatus.OK
    assert "A full cup burns: its pot must be empty by" in capsys.readouterr().out
    with Logbook(shed) as logbook:
        logbook.write(Entry("pot-empty", {"layer": layer["layer"]}, now, job="J1"))
    assert called("--running") == ExitStatus.OK
    assert "must be empty" not in capsys.readouterr().out


def test_a_layer_is_as_thick_as_its_cloths(shed: Path) -> None:
    """Three cloths are three films of the configured thickness."""
    called("--json")
    called("--layers", "3", "--json")
    with Logbook(shed, read_only=True) as logbook:
        one, three = (layer.thickness for layer in running(logbook, SystemClock().now().utc))
    assert three == pytest.approx(3 * one)


def test_a_shed_without_a_logbook_has_no_layer(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Looking does not make a file."""
    assert called("--running") == ExitStatus.OK
    assert capsys.readouterr().out == "no layer is running\n"
    assert not shed.exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--resin", "epoxy-slwo"], "epoxy-slow"),
        (["--ago", "soon"], "Use a span of time: 20 min"),
        (["--ago", "20 min", "--at", "21:40"], "one of them"),
        (["--ago", "9 d"], "last 7 days"),
        (["--mass", "heavy"], "150 g"),
        (["--peroxide", "2"], "keeps its mix ratio"),
        (["--resin", "polyester-laminating", "--peroxide", "5"], "too much"),
        (["--close", "L9"], "none is running"),
        (["--close", ""], "--close: found no running layer ''"),  # an empty variable of a script
        (["--at", ""], "found ''"),
        (["--ago", ""], "found ''"),
    ],
)
def test_a_slip_stores_nothing(
    shed: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """Exit status 2, one line that says what is allowed, and no entry."""
    assert called(*arguments) == ExitStatus.USAGE
    assert said in capsys.readouterr().err
    with Logbook(shed, read_only=True) as logbook:
        assert logbook.entries() == []


def test_a_correction_is_followed(tmp_path: Path) -> None:
    """An entry that corrects a layup changes what counts down, not what was written."""
    layer = Layer("L1", 1000.0, "epoxy-slow", 0.15)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        written = logbook.write(Entry("layer", layer_as_plain(layer), 1000.0))
        change = {
            "corrects": written.number,
            "changes": {"started": 400.0, "layer": "L7"},
            "reason": "misread",
        }
        logbook.write(Entry("correction", change, 2000.0))
        logbook.write(Entry("layer", {"words": "of another program"}, 2000.0))
        (found,) = running(logbook, 3000.0)
    assert (found.layer, found.started) == ("L1", 400.0)


def test_a_layup_survives_its_plain_form() -> None:
    """What is written is what is read, whatever else stands beside it."""
    layer = Layer(
        "L3", 5.0, "vinyl-ester", 0.2, peroxide_percent=1.5, job="K9-1", note="ä", given_afterwards=True
    )
    assert layer_from_plain(layer_as_plain(layer) | {"batches": ["B1"]}) == layer
