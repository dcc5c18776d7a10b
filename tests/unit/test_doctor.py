"""The doctor finds what is wrong, says what to do, and its exit status can be trusted."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.answers.doctor import FindingDocument, Grade, doctor_document
from curewatch.cli.diagnosis import Examined, examine, verdict
from curewatch.cli.main import run
from curewatch.cli.screens.doctor import lines
from curewatch.clock import Instant
from curewatch.daemon.edges import fence
from curewatch.errors import ExitStatus
from curewatch.logbook import Entry, Logbook
from curewatch.logbook.checked import note_walk
from curewatch.logbook.sealing import seal
from curewatch.readings import Reading, Rejected
from curewatch.units import DAY
from curewatch.wire import Reason
from curewatch.wording import wording

NOW = 1_795_000_000.0  # UTC [s], in November 2026
SHED = """
[shed]
name = "Saltmarsh Shed"
zone = "Europe/Lisbon"
[sensors.bench]
role = "air"
part = "humidity-2"
[sensors.hull]
role = "surface"
part = "probe"
[logbook]
path = "logbook.sqlite"
"""


Findings = tuple[FindingDocument, ...]


def examined(folder: Path, text: str = SHED, *, now: float = NOW, silent: str = "") -> Findings:
    """The findings on a shed that spoke until a minute ago, but for one sensor."""
    file = folder / "curewatch.toml"
    file.write_text(text)
    readings = [
        Reading(name, NOW - 60.0 * minute, NOW, 285.0 + 0.01 * minute, humidity)
        for minute in range(180)
        for name, humidity in (("bench", 0.6), ("hull", None))
        if name != silent
    ]
    with Logbook(folder / "logbook.sqlite") as logbook:
        logbook.append(readings)
    return looked_at(folder, now)


def looked_at(folder: Path, now: float = NOW) -> Findings:
    """The findings on what is there."""
    found = configuration.load(folder / "curewatch.toml")
    with Logbook(folder / "logbook.sqlite", read_only=True) as logbook:
        return examine(Examined(found, wording(found.zone, "C,g,24h"), Instant(now, 0.0), logbook))


def about(findings: Findings, name: str) -> FindingDocument:
    return next(finding for finding in findings if finding.about == name)


def test_a_shed_in_order_can_be_trusted(tmp_path: Path) -> None:
    """No finding is bad; accuracy, age, disk and chain are told; the missing salt check is a remark."""
    findings = examined(tmp_path)
    assert verdict(findings) is ExitStatus.OK
    assert about(findings, "sensor.hull").grade is Grade.GOOD
    bench = about(findings, "sensor.bench")
    assert bench.grade is Grade.CARE
    assert "±2.0 % humidity" in bench.finding
    assert "salt check: never" in bench.finding
    assert "360 readings" in about(findings, "logbook").finding
    assert "GB free" in about(findings, "disk").finding


@pytest.mark.parametrize("later", [0.0, 1800.0])
def test_a_sensor_that_says_nothing_takes_the_trust_away(tmp_path: Path, later: float) -> None:
    """Never heard, or silent for half an hour: unknown, with what to look at."""
    findings = examined(tmp_path, now=NOW + later, silent="hull" if later == 0 else "")
    assert verdict(findings) is ExitStatus.UNKNOWN
    hull = about(findings, "sensor.hull")
    assert hull.grade is Grade.BAD
    assert "cable" in hull.advised


def test_sensors_taken_by_their_word_are_named(tmp_path: Path) -> None:
    """Without [sensors] a name that tells its role is believed, and the doctor says so."""
    findings = examined(tmp_path, '[logbook]\npath = "logbook.sqlite"\n')
    assert "bench as air, hull as surface" in about(findings, "sensors-named").finding


def test_a_shed_without_air_cannot_be_trusted(tmp_path: Path) -> None:
    """A surface alone says nothing about the dew point."""
    findings = examined(tmp_path, SHED.replace('role = "air"', 'role = "outside"'))
    assert verdict(findings) is ExitStatus.UNKNOWN
    assert 'role = "air"' in about(findings, "sensors").advised


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[resin]\nprice = { epoxy-slwo = 25.0 }\n", "key resin.price.epoxy-slwo"),
        ("[stock.epoxy-slwo]\nresin_g = 1\nadded_g = 1\ncounted = 2026-10-17\n", "key stock.epoxy-slwo"),
    ],
)
def test_a_price_or_a_tin_of_no_resin_is_told(tmp_path: Path, text: str, key: str) -> None:
    """A slip would leave the resin without its price, or its tins uncounted; the control has none."""
    found = about(examined(tmp_path, SHED + text), "configuration")
    assert (found.grade, found.exit_status) == (Grade.BAD, ExitStatus.CONFIGURATION)
    assert f"{key}: found 'epoxy-slwo', which is no resin here. Use one of epoxy-slow, " in found.finding
    right = about(examined(tmp_path, SHED + text.replace("slwo", "slow")), "configuration")
    assert right.grade is not Grade.BAD


def test_a_port_that_is_not_there_is_told(tmp_path: Path) -> None:
    """With where to look for its name."""
    findings = examined(tmp_path, f'{SHED}\n[serial.usb]\nurl = "/dev/ttyNOWHERE"\n')
    port = about(findings, "serial.usb")
    assert (port.grade, "by-id" in port.advised) == (Grade.BAD, True)


def test_a_port_that_the_daemon_cannot_read_is_told(tmp_path: Path) -> None:
    """It is there and may be opened, and another program has it; without a daemon nothing is claimed."""
    text = f'{SHED}\n[serial.usb]\nurl = "/dev/null"\n'
    assert about(examined(tmp_path, text), "serial.usb").grade is Grade.GOOD
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        down = {"source": "usb", "up": False, "reason": "another program has it open"}
        logbook.write(Entry("source", down, NOW - 30))
        assert about(looked_at(tmp_path), "serial.usb").grade is Grade.GOOD
        logbook.hold("a daemon", NOW)
        told = about(looked_at(tmp_path), "serial.usb")
        assert (told.grade, "another program has it open" in told.finding) == (Grade.BAD, True)
        logbook.write(Entry("source", {"source": "usb", "up": True}, NOW - 20))
        assert about(looked_at(tmp_path), "serial.usb").grade is Grade.GOOD
    plain = text.replace("/dev/null", "curewatch.toml")
    assert "is no serial port" in about(examined(tmp_path, plain), "serial.usb").finding


def test_a_port_behind_an_address_is_judged_by_what_the_daemon_wrote_down(tmp_path: Path) -> None:
    """Never spoken with, answering, and gone: a second reader would only disturb it."""
    text = f'{SHED}\n[serial.far]\nurl = "socket://127.0.0.1:5000"\n'
    assert about(examined(tmp_path, text), "serial.far").grade is Grade.CARE

    def told(**payload: object) -> FindingDocument:
        with Logbook(tmp_path / "logbook.sqlite") as logbook:
            logbook.write(Entry("source", {"source": "far", **payload}, NOW - 30))
        return about(examined(tmp_path, text), "serial.far")

    assert told(up=True, note="").grade is Grade.GOOD
    lost = told(up=False, reason="Connection refused")
    assert (lost.grade, "Connection refused" in lost.finding) == (Grade.BAD, True)


def test_a_shed_without_a_daemon_cannot_be_trusted(tmp_path: Path) -> None:
    """Where a source is to be read and nobody reads it; with a daemon it is told, without sources nothing."""
    assert not [one for one in examined(tmp_path) if one.about == "daemon"]
    text = f'{SHED}\n[serial.far]\nurl = "socket://127.0.0.1:5000"\n'
    none = about(examined(tmp_path, text), "daemon")
    assert (none.grade, none.finding) == (Grade.BAD, "none runs: no reading comes in, no alert rings")
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.hold("a daemon", NOW)
        assert about(looked_at(tmp_path), "daemon").grade is Grade.GOOD


def test_a_broker_is_judged_by_what_the_daemon_wrote_down(tmp_path: Path) -> None:
    """Never spoken with, answering, answering without our session, and gone."""
    text = f'{SHED}\n[mqtt.yard]\nhost = "127.0.0.1"\n'
    assert about(examined(tmp_path, text), "mqtt.yard").grade is Grade.BAD

    def told(**payload: object) -> FindingDocument:
        with Logbook(tmp_path / "logbook.sqlite") as logbook:
            logbook.write(Entry("source", {"source": "yard", **payload}, NOW - 30))
        return about(examined(tmp_path, text), "mqtt.yard")

    assert told(up=True, note="").grade is Grade.GOOD
    lost = told(notice="the broker kept no session for us: what was sent meanwhile is lost")
    assert (lost.grade, "sessions" in lost.advised) == (Grade.CARE, True)
    denied = told(notice=f"{fence.MISSING}; and what to do")
    assert (denied.grade, "curewatch/v1/fence/curewatch" in denied.advised) == (Grade.CARE, True)
    assert "marker" not in told(notice=fence.BACK).finding
    assert told(up=False, reason="connection refused").grade is Grade.BAD


def test_a_clock_step_is_told(tmp_path: Path) -> None:
    """So that nobody wonders about marked readings."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(Entry("clock", {"step": 3600.0, "reason": "moved"}, NOW - 7200))
    assert "moved by 1 h 00 min" in about(examined(tmp_path), "clock").finding
    unset = about(examined(tmp_path, now=1000.0), "clock")
    assert unset.grade is Grade.BAD


def test_days_until_full_are_told_from_the_first_hour(tmp_path: Path) -> None:
    """Three hours old: by the configured rate, and it says so; three days old: by what it grew."""
    assert "full in more than ten years by the configured rate" in about(examined(tmp_path), "disk").finding
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([Reading("bench", NOW - 3 * 86400.0, NOW, 285.0, 0.6)])
    assert "at its pace so far" in about(looked_at(tmp_path), "disk").finding


@pytest.mark.parametrize(
    ("free", "rate", "grade", "said"),
    [
        (5e6, "60.0", Grade.BAD, "can no longer be kept"),
        (150e6, "60.0", Grade.CARE, "0.1 GB free"),
        (900e6, "0.05", Grade.CARE, "about 26 days by the configured rate"),
        (9e9, "60.0", Grade.GOOD, "more than ten years"),
    ],
)
def test_a_disk_that_fills_is_told_in_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, free: float, rate: str, grade: Grade, said: str
) -> None:
    """Nothing left: no trust. Little left, or a fast sensor: care. Each with the way out."""
    left = shutil.disk_usage(tmp_path)._replace(free=int(free))
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: left)
    findings = examined(tmp_path, SHED.replace('role = "air"', f'role = "air"\nevery_s = {rate}'))
    disk = about(findings, "disk")
    assert disk.grade is grade
    assert said in disk.finding
    assert bool(disk.advised) is (grade is not Grade.GOOD)
    assert (verdict(findings) is ExitStatus.FAILURE) is (grade is Grade.BAD)


def test_a_clock_in_1970_takes_the_trust_away(tmp_path: Path) -> None:
    """No age can be told: the clock is named first of all, and nothing is called fresh."""
    examined(tmp_path)
    findings = looked_at(tmp_path, 100.0)
    clock = about(findings, "clock")
    assert (clock.grade, clock.finding) == (Grade.BAD, "this machine's clock is not set")
    assert "set it" in clock.advised
    assert verdict(findings) is ExitStatus.UNKNOWN
    assert not any("fresh" in finding.finding for finding in findings)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"not a logbook at all, but some text " * 200, "it is not a logbook"),
        (None, "that is a folder"),
    ],
)
def test_a_logbook_that_cannot_be_opened_is_told_why(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    *,
    content: bytes | None,
    said: str,
) -> None:
    """Empty, something else, a folder: status 1, the reason and the way out; the file stays as it was."""
    (tmp_path / "curewatch.toml").write_text(SHED)
    path = tmp_path / "logbook.sqlite"
    path.mkdir() if content is None else path.write_bytes(content)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as left:
        run(["doctor"])
    shown = " ".join(capsys.readouterr().out.split())
    assert left.value.code == ExitStatus.FAILURE
    assert said in shown
    assert content is None or path.read_bytes() == content


def test_a_changed_row_breaks_the_trust_for_good(tmp_path: Path) -> None:
    """Somebody changed an entry with a database browser: status 5."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(Entry("note", {"text": "as it was"}, NOW - 7200))
    assert verdict(examined(tmp_path)) is ExitStatus.OK
    with closing(sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)) as database:
        database.execute("UPDATE entries SET line = replace(line, 'as it was', 'as I like')")
    findings = looked_at(tmp_path)
    assert verdict(findings) is ExitStatus.RECORD_BROKEN
    assert about(findings, "logbook").grade is Grade.BAD


def test_the_command_answers_in_text_and_json(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An empty home: not to be trusted, status 4, and the same in both forms."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.delenv("CUREWATCH_CONFIG", raising=False)
    with pytest.raises(SystemExit) as stop:
        run(["doctor"])
    assert stop.value.code == ExitStatus.UNKNOWN
    told = capsys.readouterr().out
    assert told.startswith("Not ready")
    assert max(map(len, told.splitlines())) <= 80
    with pytest.raises(SystemExit):
        run(["doctor", "--json"])
    plain = json.loads(capsys.readouterr().out)
    assert plain["trusted"] is False
    assert {"about", "grade", "finding", "advised", "exit_status"} == set(plain["findings"][0])


def test_what_was_refused_is_counted_with_what_to_do(tmp_path: Path) -> None:
    """Each reason of each source is a line; one reading that came by two ways is no trouble."""
    examined(tmp_path)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        cut = Rejected(Reason.BAD_CHECKSUM, b"cw1", NOW - 60.0, "usb", "")
        logbook.append(rejected=[cut, cut, cut._replace(reason=Reason.DUPLICATE)])
    rejected = [finding for finding in looked_at(tmp_path) if finding.about == "rejected"]
    assert [finding.grade for finding in rejected] == [Grade.CARE]
    assert "usb: 2 since yesterday, checksum does not match" in rejected[0].finding
    assert "cable" in rejected[0].advised


@pytest.mark.parametrize(
    ("synchronised", "grade", "said"),
    [
        (True, Grade.GOOD, "set by a time server"),
        (False, Grade.CARE, "no time server"),
        (None, Grade.GOOD, "in"),
    ],
)
def test_a_clock_that_nobody_keeps_is_told(
    tmp_path: Path, synchronised: bool | None, grade: Grade, said: str
) -> None:
    """The kernel says whether a time server sets it; where it cannot, nothing is claimed."""
    (tmp_path / "curewatch.toml").write_text(SHED)
    found = configuration.load(tmp_path / "curewatch.toml")
    words = wording(found.zone, "C,g,24h")
    clock = about(
        examine(Examined(found, words, Instant(NOW, 0.0), None, synchronised=synchronised)), "clock"
    )
    assert clock.grade is grade
    assert said in clock.finding


def test_a_kept_session_is_told_with_its_span_and_what_it_cannot_hold(tmp_path: Path) -> None:
    """72 h by default; a broker that loses power loses what it had not written; what is too large is told."""
    file = tmp_path / "curewatch.toml"
    file.write_text(SHED + '[mqtt.yard]\nhost = "127.0.0.1"\n')
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([], [Entry("source", {"source": "mqtt.yard", "up": True}, NOW - 60.0)])
    yard = about(looked_at(tmp_path), "mqtt.yard")
    assert yard.grade is Grade.GOOD
    assert "session kept for 72 h" in yard.finding
    assert "lost if it loses power" in yard.finding
    assert "above 70 kB is dropped by the broker" in yard.finding
    file.write_text(SHED + '[mqtt.yard]\nhost = "127.0.0.1"\nversion = "3.1.1"\n')
    assert "above 70 kB is rejected and counted" in about(looked_at(tmp_path), "mqtt.yard").finding


def test_what_was_changed_since_the_seal_is_found_and_the_whole_is_dated(tmp_path: Path) -> None:
    """Blocks before the last seal are left to `logbook verify`; the finding says when that was done."""
    examined(tmp_path)
    path = tmp_path / "logbook.sqlite"
    with Logbook(path) as logbook:
        seal(logbook, reason="day", at=NOW)
        logbook.append([Reading("bench", NOW, NOW, 285.0, 0.6)])
    note_walk(path, NOW - 3600.0)
    unbroken = about(looked_at(tmp_path), "logbook")
    assert unbroken.grade is Grade.GOOD
    assert "unbroken since the seal of" in unbroken.finding
    assert "the whole: checked" in unbroken.finding
    later = about(looked_at(tmp_path, NOW + 91 * DAY), "logbook")
    assert (later.grade, later.advised) == (Grade.CARE, "curewatch logbook verify")
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(
            "UPDATE blocks SET readings = readings + 1 WHERE number = (SELECT max(number) FROM blocks)"
        )
        raw.commit()
    broken = about(looked_at(tmp_path), "logbook")
    assert (broken.grade, broken.exit_status) == (Grade.BAD, ExitStatus.RECORD_BROKEN)
    assert "salvage" in broken.advised


def test_nothing_configured_is_never_good(tmp_path: Path) -> None:
    """A file without a port and a broker asks for setup; one that names sensors, too."""
    for text in (SHED, "[shed]\nname = 'Saltmarsh Shed'\n"):
        folder = tmp_path / str(len(text))
        folder.mkdir()
        found = examined(folder, text)
        about = [each for each in found if each.about == "configuration"]
        assert [each.grade for each in about] == [Grade.CARE]
        assert about[0].advised == "curewatch setup"
    with_port = examined(tmp_path, f"{SHED}[serial.usb]\nurl = '/dev/ttyUSB9'\n")
    assert next(each for each in with_port if each.about == "configuration").grade is Grade.GOOD


def test_a_probe_without_humidity_is_asked_for_no_salt(tmp_path: Path) -> None:
    """Whatever the class of its part: what it never reported cannot be checked."""
    text = SHED.replace('part = "humidity-2"', 'part = "unknown"').replace(
        'part = "probe"', 'part = "unknown"'
    )
    found = {each.about: each for each in examined(tmp_path, text)}
    assert "salt check" not in found["sensor.hull"].finding
    assert "humidity" not in found["sensor.hull"].finding
    assert "salt check" in found["sensor.bench"].finding


def test_three_hundred_sensors_fit_one_screen() -> None:
    """Summed up by grade, the bad ones named; each on its own line with --why."""
    grades = [Grade.BAD] * 4 + [Grade.CARE] * 40 + [Grade.GOOD] * 256
    document = doctor_document(
        FindingDocument(
            about=f"sensor.s{at}",
            grade=grade,
            finding=f"air, number {at}",
            advised="" if grade is Grade.GOOD else "look at it",
            exit_status=0,
        )
        for at, grade in enumerate(grades)
    )
    shown = lines(document)
    assert len(shown) <= 24
    assert any("4 of 300: s0, s1, s2 and 1 more" in line for line in shown)
    assert len(lines(document, why=True)) > 300


def test_addresses_of_notices_are_tried_as_far_as_nothing_is_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their names alone are shown; a file that others may read, or a missing library, is bad."""
    text, file = f'{SHED}\n[notices]\naddresses_file = "addresses.txt"\n', tmp_path / "addresses.txt"
    file.write_text("phone json://secret@127.0.0.1:9\n")
    file.chmod(0o644)
    found = about(examined(tmp_path, text), "notices")
    assert (found.grade, "chmod 600" in found.finding, "secret" in found.finding) == (Grade.BAD, True, False)
    file.chmod(0o600)
    monkeypatch.setattr("curewatch.cli.diagnosis.find_spec", lambda name: object())
    found = about(looked_at(tmp_path), "notices")
    assert (found.grade, found.finding) == (Grade.GOOD, "to phone; to try them: curewatch notify test")
    monkeypatch.setattr("curewatch.cli.diagnosis.find_spec", lambda name: None)
    assert about(looked_at(tmp_path), "notices").advised == "pip install 'curewatch[notify]'"


def test_a_clock_behind_the_last_readings_is_bad(tmp_path: Path) -> None:
    """As for the verdict: what was measured at that hour of before is no reading of now."""
    (tmp_path / "curewatch.toml").write_text(SHED)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for minute in range(180):
            at = NOW + 60.0 * minute
            logbook.append([Reading("bench", at, at, 285.0, 0.6), Reading("hull", at, at, 285.0)])
    found = looked_at(tmp_path, NOW + 59 * 60.0)
    assert verdict(found) == ExitStatus.UNKNOWN
    assert about(found, "sensor.bench").grade is Grade.BAD
    assert "2 h 00 min ahead of this machine's clock" in about(found, "sensor.bench").finding
    now = looked_at(tmp_path, NOW + 179 * 60.0)
    assert "ahead" not in about(now, "sensor.bench").finding
