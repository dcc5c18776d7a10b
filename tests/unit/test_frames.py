"""Frames of a logbook: what it holds, in units that the columns name; extras that are missing are named."""

import importlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from curewatch import frames
from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.errors import ExitStatus, UsageError
from curewatch.export import export
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Flag, Reading
from curewatch.units import HOUR

START = 1_770_000_000.0 // HOUR * HOUR


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook(tmp_path / "logbook.sqlite") as made:
        made.append(
            [
                Reading("bench", START, START + 1, 285.49, 0.812, 420e-6, 0.93, pressure=101_325.0),
                Reading("bench", START + 60, START + 61, 286.49, 0.4, sequence=7),
                Reading("hull", START + 60, START + 60, 280.0),
            ]
        )
        yield made


def test_the_margin_joins_the_surface_with_the_last_word_of_the_air(tmp_path: Path) -> None:
    """Dew points as CoolProp 8.0.0 gives them; air older than 15 minutes, or of unknown age, gives none."""
    held_back = int(Flag.BACKLOG | Flag.ARRIVAL_TIME)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(
            [
                Reading("bench", START, START, 288.15, 0.7),
                Reading("bench", START + 60, START + 60, 293.15, 0.6),
                Reading("bench", START + 120, START + 120, 300.15, 0.9, flags=held_back),
                Reading("hull", START + 30, START + 30, 285.15),
                Reading("hull", START + 180, START + 180, 286.15),
                Reading("hull", START + 960, START + 960, 287.15),
                Reading("hull", START + 961, START + 961, 287.15),
            ]
        )
        found = frames.margin(logbook, "bench", "hull")
        empty = frames.margin(logbook, "bench", "nobody")
    dew = [282.7302, 285.1591]  # HAPropsSI("D", "T", 288.15, "R", 0.7, "P", 101325); 293.15 and 0.6
    wanted = [285.15 - dew[0], 286.15 - dew[1], 287.15 - dew[1]]
    assert found["margin_k"][:3].to_numpy() == pytest.approx(wanted, abs=0.02)
    assert found["margin_k"].isna().tolist() == [False, False, False, True]
    assert found.attrs["units"]["margin_k"] == "K"
    assert len(empty) == 0
    assert list(empty.columns) == list(found.columns)


@pytest.mark.long
def test_the_script_of_the_readme_draws_last_weeks_margin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As it stands there, in a shed that reported until now: a picture, and the least margin in words."""
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("agg")
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (script,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    now = SystemClock().now().utc
    (tmp_path / "curewatch.toml").write_text('[logbook]\npath = "logbook.sqlite"\n')
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for day in range(10):
            at = now - day * 86_400 - 3600
            warm = 282.15 if day < 7 else 250.0  # the days before the week are not drawn
            logbook.append(
                [Reading("bench", at, at, 288.15, 0.7), Reading("hull", at + 1, at + 1, warm + day)]
            )
    monkeypatch.chdir(tmp_path)
    exec(compile(script, "README.md", "exec"), {})
    assert capsys.readouterr().out == "least -0.6 K; under 3 K in 57% of the reports\n"
    assert (tmp_path / "margin.png").read_bytes().startswith(b"\x89PNG")


def test_readings_are_in_the_units_that_the_columns_name(logbook: Logbook) -> None:
    """Degrees, per cent and stamps in UTC; what was not measured is missing."""
    found = frames.readings(logbook)
    assert found["sensor"].tolist() == ["bench", "bench", "hull"]
    assert found["temperature_c"].tolist() == [12.34, 13.34, 6.85]
    assert found["humidity_percent"].tolist()[:2] == [81.2, 40.0]
    assert found["carbon_dioxide_ppm"][0] == 420.0
    assert found["pressure_hpa"].tolist()[0] == 1013.25
    assert found["pressure_hpa"].isna().tolist() == [False, True, True]
    assert found.attrs["units"]["pressure_hpa"] == "hPa"
    assert found["time"][0] == pd.Timestamp(START, unit="s", tz="UTC")
    assert found["humidity_percent"].isna().tolist() == [False, False, True]
    assert found["sequence"].isna().tolist() == [True, False, True]
    assert found.attrs["units"]["temperature_c"] == "degC"
    assert found.attrs["units"]["humidity_percent"] == "%"
    assert len(frames.readings(logbook, START + 60, sensor="hull")) == 1
    assert list(frames.readings(logbook, sensor="nobody").columns) == list(found.columns)


def test_hours_hold_mean_and_extremes(logbook: Logbook) -> None:
    """Two readings in an hour, by hand: mean 12.84, from 12.34 to 13.34."""
    bench = frames.hours(logbook).query("sensor == 'bench'").iloc[0]
    assert bench["readings_of_temperature"] == 2
    assert (bench["lowest_temperature_c"], bench["highest_temperature_c"]) == (12.34, 13.34)
    assert bench["mean_temperature_c"] == pytest.approx(12.84, abs=1e-6)
    assert bench["mean_humidity_percent"] == pytest.approx(60.6, abs=1e-6)
    assert frames.hours(logbook).attrs["units"]["mean_temperature_c"] == "degC"


def test_layers_hold_what_was_said_and_when_they_were_closed(logbook: Logbook) -> None:
    """A closed layer stays in the frame; an empty logbook has the columns."""
    assert len(frames.layers(logbook)) == 0
    said = {"layer": "L1", "started": START, "resin": "epoxy-slow", "batch_mass": 0.15, "thickness": 0.001}
    logbook.append(entries=[Entry("layer", said, START), Entry("layer-closed", {"layer": "L1"}, START + 60)])
    found = frames.layers(logbook)
    assert list(found.columns) == list(frames.layers(logbook).columns)
    assert found["batch_mass_g"].tolist() == [pytest.approx(150.0)]
    assert found["thickness_mm"].tolist() == [pytest.approx(1.0)]
    assert found["closed"][0] - found["started"][0] == pd.Timedelta(60, "s")
    assert found["pot_emptied"].isna().all()
    assert found.attrs["units"]["batch_mass_g"] == "g"


def test_alerts_are_one_row_an_event(logbook: Logbook) -> None:
    """The event as it was stored; a payload of another form is passed over."""
    from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, event_as_plain

    event = Event(Happening.RAISED, Key(next(iter(AlertKind)), "L1"), START, "it is time", meaning="open")
    logbook.append(entries=[Entry("alert", event_as_plain(event), START), Entry("alert", {"x": 1}, START)])
    found = frames.alerts(logbook)
    assert found["subject"].tolist() == ["L1"]
    assert found["text"].tolist() == ["it is time"]
    assert found["at"][0] == pd.Timestamp(START, unit="s", tz="UTC")


def test_parquet_reads_back_as_the_frame(logbook: Logbook, tmp_path: Path) -> None:
    """Values, gaps and units survive the file."""
    export(logbook, tmp_path / "out.parquet")
    back, made = pd.read_parquet(tmp_path / "out.parquet"), frames.readings(logbook)
    assert back.attrs == made.attrs
    for name in made.columns:
        if name != "sensor":
            assert np.array_equal(back[name].isna(), made[name].isna())
    assert back["temperature_c"].tolist() == made["temperature_c"].tolist()


def test_a_missing_extra_is_refused_with_the_line_that_installs_it(
    logbook: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Parquet and pictures; nothing is left behind, and CSV needs neither."""
    for name in [each for each in sys.modules if each.partition(".")[0] in {"pyarrow", "matplotlib"}]:
        monkeypatch.setitem(sys.modules, name, None)
    for name in ("pyarrow", "matplotlib"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(UsageError, match=r"pip install 'curewatch\[parquet\]'"):
        export(logbook, tmp_path / "out.parquet")
    assert not list(tmp_path.glob("out*"))
    picture = tmp_path / "cure.svg"
    with pytest.raises(SystemExit) as stop:
        run(["cure", "--temperature", "20", "--chart", str(picture)])
    assert stop.value.code == ExitStatus.USAGE
    assert "Use pip install 'curewatch[charts]'" in capsys.readouterr().err
    assert export(logbook, tmp_path / "out.csv") == 3


def test_frames_without_their_library_say_what_installs_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """They come with an extra: 44 MB that no command needs."""
    monkeypatch.delitem(sys.modules, "curewatch.frames")
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(UsageError, match=r"found no pandas\. Use pip install 'curewatch\[frames\]'"):
        importlib.import_module("curewatch.frames")
