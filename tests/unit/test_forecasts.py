"""A forecast that the user feeds: as a file, over the wire, kept, and used."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from curewatch import configuration
from curewatch.advice.judge.situation import Place, Surfaced
from curewatch.answers.forecast import forecast_document
from curewatch.cli.main import run
from curewatch.clock import Instant, SystemClock, iso_utc, utc_from_iso
from curewatch.daemon.core import Core
from curewatch.daemon.events import BytesArrived, MessageArrived, Store, Tick
from curewatch.errors import ExitStatus, UsageError
from curewatch.logbook import Logbook
from curewatch.materials.substrate import load_substrate
from curewatch.physics import moist_air
from curewatch.shed import forecasts
from curewatch.shed.look import Look, coming_hours

HOUR, NOW = 3600.0, 1_764_000_000.0


def table(start: float = NOW, hours: int = 48) -> bytes:
    """A made-up night and day outside, one line an hour."""
    rows = ["time,temperature,humidity"]
    for hour in range(hours + 1):
        warmth = 6.0 + 4.0 * np.sin(2 * np.pi * hour / 24)
        rows.append(f"{iso_utc(start + hour * HOUR)},{warmth:.1f},{90 - 2 * warmth:.0f}")
    return "\n".join(rows).encode()


def changed(warmth: float, damp: float, start: float = NOW) -> bytes:
    """Its columns times so much: another unit, told as degC and per cent."""
    rows = [f"{iso_utc(start + n * HOUR)},{warmth * (10 + n % 5)},{damp * 70}" for n in range(24)]
    return "\n".join(["time,temperature,humidity", *rows]).encode()


def pack(hours: int = 24, name: str = "forecast/") -> bytes:
    """The same as SenML with relative times."""
    records = [{"bn": name, "n": "temperature", "u": "Cel", "t": 3600, "v": 7.0}]
    records += [{"n": "temperature", "u": "Cel", "t": 3600 * h, "v": 7.0} for h in range(2, hours + 1)]
    records += [{"n": "humidity", "u": "%RH", "t": 3600 * h, "v": 80.0} for h in range(1, hours + 1)]
    return json.dumps(records).encode()


def test_a_table_becomes_a_forecast_in_si() -> None:
    """Lines of time, temperature and humidity: kelvin, pascal, rising times, issued now."""
    found = forecasts.from_bytes(table(), NOW).forecast
    assert found.issued == NOW
    assert len(found.time) == 49
    assert found.time[-1] == pytest.approx(NOW + 48 * HOUR)
    assert found.temperature[0] == pytest.approx(279.15)
    assert found.vapour_pressure[0] == pytest.approx(float(moist_air.vapour_pressure(279.15, 0.78)), rel=1e-6)


def test_a_pack_counts_its_relative_times_from_now() -> None:
    """SenML times below 2^28 are so far from now."""
    found = forecasts.from_bytes(pack(), NOW).forecast
    assert found.time[0] == pytest.approx(NOW + HOUR)
    assert found.time[-1] == pytest.approx(NOW + 24 * HOUR)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"hello", "forecast: found no reading"),
        (b"", "forecast: found no reading"),
        (table(NOW - 60 * HOUR), "at least 6 h ahead"),
        (b"time,temperature\n" + f"{iso_utc(NOW + 9 * HOUR)},5\n".encode() * 3, "temperature and humidity"),
        (pack(3), "the last 3.0 h ahead"),
        (changed(5.8, 1.0), "found up to 81 degC in it. Use -90 to 60 degC, and state Fahrenheit"),
        (changed(-10.0, 1.0), "found down to -140 degC in it"),
        (
            changed(1.0, 0.01),
            "found no humidity above 0.7 %. Use per cent, or name its column humidity_fraction",
        ),
        (table(NOW + 400 * 24 * HOUR), "begins 9600 h ahead. Use one that begins within 24 h"),
    ],
)
def test_what_cannot_be_a_forecast_is_refused_in_words(data: bytes, said: str) -> None:
    """Nonsense, nothing, the past, no humidity, too short: each is told what is wanted."""
    with pytest.raises(UsageError, match=said):
        forecasts.from_bytes(data, NOW)


def test_what_the_weather_has_been_is_a_forecast() -> None:
    """The controls of the refusals: a hot day, a frost, dry air, and a forecast that begins tomorrow."""
    for data in (changed(4.0, 0.1), changed(-3.0, 1.0), table(NOW + 20 * HOUR)):
        assert len(forecasts.from_bytes(data, NOW).forecast.time) >= 24
    hot = b"time,temperature_f,humidity_fraction\n" + changed(8.0, 0.01).split(b"\n", 1)[1]
    assert forecasts.from_bytes(hot, NOW).forecast.temperature[0] == pytest.approx(273.15 + 48 / 1.8)


def test_it_is_kept_as_it_was_fed(tmp_path: Path) -> None:
    """Written as an entry and read back, the newest last; old ones are left alone."""
    first = forecasts.from_bytes(table(), NOW).forecast
    second = forecasts.from_bytes(pack(), NOW + 4 * HOUR).forecast
    with Logbook(tmp_path / "log.sqlite") as logbook:
        for one in (first, second):
            logbook.write(forecasts.entry(one, "a test"))
        found = forecasts.kept(logbook, NOW + 5 * HOUR)
        assert forecasts.kept(logbook, NOW + 61 * 24 * HOUR) == ()
    assert [one.issued for one in found] == [NOW, NOW + 4 * HOUR]
    assert np.allclose(found[0].temperature, first.temperature, atol=0.01)
    assert np.allclose(found[0].vapour_pressure, first.vapour_pressure, atol=0.1)


def stored_by(core: Core, *events: object) -> tuple[list, list, list]:
    """Entries, readings and refusals that the core asks to store."""
    entries, readings, rejected = [], [], []
    effects = [effect for event in events for effect in core.receive(event)]  # type: ignore[arg-type]
    effects += core.receive(Tick(Instant(NOW + 2, 2.0)))
    for effect in effects:
        if isinstance(effect, Store):
            entries += effect.entries
            readings += effect.readings
            rejected += effect.rejected
    return entries, readings, rejected


def message(payload: bytes) -> MessageArrived:
    return MessageArrived("broker", "curewatch/forecast/reading", payload, Instant(NOW, 0.0))


def test_a_message_under_its_name_becomes_an_entry_and_no_reading() -> None:
    """What lies ahead was never measured: it is kept apart from readings."""
    core = Core(configuration.load(None), Instant(NOW, 0.0))
    entries, readings, _ = stored_by(core, message(pack()))
    kinds = [entry.kind for entry in entries]
    assert kinds.count("forecast") == 1
    assert readings == []


def test_a_message_that_is_no_forecast_is_refused_and_counted() -> None:
    """A single value under that name is not taken for a sensor's reading."""
    core = Core(configuration.load(None), Instant(NOW, 0.0))
    entries, readings, rejected = stored_by(core, message(pack(2)))
    assert "forecast" not in [entry.kind for entry in entries]
    assert readings == []
    assert [each.reason for each in rejected] == [forecasts.UNUSABLE]


def test_on_a_serial_line_the_name_gives_no_way_around_plausibility() -> None:
    """A line with a stamp far ahead is refused there, whatever it calls itself."""
    core = Core(configuration.load(None), Instant(NOW, 0.0))
    line = f"time={iso_utc(NOW + 9 * HOUR)} name=forecast temperature=7.0 humidity=80\n".encode()
    _, readings, _ = stored_by(core, BytesArrived("port", b"\n" + line, Instant(NOW, 0.0)))
    assert readings == []


def test_a_forecast_alone_moves_nothing() -> None:
    """With nothing recorded here its worth is not known: the wide assumption stands, and it is said."""
    air = Place("bench", "air", NOW, 281.15, 0.2, 0.8, 0.02, 870.0, 20.0)
    fed = (forecasts.from_bytes(table(), NOW).forecast,)
    substrate = load_substrate("plywood")
    hull = Place("hull", "surface", NOW, 281.15, 0.2)
    told = coming_hours(Surfaced(NOW, air, surface=hull, forecasts=fed), substrate)
    plain = coming_hours(Surfaced(NOW, air, surface=hull), substrate)
    assert told is not None
    assert plain is not None
    assert np.array_equal(told.air_temperature, plain.air_temperature)
    assert "the forecast is not used yet" in told.basis
    assert "forecast" not in plain.basis


def test_of_many_kept_forecasts_one_in_three_hours_is_read_back(tmp_path: Path) -> None:
    """Fed every half hour for a day: the newest, and one in three hours before it."""
    with Logbook(tmp_path / "log.sqlite") as logbook:
        for half in range(48):
            fed = forecasts.from_bytes(table(NOW + 1800.0 * half), NOW + 1800.0 * half).forecast
            logbook.write(forecasts.entry(fed, "a test"))
        found = forecasts.kept(logbook, NOW + 24 * HOUR)
    assert [(each.received - NOW) / 1800.0 for each in found] == [5, 11, 17, 23, 29, 35, 41, 47]


def test_the_command_feeds_and_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Fed from a file it is in use; without one the command shows what counts; nonsense is status 2."""
    file = tmp_path / "curewatch.toml"
    file.write_text('[logbook]\npath = "logbook.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    data = tmp_path / "outside.csv"
    data.write_bytes(table(SystemClock().now().utc))

    def called(*arguments: str) -> tuple[int, str]:
        with pytest.raises(SystemExit) as stop:
            run(["forecast", *arguments])
        said = capsys.readouterr()
        return int(stop.value.code or 0), said.out + said.err

    assert called() == (ExitStatus.OK, called()[1])
    assert "no forecast fed" in called()[1]
    status, said = called(str(data))
    assert status == ExitStatus.OK
    assert "in use" in said
    assert "none kept before it" in said
    assert json.loads(called("--json")[1])["kept"] == 1
    data.write_bytes(b"no forecast at all")
    status, said = called(str(data))
    assert status == ExitStatus.USAGE
    assert "Use lines" in said


def test_one_that_came_after_the_moment_was_read_is_kept_for_no_time() -> None:
    """A forecast is fed a moment after the command looked at its clock: over 0 days, never over -0."""
    fed = forecasts.from_bytes(table(), NOW).forecast
    for clock in (NOW, NOW - 5.0, NOW - 3 * HOUR):
        days = forecast_document((fed,), clock).kept_days
        assert (days, math.copysign(1.0, days)) == (0.0, 1.0)


def test_a_stored_forecast_is_found_by_the_situation(tmp_path: Path) -> None:
    """What was fed to the logbook is part of what is known of the shed."""
    from curewatch.shed.present import situation

    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.write(forecasts.entry(forecasts.from_bytes(table(), NOW).forecast, "a test"))
        found = situation(logbook, configuration.load(None), NOW + HOUR)
    assert len(found.forecasts) == 1


def test_the_pack_in_the_notes_is_a_forecast() -> None:
    """The example that the wire notes show is taken as it stands there."""
    notes = Path(__file__).parents[2] / "firmware_notes" / "FORECAST.md"
    shown = [
        line.strip() for line in notes.read_text(encoding="utf-8").splitlines() if line.startswith("    ")
    ]
    begin = shown.index("time,temperature,humidity")
    found = forecasts.from_bytes("".join(shown[:begin]).encode(), NOW).forecast
    assert len(found.time) == 2
    assert found.temperature[1] == pytest.approx(278.65)
    told = forecasts.from_bytes("\n".join(shown[begin:]).encode(), utc_from_iso("2026-11-25T18:30Z")).forecast
    assert np.allclose(told.temperature, [280.15, 278.65, 277.15])


def test_the_past_reaches_back_by_hourly_means(tmp_path: Path) -> None:
    """Readings of a month ago are in the past that the outlook learns from, hour by hour."""
    from curewatch.readings import Reading

    stamps = np.arange(NOW - 30 * 24 * HOUR, NOW, 1800.0)
    readings = [Reading("bench", t, t, 280.0 + (t - NOW) / 1e6, 0.8) for t in stamps.tolist()]
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(readings)
        look = Look(logbook, configuration.load(None), NOW)
        found, told = look.situation, look.outlook
    known = np.isfinite(found.past.vapour_pressure)
    assert found.past.time[0] < NOW - 29 * 24 * HOUR
    old = known & (found.past.time < NOW - 20 * 24 * HOUR)
    assert 200 < old.sum() < 250
    expected = 280.0 + (found.past.time[old] - NOW) / 1e6
    assert np.allclose(found.past.air_temperature[old], expected, atol=0.01)
    assert told is not None
    assert told.history_hours == pytest.approx(30 * 24, abs=2)
