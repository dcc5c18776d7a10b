"""`curewatch alerts`: what stands and what to do, and an acknowledgement that the daemon takes up."""

import fcntl
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from msgspec.structs import replace

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key
from curewatch.cli.main import run
from curewatch.cli.screens.alerts import UNWATCHED
from curewatch.clock import SystemClock
from curewatch.logbook import Entry, Logbook
from curewatch.logbook.lock import InUse, Lock, held
from curewatch.phrases import phrase
from curewatch.readings import Reading


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shed where two alerts stand, and one was raised and cleared."""
    file, path = tmp_path / "curewatch.toml", tmp_path / "shed.sqlite"
    file.write_text('[logbook]\npath = "shed.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc
    missed, damp, silent = (
        Key(AlertKind.RECOAT_WINDOW, "L1"),
        Key(AlertKind.CONDENSATION),
        Key(AlertKind.SENSOR_LOST, "hull"),
    )
    story = [
        Event(Happening.RAISED, silent, now - 7200, "hull: silent"),
        Event(Happening.CLEARED, silent, now - 7000, "hull: heard again"),
        Event(Happening.RAISED, missed, now - 600, "window missed on L1\x1b[2J", "abrade"),
        Event(Happening.RAISED, damp, now - 60, "condensation coming", "warm the surface"),
    ]
    with Logbook(path) as logbook:
        logbook.append(entries=[Entry("alert", alerts.event_as_plain(each), each.at) for each in story])
    return path


def called(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as end:
        run(["alerts", *arguments])
    found = capsys.readouterr()
    assert not end.value.code, found.err
    return found.out


def stands(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(called(capsys, "--json"))["active"]
    return found


def test_what_stands_is_told_with_what_to_do(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Oldest first, what was cleared left out, nothing from outside acts on the terminal."""
    shown = called(capsys)
    assert shown.index("window missed") < shown.index("condensation coming") < shown.index("warm the surface")
    assert "hull" not in shown
    assert "\x1b" not in shown
    assert "hull: heard again" in called(capsys, "--past", "12 h")


def test_an_acknowledged_alert_is_in_the_logbook_and_goes_on_standing(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By its number, once however often; `all` takes the rest and says who; a wrong one is refused."""
    first, second = stands(capsys)
    called(capsys, "--acknowledge", str(first["number"]))
    called(capsys, "--acknowledge", str(first["number"]))
    assert [one["acknowledged"] is None for one in stands(capsys)] == [False, True]
    called(capsys, "--acknowledge", "all", "--by", "the owner")
    assert all(one["acknowledged"] for one in stands(capsys))
    with Logbook(shed, read_only=True) as logbook:
        told = [entry.payload for entry in logbook.entries("alert")]
    acknowledged = [payload for payload in told if payload["happening"] == "acknowledged"]
    assert [payload.get("by") for payload in acknowledged] == [None, "the owner"]
    with pytest.raises(SystemExit) as end:
        run(["alerts", "--acknowledge", "999"])
    assert end.value.code == 2
    assert f"{first['number']}, {second['number']}" in capsys.readouterr().err


def test_a_shed_without_a_logbook_has_no_alert(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Looking makes no file."""
    file = tmp_path / "curewatch.toml"
    file.write_text('[logbook]\npath = "shed.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    assert called(capsys) == f"no alert is active\n{UNWATCHED}\n"
    assert not (tmp_path / "shed.sqlite").exists()


def test_that_nobody_watches_is_said_while_no_daemon_runs(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An end without a new alert means nothing then; asking does not keep a daemon from starting."""
    assert UNWATCHED in called(capsys)
    assert not json.loads(called(capsys, "--json"))["watched"]
    with Logbook(shed) as logbook:
        logbook.hold("a daemon", 0.0)
        assert UNWATCHED not in called(capsys)
        assert json.loads(called(capsys, "--json"))["watched"]
    assert UNWATCHED in called(capsys)
    with Logbook(shed) as logbook:
        logbook.hold("the next one", 0.0)


def test_who_asks_whether_it_is_held_does_not_keep_a_daemon_out(tmp_path: Path) -> None:
    """A lock that is held for as long as a question takes is waited for; one that stays is not."""
    asked = tmp_path / "shed.sqlite.lock"
    asked.write_text("")
    with asked.open() as question:
        fcntl.flock(question, fcntl.LOCK_SH)
        with pytest.raises(InUse):
            Lock(tmp_path / "shed.sqlite", "a daemon", 0.0)
        fcntl.flock(question, fcntl.LOCK_UN)
    found = Lock(tmp_path / "shed.sqlite", "a daemon", 0.0)
    assert held(tmp_path / "shed.sqlite")
    found.release()
    assert held(tmp_path / "shed.sqlite") is False


def test_an_alert_is_read_in_the_readers_units_and_counts_down_to_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Stored with its numbers, worded where it is read; one from before that is shown as it stands."""
    file, path = tmp_path / "curewatch.toml", tmp_path / "shed.sqlite"
    file.write_text('[shed]\nunits = "F,12h"\n[logbook]\npath = "shed.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc
    wet = phrase("surface {margin:difference} above dew point", margin=1.5)
    before = phrase("laminate again before {before:moment} on {layer}", before=now + 1230.0, layer="L1")
    told = [
        Event(Happening.RAISED, Key(AlertKind.CONDENSATION), now - 3600, wet),
        Event(Happening.RAISED, Key(AlertKind.RECOAT_WINDOW, "L1"), now - 2370, before, due=now + 1230.0),
    ]
    old = alerts.event_as_plain(Event(Happening.RAISED, Key(AlertKind.STALL, "L2"), now - 60, "limit 3.0 K"))
    for key in ("words", "numbers"):
        del old[key]
    with Logbook(path) as logbook:
        logbook.append(entries=[Entry("alert", alerts.event_as_plain(each), each.at) for each in told])
        logbook.write(Entry("alert", old, now - 60))
    shown = called(capsys)
    assert "surface 2.7 °F above dew point" in shown
    day = r"(\w{3} \d+ \w{3} (20\d\d )?)?"  # stands there when twenty minutes on is tomorrow, or next year
    assert re.search(rf"before {day}\d+:\d\d [ap]m on L1, 20 min left", shown)
    assert "limit 3.0 K" in shown
    assert "surface 1.5 °C above dew point" in called(capsys, "--units", "C")
    first = stands(capsys)[0]
    assert first["text"] == {
        "text": "surface 1.5 °C above dew point",
        "words": "surface {margin:difference} above dew point",
        "numbers": {"margin": 1.5},
    }


def test_the_notices_sent_are_listed(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With their receiver and moment; older ones with the span that is asked for."""
    now = SystemClock().now().utc
    assert "no notice was sent in this time" in called(capsys, "--sent")
    with Logbook(shed) as logbook:
        for age, text in ((9 * 86_400, "long ago"), (3600, "L1 pot warming\x1b[2J")):
            payload = {"to": "phone", "about": [3], "text": text, "again": False}
            logbook.write(Entry("notice", payload, now - age))
    shown = called(capsys, "--sent")
    assert "phone: L1 pot warming" in shown
    assert "\x1b" not in shown
    assert "long ago" not in shown
    assert "long ago" in called(capsys, "--sent", "--past", "10 d")
    assert json.loads(called(capsys, "--json", "--sent"))["sent"][0]["to"] == "phone"
    assert json.loads(called(capsys, "--json"))["sent"] is None
    assert "no notice" not in called(capsys)


def test_a_test_notice_goes_to_everybody_and_is_noted_nowhere(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who took it is said, and who did not; without a receiver there is nothing to try."""
    with pytest.raises(SystemExit) as end:
        run(["notify", "test"])
    assert (end.value.code, "found no receiver" in capsys.readouterr().err) == (2, True)
    settings, kept = shed.with_name("curewatch.toml"), shed.with_name("kept")
    ring = ["sh", "-c", f"cat > {kept}; exit $(cat {kept}.status)"]
    settings.write_text(f'[logbook]\npath = "shed.sqlite"\n[notices]\ncommand = {json.dumps(ring)}\n')
    shed.with_name("kept.status").write_text("0")
    with pytest.raises(SystemExit) as end:
        run(["notify", "test"])
    assert (end.value.code or 0, capsys.readouterr().out) == (0, "command: took it\n")
    assert json.loads(kept.read_text())["text"].endswith("test notice. Alerts come here")
    shed.with_name("kept.status").write_text("5")
    with pytest.raises(SystemExit) as end:
        run(["notify", "test"])
    assert (end.value.code, "command: sh: status 5" in capsys.readouterr().err) == (2, True)
    with Logbook(shed, read_only=True) as logbook:
        assert logbook.entries("notice") == []


@pytest.mark.parametrize("kind", [AlertKind.GO_NOW, AlertKind.TONIGHT])
def test_a_go_of_a_daemon_that_died_is_not_active(
    shed: Path, capsys: pytest.CaptureFixture[str], kind: AlertKind
) -> None:
    """Nothing is known of the air any more; what was raised is told with the past, the rest stays."""
    now = SystemClock().now().utc
    hour = datetime.fromtimestamp(now - 6 * 3600, UTC)  # the daily line is active for three hours
    settings = (
        f'[alerts]\ntonight_at = {hour:%H:%M:%S}\n[shed]\nzone = "UTC"\n[logbook]\npath = "shed.sqlite"\n'
    )
    (shed.parent / "curewatch.toml").write_text(settings)
    told = Event(Happening.RAISED, Key(kind), now - 6 * 3600, "go now with epoxy-fast; start before 04:30")
    with Logbook(shed) as logbook:
        logbook.append(entries=[Entry("alert", alerts.event_as_plain(told), told.at)])
    assert [each["alert"] for each in stands(capsys)] == ["recoat-window", "condensation"]
    shown, _, past = called(capsys, "--past", "12 h").partition("oldest first:")
    assert ("go now" in shown, "go now" in past) == (False, True)


def test_a_go_of_a_daemon_that_hears_is_shown_without_a_look(
    shed: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It has looked itself. Controls: its time is up; nothing was heard lately; a layer was told since."""
    now, looks = SystemClock().now().utc, []

    class Look:
        def __init__(self, *_: object) -> None:
            looks.append(1)
            self.alerts: dict[Key, None] = {}

    monkeypatch.setattr("curewatch.shed.look.Look", Look)
    go = Event(Happening.RAISED, Key(AlertKind.GO_NOW), now - 60, "go now", due=now + 3600)
    layer = Entry("layer", {"layer": "L1"}, now - 30)
    cases: list[tuple[float, float, list[Entry], int]] = [
        (now - 60, now + 3600, [], 0),
        (now - 60, now - 1, [], 1),
        (now - 3600, now + 3600, [], 1),
        (now - 60, now + 3600, [layer], 1),
    ]
    for number, (heard, due, more, looked) in enumerate(cases):
        reading = Reading("bench", heard, heard, temperature=290.0, relative_humidity=0.5)
        told = replace(go, due=due)
        path = shed.with_name(f"{number}.sqlite")
        with Logbook(path) as logbook:
            entries = [Entry("alert", alerts.event_as_plain(told), told.at), *more]
            logbook.append([reading], entries=entries)
        settings = f'[logbook]\npath = "{path.name}"\n'
        (shed.parent / "curewatch.toml").write_text(settings)
        looks.clear()
        shown = [each["alert"] for each in stands(capsys)]
        assert (shown, len(looks)) == ([] if looked else ["go-now"], looked)


def test_a_go_that_outlasts_its_last_start_is_shown_in_the_words_of_the_look(
    shed: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on the board: the hour that has passed is told no more."""
    now, key = SystemClock().now().utc, Key(AlertKind.GO_NOW)
    left = alerts.ActiveAlert(key, now - 7200, "go now with epoxy-fast", "Ask again", None)
    monkeypatch.setattr("curewatch.shed.look.Look", lambda *_: SimpleNamespace(alerts={key: left}))
    go = Event(Happening.RAISED, key, now - 7200, "go now with epoxy-fast; start before 04:30", due=now - 60)
    with Logbook(shed) as logbook:
        logbook.append(entries=[Entry("alert", alerts.event_as_plain(go), go.at)])
    (shown,) = (each for each in stands(capsys) if each["alert"] == "go-now")
    assert (shown["text"]["text"], shown["due"]) == ("go now with epoxy-fast", None)
