"""``curewatch observe`` from the keyboard to the next forecast, and back by undo."""

import json
import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch import configuration
from curewatch.cli.history_file import read_cup, read_history
from curewatch.cli.main import run
from curewatch.clock import SystemClock, iso_utc, utc_from_iso
from curewatch.errors import UsageError
from curewatch.logbook import Logbook
from curewatch.materials import load_resin
from curewatch.model.air.surface import lagged_temperature
from curewatch.model.film.film import constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.model.fit.score import widening
from curewatch.model.mass.pot import pot
from curewatch.readings import Reading
from curewatch.record import charts
from curewatch.shed import consult, learnt
from curewatch.shed.look import looking
from curewatch.units import DAY
from curewatch.worklog.job import told

TOML = """
[resin]
name = "epoxy-slow"
lot = "A12"
batch_mass_g = 150.0
[logbook]
path = "{path}"
[sensors.bench]
role = "air"
[sensors.hull]
role = "surface"
"""
Do = Callable[..., tuple[int, str, str]]


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ten hours of 20 degC in an invented shed."""
    file, path = tmp_path / "curewatch.toml", tmp_path / "log.db"
    file.write_text(TOML.format(path=path), encoding="utf-8")
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc
    with Logbook(path) as logbook:
        logbook.append(
            [
                Reading(name, at, at, kelvin, 0.5)
                for at in np.arange(now - 36000.0, now, 300.0).tolist()
                for name, kelvin in (("bench", 293.15), ("hull", 292.65))
            ]
        )
    return file


@pytest.fixture
def do(shed: Path, capsys: pytest.CaptureFixture[str]) -> Do:
    def call(*arguments: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            run(list(arguments))
        shown = capsys.readouterr()
        return int(ended.value.code or 0), shown.out, shown.err

    return call


def band(do: Do) -> tuple[str, str]:
    said: Any = json.loads(do("layer", "--running", "--json")[1])
    firm = next(each for each in said["running"][0]["timeline"] if each["name"] == "firm")
    return firm["early"][:16], firm["late"][:16]


def minutes(stamp: str) -> float:
    """Of a stamp to the minute: a busy machine may pass one between two answers."""
    return datetime.fromisoformat(stamp).timestamp() / 60.0


@pytest.mark.long
def test_what_was_seen_narrows_the_countdowns_and_undo_brings_them_back(do: Do, shed: Path) -> None:
    """A gel told of the running layer moves its next milestones; withdrawn, they are as before."""
    do("layer", "--ago", "8 h")
    before = band(do)
    status, out, _ = do("observe", "gelled", "--ago", "50 min")
    assert status == 0
    after_mixing = re.search(r"L1 gelled: 7 h (\d+) min after mixing", out)
    assert after_mixing is not None
    assert 10 <= int(after_mixing[1]) < 20  # on a busy machine minutes pass between two commands
    assert "version 2: gelled (entry" in out
    assert "lot A12" in out
    after = band(do)
    assert before[0] < after[0]
    assert after[1] < before[1]
    status, out, _ = do("observe", "--undo")
    assert "withdrawn: gelled of L1" in out
    assert "nothing was learnt" in out
    assert [minutes(end) for end in band(do)] == pytest.approx([minutes(end) for end in before], abs=5.0)


@pytest.mark.long
def test_a_lot_is_learnt_for_itself_alone(do: Do, shed: Path) -> None:
    """Another lot of the same resin stays as its sheet says."""
    do("layer", "--ago", "8 h")
    do("observe", "gelled")
    settings = configuration.load(shed)
    resin = load_resin("epoxy-slow")
    with Logbook(configuration.logbook_path(settings)) as logbook:
        assert learnt.resin_of_lot(logbook, resin, "A12").version == 2
        assert learnt.resin_of_lot(logbook, resin, "B7") is resin
        assert consult.question(settings, logbook=logbook).resin.version == 2
    with looking(settings, SystemClock().now().utc) as look:
        assert look.question.resin.version == 2


@pytest.mark.long
def test_a_learnt_lot_can_be_kept_as_a_file(do: Do, tmp_path: Path) -> None:
    """Printed as a resin file it loads again: the rates and their spread of the lot, its parent named."""
    do("layer", "--ago", "8 h")
    do("observe", "gelled")
    status, text, _ = do("resin", "show", "epoxy-slow", "--lot", "A12", "--toml")
    assert status == 0
    kept = tmp_path / "kept.toml"
    kept.write_text(text, encoding="utf-8")
    again, before = load_resin(kept), load_resin("epoxy-slow")
    shown = json.loads(do("resin", "show", "epoxy-slow", "--lot", "A12", "--json")[1])
    rate = next(each["value"] for each in shown["values"] if each["key"] == "kinetics.k2")
    assert again.name == "epoxy-slow-a12"
    assert (again.version, again.parent) == (2, "epoxy-slow")
    assert again.kinetics.k2 * 3600.0 == pytest.approx(rate, rel=1e-4)
    assert again.kinetics.k2 != pytest.approx(before.kinetics.k2, rel=0.01)
    assert again.rate_sd == pytest.approx(shown["rate_sd"], rel=1e-6)
    assert again.rate_sd < 0.75 * before.rate_sd
    assert again.origins["kinetics.k2"].tag == "learned"


def test_a_lot_of_which_nothing_is_known_has_no_file(do: Do) -> None:
    """Refused with what to do, not printed as if it had been learnt."""
    status, out, err = do("resin", "show", "epoxy-slow", "--lot", "B7", "--toml")
    assert (status, out) == (2, "")
    assert "nothing was learnt of lot 'B7'" in err
    assert "Give --lot, too" in do("resin", "show", "epoxy-slow", "--toml")[2]


@pytest.mark.long
def test_told_twice_it_counts_once(do: Do, shed: Path) -> None:
    """The second telling of one event replaces the first."""
    do("layer", "--ago", "8 h")
    do("observe", "gelled", "--ago", "60 min")
    said = json.loads(do("observe", "gelled", "--ago", "30 min", "--json")[1])
    assert [each["version"] for each in said["observations"]] == [2]
    assert said["observations"][0]["elapsed_s"] == pytest.approx(
        27000.0, abs=300.0
    )  # not 25200: however slow the machine


def test_a_layer_that_a_probe_saw_warm_is_no_fast_lot(do: Do, shed: Path) -> None:
    """Under a lamp, 15 K above its surface, it gels as a usual lot at 35 degC does; the control: no probe."""
    warm = milestones(load_resin("epoxy-slow"), cure(load_resin("epoxy-slow"), constant(308.15, DAY))).gel
    shed.write_text(shed.read_text() + '[sensors.p1]\nrole = "layer"\n', encoding="utf-8")
    now = SystemClock().now().utc
    with Logbook(configuration.logbook_path(configuration.load(shed))) as logbook:
        times = np.arange(now - 4 * 3600.0, now, 60.0).tolist()
        logbook.append([Reading("p1", at, at, 308.15, None) for at in times])
    factors = []
    for more in (("--probe", "p1"), ()):
        do("layer", "--ago", f"{warm / 60.0:.0f} min", *more)
        said = json.loads(do("observe", "gelled", "--layer", f"L{len(factors) + 1}", "--force", "--json")[1])
        factors.append(said["observations"][-1]["rate_factor"])
        do("observe", "--undo")
    seen, unseen = factors
    assert seen == pytest.approx(1.0, abs=0.05)
    assert unseen > 1.06


def cup_log(began: float | None, air_told: bool, heater: float) -> str:
    """150 g of a lot 1.3 times as fast at 20 degC; or a cup without own heat that a heater warms. [K]"""
    log = pot(load_resin("epoxy-slow"), 0.15, 293.15, rate_factor=1.3, duration=3 * 3600.0)
    time = 60.0 * np.arange(181)
    air = 293.15 + heater * np.clip(time / 3600.0, 0.0, 1.0)
    cup = np.interp(time, log.time, log.middle) if not heater else lagged_temperature(time, air, 1800.0)
    head = "time" if began else "time_s"
    at = [iso_utc(began + each) if began else f"{each:.0f}" for each in time]
    rows = [
        f"{when},{kelvin - 273.15:.2f}" + (f",{around - 273.15:.2f}" if air_told else "")
        for when, kelvin, around in zip(at, cup, air, strict=True)
    ]
    return "\n".join([f"{head},temperature_c" + (",air_c" if air_told else ""), *rows])


@pytest.mark.parametrize("air", ["column", "told", "recorded"])
def test_a_cup_is_learnt_without_any_layer(do: Do, shed: Path, tmp_path: Path, air: str) -> None:
    """A thermometer's CSV, its air and the usual batch mass suffice."""
    began = SystemClock().now().utc - 4 * 3600.0 if air == "recorded" else None
    cup = tmp_path / "cup.csv"
    cup.write_text(cup_log(began, air == "column", 0.0), encoding="utf-8")
    more = ("--temperature", "20") if air == "told" else ()
    status, out, err = do("observe", "--cup", str(cup), *more)
    assert status == 0, err
    assert "test cup" in out
    assert "faster than it was taken for" in out


def test_a_cup_in_air_that_nobody_told_teaches_nothing(do: Do, shed: Path, tmp_path: Path) -> None:
    """Without a column, a stamp or a word; nor one that a heater warms by 10 K. Control: --temperature."""
    cup = tmp_path / "cup.csv"
    for heater, air_told, said in (
        (0.0, False, "found nothing of the air around it"),
        (10.0, False, "found nothing of the air around it"),
        (10.0, True, "its air moved it by 1 K before it had risen by 5 K"),
    ):
        cup.write_text(cup_log(None, air_told, heater), encoding="utf-8")
        status, out, err = do("observe", "--cup", str(cup))
        assert (status, out) == (2, "")
        assert said in err
    with Logbook(configuration.logbook_path(configuration.load(shed))) as logbook:
        assert not list(logbook.entries("observation"))
    cup.write_text(cup_log(None, False, 10.0), encoding="utf-8")
    assert do("observe", "--cup", str(cup), "--temperature", "20", "--force")[0] == 0


def test_the_air_of_a_history_is_left_alone(tmp_path: Path) -> None:
    """A column of it without values is nothing to a cure; a cup needs it."""
    file = tmp_path / "history.csv"
    file.write_text("time_s,temperature_c,air_c\n0,20,\n600,21,19\n", encoding="utf-8")
    assert read_history(file).temperature.tolist() == [293.15, 294.15]
    with pytest.raises(UsageError, match="line 2: found ''"):
        read_cup(file, 400.0)


def test_a_cup_of_a_cold_mix_is_warmed_by_its_air(do: Do, tmp_path: Path) -> None:
    """Mixed at 12 degC in air of 20 that stays: what it rises by is not its own."""
    time = 60.0 * np.arange(181)
    cup = tmp_path / "cup.csv"
    dead = 293.15 - 8.0 * np.exp(-time / 1800.0)
    rows = (f"{at:.0f},{kelvin - 273.15:.2f}" for at, kelvin in zip(time, dead, strict=True))
    cup.write_text("\n".join(["time_s,temperature_c", *rows]), encoding="utf-8")
    status, _, err = do("observe", "--cup", str(cup), "--temperature", "20")
    assert (status, "its air moved it by 1 K" in err) == (2, True)


@pytest.mark.long
def test_a_resin_of_ones_own_file_is_learnt_and_undone(do: Do, tmp_path: Path) -> None:
    """Its file's name is kept with the observation, so that an undo finds it again."""
    mine = tmp_path / "mine.toml"
    mine.write_text(
        'name = "demo-creek"\ntitle = "Demo"\nbased_on = "epoxy-fast"\nnote = "demo"\n', encoding="utf-8"
    )
    do("layer", "--resin", str(mine), "--ago", "2 h")
    status, out, err = do("observe", "gelled", "--ago", "5 min")
    assert status == 0, err
    assert "demo-creek, as this lot" in out
    status, out, err = do("observe", "--undo")
    assert status == 0, err
    assert "withdrawn: gelled of L1" in out


def times(do: Do, layer: str) -> Any:
    """Early and late end of each moment of a layer; told soon after they are the same to minutes."""
    said: Any = json.loads(do("layer", "--running", "--json")[1])
    found = next(each for each in said["running"] if each["layer"] == layer)
    ends = (each[end] for each in found["timeline"] for end in ("early", "late"))
    return pytest.approx([0.0 if end is None else utc_from_iso(end) for end in ends], abs=240.0, rel=0)


@pytest.mark.long
def test_a_slip_is_refused_and_named(do: Do, shed: Path) -> None:
    """Gelled three minutes after mixing, with nobody to ask: not stored, and what would be believed."""
    do("layer", "--ago", "3 min")
    status, out, err = do("observe", "gelled")
    assert (status, out) == (2, "")
    assert "L1 gelled: found 3 min after mixing, expected" in err
    assert "--force" in err
    assert do("observe", "gelled", "--json")[0] == 2
    with Logbook(configuration.logbook_path(configuration.load(shed))) as logbook:
        assert not list(logbook.entries("observation"))


@pytest.mark.long
def test_a_slip_that_was_forced_moves_no_other_layer_and_narrows_nothing(do: Do, shed: Path) -> None:
    """Of two wet layers of one lot the other is as fast as before, in wider ranges; undone, as it was."""
    do("layer", "--ago", "8 h")
    do("layer", "--ago", "3 min")
    first, second = times(do, "L1"), times(do, "L2")
    status, out, err = do("observe", "gelled", "--layer", "L2", "--force")
    assert status == 0, err
    assert "It moves this layer a little, and no other" in out
    assert "for L2 alone" in out
    before, after = (np.reshape(each.expected, (-1, 2)) for each in (first, times(do, "L1")))
    wider = ((after - before) * (-1.0, 1.0))[(before > 0.0) & (after > 0.0)]
    assert wider.min() > -60.0
    assert wider.max() > 300.0
    settings, sheet = configuration.load(shed), load_resin("epoxy-slow")
    with Logbook(configuration.logbook_path(settings)) as logbook:
        start = consult.question(settings, logbook=logbook).resin
        assert start == replace(sheet, rate_sd=widening([3.0]) * sheet.rate_sd)
        own = learnt.resin_of_lot(logbook, sheet, "A12", "L2")
    assert 1.0 < own.kinetics.k2 / sheet.kinetics.k2 < 1.15
    assert own.rate_sd == sheet.rate_sd
    assert (
        json.loads(do("observe", "gelled", "--layer", "L1", "--json")[1])["observations"][0]["used"] is False
    )
    for _ in range(2):
        assert do("observe", "--undo")[0] == 0
    assert times(do, "L1").expected == first
    assert times(do, "L2").expected == second
    assert "nothing to withdraw" not in do("observe", "--undo")[2]
    with Logbook(configuration.logbook_path(settings)) as logbook:
        assert len(logbook.entries("observation")) == 2  # nothing is edited


@pytest.mark.long
def test_a_slip_told_rightly_again_is_judged_without_the_first_telling(do: Do) -> None:
    """The right hour after a forced slip is what was expected of the lot, and teaches it."""
    do("layer", "--ago", "11 h")
    do("observe", "gelled", "--ago", "10 h 50 min", "--force")
    status, out, err = do("observe", "gelled", "--ago", "10 min")
    assert status == 0, err
    assert "Not expected" not in out
    assert "version 2: gelled" in out


WRONG = {
    "nothing said": ((), "say what you saw"),
    "an unknown word": (("smelled",), "kicked, gelled, tack-free, firm"),
    "undo with more": (("gelled", "--undo"), "--undo stands alone"),
    "no layer": (("gelled",), "found none running"),
    "nothing to undo": (("--undo",), "no observation to withdraw"),
    "no such cup": (("--cup", "nowhere.csv"), "found no such file"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_slip_of_the_keyboard_is_told_and_writes_nothing(do: Do, shed: Path, case: str) -> None:
    """Exit status 2, what is allowed, and no entry."""
    arguments, said = WRONG[case]
    status, _, err = do("observe", *arguments)
    assert status == 2
    assert said in err
    with Logbook(configuration.logbook_path(configuration.load(shed))) as logbook:
        assert not list(logbook.entries("observation"))


def test_a_time_before_mixing_is_refused(do: Do) -> None:
    """What is seen of a layer comes after it was mixed."""
    do("layer", "--ago", "1 h")
    status, _, err = do("observe", "gelled", "--ago", "2 h")
    assert status == 2
    assert "must be later" in err


@pytest.mark.long
def test_what_was_withdrawn_is_no_mark_of_the_record(do: Do, shed: Path) -> None:
    """The record's chart flags what was seen, and no longer once it was taken back."""

    def flags() -> list[str]:
        with Logbook(configuration.logbook_path(configuration.load(shed))) as logbook:
            entries = told(logbook.entries(("observation", "correction")))
        job = SimpleNamespace(of=lambda kind: [each for each in entries if each.kind == kind])
        return [flag.label for flag in charts._seen(SimpleNamespace(job=job), SimpleNamespace(layer="L1"))]

    do("layer", "--ago", "8 h")
    do("observe", "gelled")
    assert flags() == ["observed: gelled"]
    do("observe", "--undo")
    assert flags() == []
