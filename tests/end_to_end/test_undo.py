"""A slip on a terminal is asked again; undone, alerts and times are as if it had never been told."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pexpect
import pytest

from curewatch import configuration
from curewatch.advice.alert import alerts
from curewatch.cli.main import run
from curewatch.clock import Instant, SystemClock, utc_from_iso
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Publish, Show
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Reading
from curewatch.units import HOUR, MINUTE
from tests.terminal import spawn

TOML = """
[resin]
name = "epoxy-fast"
lot = "A12"
[logbook]
path = "{path}"
[sensors.bench]
role = "air"
[sensors.hull]
role = "surface"
"""
Documents = dict[str, Any]


LAYERS = (("L1", 90 * MINUTE), ("L2", 3 * MINUTE))


def readings(start: float, end: float) -> list[Reading]:
    """One a minute of each sensor, and one at the end. [s UTC]"""
    times = [*np.arange(start, end - 1.0, MINUTE).tolist(), end]
    return [Reading(name, at, at, 293.15, 0.5) for at in times for name in ("bench", "hull")]


class Shed:
    """A shed at 20 degC with a layer laid ninety minutes ago and one just laid, and its daemon's looks."""

    def __init__(self, folder: Path, now: float, capsys: pytest.CaptureFixture[str] | None = None) -> None:
        folder.mkdir(exist_ok=True)
        self.file, self._capsys = folder / "curewatch.toml", capsys
        self.file.write_text(TOML.format(path=folder / "log.db"), encoding="utf-8")
        layers = [Layer(name, now - ago, "epoxy-fast", lot="A12") for name, ago in LAYERS]
        laid = [Entry("layer", layer_as_plain(layer), layer.started) for layer in layers]
        with Logbook(folder / "log.db") as logbook:
            logbook.append(readings(now - 10 * HOUR, now), laid)
        self._heard = now
        self.memory: Any = None  # of the daemon; none after a restart

    def do(self, *arguments: str) -> tuple[int, str]:
        """A command at the bench; its status and what it printed."""
        with pytest.raises(SystemExit) as ended:
            run([*arguments, "--config", str(self.file)])
        shown = self._capsys.readouterr().out if self._capsys else ""
        return int(ended.value.code or 0), shown

    def look(self, at: float) -> Documents:
        """One look, stored as the daemon would; what it publishes, and which alerts rang."""
        settings = configuration.load(self.file)
        with Logbook(configuration.logbook_path(settings)) as logbook:
            logbook.append(readings(self._heard + 1.0, at))
            self._heard = at
            evaluation = Evaluation(settings, logbook, memory=self.memory)
            said = evaluation(Instant(at, at), "asked by a test")
            self.memory = evaluation.memory
            logbook.append(entries=[one for one in said if isinstance(one, Entry)])
        found: Documents = {one.topic: one.document for one in said if isinstance(one, Publish)}
        found["rang"] = [one.detail["alert"] for one in said if isinstance(one, Show) and one.kind == "alert"]
        return found


def moments(shed: Shed) -> list[float]:
    """Every moment of every running layer, as the commands count them down. [s UTC]"""
    said = json.loads(shed.do("layer", "--running", "--json")[1])["running"]
    ends = [one[key] for layer in said for one in layer["timeline"] for key in ("early", "late")]
    return [0.0 if end is None else utc_from_iso(end) for end in ends]


def same_moments(told: Shed, quiet: Shed) -> None:
    """On a busy machine the two are not asked at one moment."""
    begun = SystemClock().now().utc
    expected, found = moments(quiet), moments(told)
    passed = SystemClock().now().utc - begun
    assert found == pytest.approx(expected, rel=0.0, abs=30.0 + 3.0 * passed)


def alerts_of(found: Documents) -> list[dict[str, Any]]:
    """What stands, without the moment since when."""
    return [{key: value for key, value in one.items() if key != "since"} for one in found["alerts"]["alerts"]]


def standing(folder: Path) -> set[tuple[str, str]]:
    """Kind and subject of each alert that stands by the logbook alone."""
    with Logbook(folder / "log.db", read_only=True) as logbook:
        stored = alerts.events_told(entry.payload for entry in logbook.entries("alert"))
    return {(str(key.kind), key.subject) for key in alerts.rebuild(stored)}


@pytest.mark.long
def test_after_an_undo_one_look_gives_what_would_stand_had_nothing_been_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beside a shed in which nobody told anything: alerts, countdowns and advice are the same again."""
    now = SystemClock().now().utc
    quiet, told = Shed(tmp_path / "quiet", now, capsys), Shed(tmp_path / "told", now, capsys)
    looks = [quiet.look(now + minute * MINUTE) for minute in (0, 1, 2)]
    assert told.look(now) == looks[0]
    assert (
        told.do("observe", "gelled", "--layer", "L1", "--ago", "10 min")[0] == 0
    )  # early, and inside the band
    after = told.look(now + MINUTE)
    assert alerts_of(after) != alerts_of(looks[1])  # it was believed: alerts of both layers rang
    assert after["alerts"] != looks[1]["alerts"]
    assert told.do("observe", "--undo")[0] == 0
    again = told.look(now + 2 * MINUTE)
    assert alerts_of(again) == alerts_of(looks[2])
    assert {**again["alerts"], "alerts": 0} == {**looks[2]["alerts"], "alerts": 0}
    assert again["advice"] == looks[2]["advice"]
    same_moments(told, quiet)


@pytest.mark.long
def test_a_forced_slip_rings_no_alert_and_changes_no_advice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Gelled three minutes after mixing, forced for L2: L1's alerts and a start now are as before.

    The score counts it, since somebody insisted: ranges are wider, and a window is told to close no later.
    """
    now = SystemClock().now().utc
    quiet, told = Shed(tmp_path / "quiet", now, capsys), Shed(tmp_path / "told", now, capsys)
    assert told.do("observe", "gelled", "--layer", "L2")[0] == 2
    assert told.do("observe", "gelled", "--layer", "L2", "--force")[0] == 0
    expected, found = (shed.look(now + MINUTE) for shed in (quiet, told))
    assert [one["early"] for one in found["advice"].pop("score")] == [1]
    assert expected["advice"].pop("score") == []
    assert found["advice"] == expected["advice"]
    named = [
        {(one["alert"], one["subject"]) for one in alerts_of(each) if one["subject"] != "L2"}
        for each in (found, expected)
    ]
    assert named[0] == named[1]
    assert {one["alert"] for one in alerts_of(found)} == {one["alert"] for one in alerts_of(expected)}
    before, now_told = (
        [one["text"]["numbers"].get("before", 0.0) for one in alerts_of(each) if one["subject"] == "L1"]
        for each in (expected, found)
    )
    assert all(now_at <= was + 1.0 for now_at, was in zip(now_told, before, strict=True))
    assert told.do("observe", "--undo")[0] == 0
    expected, found = (shed.look(now + 2 * MINUTE) for shed in (quiet, told))
    assert found["advice"] == expected["advice"]  # its score, too
    assert alerts_of(found) == alerts_of(expected)


@pytest.mark.long
def test_on_a_terminal_a_slip_is_asked_again(tmp_path: Path) -> None:
    """Enter writes nothing down and the status is not 0; a yes keeps it, with what it moves."""
    shed = Shed(tmp_path / "shed", SystemClock().now().utc)
    log = tmp_path / "shed" / "log.db"
    for reply, status, kept in (("", 2, 0), ("y", 0, 1)):
        talk = spawn(tmp_path, "observe", "gelled", "--layer", "L2", "--config", str(shed.file))
        talk.expect(r"L2 gelled: found \d+ min after mixing, expected")
        talk.expect("keep it all the same")
        talk.sendline(reply)
        talk.expect("nothing was written down" if status else "It moves this layer a little, and no other")
        talk.expect(pexpect.EOF)
        talk.close()
        assert talk.exitstatus == status
        with Logbook(log, read_only=True) as logbook:
            assert len(logbook.entries("observation")) == kept


@pytest.mark.long
def test_an_undo_while_no_daemon_ran_is_taken_up_by_the_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A restart forgets nothing: what stands only by the withdrawn words is cleared at its first look."""
    now = SystemClock().now().utc
    quiet, told = Shed(tmp_path / "quiet", now, capsys), Shed(tmp_path / "told", now, capsys)
    quiet.look(now)
    told.look(now)
    told.do("observe", "gelled", "--layer", "L1", "--ago", "10 min")
    told.look(now + MINUTE)
    told.do("observe", "--undo")
    told.memory = quiet.memory = None
    expected, found = (shed.look(now + 2 * MINUTE) for shed in (quiet, told))
    assert alerts_of(found) == alerts_of(expected)
    assert found["advice"] == expected["advice"]
    same_moments(told, quiet)
    assert standing(tmp_path / "told") == standing(tmp_path / "quiet")
    assert {kind for kind, _ in standing(tmp_path / "told")} == {one["alert"] for one in alerts_of(found)}
