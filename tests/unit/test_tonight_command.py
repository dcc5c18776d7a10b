"""``curewatch tonight`` from a real logbook: the answer, its exit status, and the same as JSON."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.answers.catalogue import schema
from curewatch.cli.main import run
from curewatch.clock import SystemClock, iso_utc, utc_from_iso
from curewatch.logbook import Logbook
from curewatch.readings import Reading

Fill = Callable[..., None]


@pytest.fixture
def fill(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Fill:
    """The demo world's configuration, and a way to put readings of the last hours into its logbook."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[shed]\nname = "Saltmarsh Shed"\n[logbook]\npath = "logbook.sqlite"\n'
        '[sensors.bench]\nrole = "air"\npart = "humidity-2"\n'
        '[sensors.hull]\nrole = "surface"\npart = "probe"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))

    def put(celsius: float, humidity: float, *, silent: str = "", age: float = 20.0) -> None:
        now = SystemClock().now().utc - age
        kelvin = celsius + 273.15
        readings = []
        for minutes in range(180, -1, -1):
            at = now - 60.0 * minutes
            readings.append(Reading("bench", at, at, kelvin + 0.01 * (minutes % 7), humidity))
            if silent != "hull" or minutes > 60:
                readings.append(Reading("hull", at, at, kelvin - 0.2 + 0.01 * (minutes % 5)))
        with Logbook(tmp_path / "logbook.sqlite") as logbook:
            logbook.append(readings)

    return put


def tonight(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        run(["tonight", *arguments])
    return int(stop.value.code or 0)


def test_a_warm_dry_shed_answers_go_and_exits_zero(fill: Fill, capsys: pytest.CaptureFixture[str]) -> None:
    """The first word is the answer; the times follow."""
    fill(22.0, 0.35)
    assert tonight() == 0
    out = capsys.readouterr().out
    assert out.startswith("GO ")
    assert "Saltmarsh Shed" in out.splitlines()[0]
    assert re.search(r"laminate again +from .+, before +\S", out)
    assert "WARNING" in out
    assert len(out.splitlines()) <= 10


@pytest.mark.parametrize(
    ("tins", "said"),
    [
        ("", ""),
        ("resin_g = 900\nadded_g = 300", ""),
        ("resin_g = 100\nadded_g = 300", "Stock: short of 64 g of resin."),
        ("resin_g = 100\nadded_g = 1", "Stock: short of 64 g of resin and 35 g of hardener."),
    ],
)
def test_what_the_tins_lack_for_the_batch_is_one_of_the_ten_lines(
    fill: Fill, tmp_path: Path, capsys: pytest.CaptureFixture[str], tins: str, said: str
) -> None:
    """200 g of epoxy-slow are 163.9 of resin and 36.1 of hardener; nothing is said of what nobody counted."""
    fill(22.0, 0.35)
    if tins:
        with (tmp_path / "curewatch.toml").open("a") as file:
            file.write(f"[stock.epoxy-slow]\n{tins}\ncounted = 2026-11-01\n")
    tonight("--mass", "200 g")
    out = capsys.readouterr().out
    assert len(out.splitlines()) <= 10
    assert [line.strip() for line in out.splitlines() if "Stock" in line] == ([said] if said else [])


@pytest.mark.long
def test_a_cold_damp_shed_answers_no_go_and_exits_three(
    fill: Fill, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the number that decided it in the second line."""
    fill(7.0, 0.88)
    assert tonight() == 3
    out = capsys.readouterr().out
    assert out.startswith("NO-GO ")
    assert "needs" in " ".join(out.split())
    assert len(out.splitlines()) <= 10


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"silent": "hull"}, "hull"),
        ({"age": 3600.0}, "bench"),
    ],
)
def test_a_silent_or_stale_sensor_answers_unknown_and_exits_four(
    fill: Fill, capsys: pytest.CaptureFixture[str], how: dict[str, object], says: str
) -> None:
    """However good the other readings are."""
    fill(22.0, 0.35, **how)
    assert tonight() == 4
    out = capsys.readouterr().out
    assert out.startswith("UNKNOWN ")
    assert says in out
    assert "Do now" in out
    assert len(out.splitlines()) <= 10


def test_without_a_logbook_it_is_unknown_not_an_error(fill: Fill, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing has been heard yet, and it says so."""
    assert tonight() == 4
    assert "nothing is known of the shed's air" in capsys.readouterr().out


def test_json_has_the_same_answer_and_only_documented_keys(
    fill: Fill, capsys: pytest.CaptureFixture[str]
) -> None:
    """Verdict, checks and times as on the screen; every key stands in its schema and no other."""
    fill(22.0, 0.35)
    assert tonight("--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["verdict"] == "go"
    assert {moment["name"] for moment in said["timeline"]} >= {"gel", "laminate-before", "tack-free"}
    known = json.loads(schema("tonight"))
    parts = known["properties"]
    assert set(said) == set(parts)
    for key in ("checks", "timeline"):
        part = parts[key]["items"]["$ref"].rpartition("/")[2]
        assert set(said[key][0]) == set(known["$defs"][part]["properties"])


@pytest.mark.long
def test_another_start_and_another_resin_are_taken(fill: Fill, capsys: pytest.CaptureFixture[str]) -> None:
    """--at and --resin reach the answer."""
    fill(22.0, 0.35)
    later = SystemClock().now().utc + 7200
    tonight("--json", "--resin", "epoxy-fast", "--at", iso_utc(later), "--mass", "150 g")
    said = json.loads(capsys.readouterr().out)
    assert said["resin"] == "epoxy-fast"
    assert utc_from_iso(said["start"]) == pytest.approx(later, abs=1.0)
    assert "condensation-now" not in {check["name"] for check in said["checks"]}


def test_a_mistake_is_told_without_a_traceback(fill: Fill, capsys: pytest.CaptureFixture[str]) -> None:
    """A resin nobody knows is a usage error that names those that are known."""
    assert tonight("--resin", "treacle") == 2
    assert "epoxy-slow" in capsys.readouterr().err
