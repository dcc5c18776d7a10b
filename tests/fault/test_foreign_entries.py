"""Entries of another program, in a form of their own, stop nothing: passed over, or shown as they are."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key
from curewatch.cli.main import run
from curewatch.clock import Instant
from curewatch.daemon.evaluation import Evaluation
from curewatch.logbook import Entry, Logbook

AT = 1_795_614_723.0
JOB = "../../x"
FOREIGN = (
    ("job-open", {"title": '#read("/etc/passwd")', "thickness": "x", "rules": "coating", "zone": "../.."}),
    ("layer", {"layer": "#panic()", "started": "soon", "batches": "B1", "layers": {"a": 1}}),
    ("layer", {}),
    ("batch", {"batch": ["x"], "ratio": "?", "resin_mass": "heavy", "pot_temperature": True}),
    ("photo", {"file": "../../../etc/passwd", "thumbnail": "AAAA"}),
    ("correction", {"corrects": 2, "changes": {"at": "never", "started": None, "ratio": {"a": 1}}}),
    ("correction", {"corrects": "two", "changes": 7}),
    ("correction", {"corrects": 4, "changes": {"\x1b[2Jkey": "\x1b[2J"}, "reason": "\x1b[2J"}),
    ("quality", {"check": {}, "value": "\x1b[2J", "passed": "maybe"}),
    ("\x1b[2Jkind", {"\x1b[31mkey": "\x1b]0;x\x07"}),
    ("note", {"text": "\u202edlot\x9b2J", "by": "\x1b[2J"}),
    ("deviation", {"deviation": "\x1b[2J", "decision": 7, "decided_by": ["\x1b"]}),
    ("sign-off", {"role": "\x1b[2J", "by": {"a": "\x1b"}}),
    ("alert", {"happening": "raised"}),
    ("alert", {"happening": "acknowledged", "alert": "thunder", "subject": 1}),
)


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "curewatch.toml").write_text('[logbook]\npath = "shed.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(tmp_path / "curewatch.toml"))
    with Logbook(tmp_path / "shed.sqlite") as logbook:
        for kind, payload in FOREIGN:
            logbook.write(Entry(kind, payload, AT, job=JOB))
        real = Event(Happening.RAISED, Key(AlertKind.CONDENSATION), AT, "condensation coming")
        logbook.write(Entry("alert", alerts.event_as_plain(real), AT))
    return tmp_path


@pytest.mark.parametrize(
    "typed",
    [
        ["job", "list"],
        ["job", "show", JOB],
        ["alerts", "--past", "30 d"],
        ["layer", "--running"],
        ["record", "write", JOB, "--output", "OUT", "--format", "folder"],
        ["logbook", "status"],
        ["logbook", "export", "OUT.jsonl"],
    ],
    ids=lambda typed: " ".join(typed[:2]),
)
def test_no_command_falls_over_them(shed: Path, capsys: pytest.CaptureFixture[str], typed: list[str]) -> None:
    """An answer, no escape code, and no file outside the folder that was named."""
    typed = [str(shed / "out.jsonl") if word == "OUT.jsonl" else word for word in typed]
    with pytest.raises(SystemExit) as end:
        run([str(shed / "out") if word == "OUT" else word for word in typed])
    said = capsys.readouterr()
    assert end.value.code == 0, said.err
    assert "\x1b" not in said.out + said.err
    assert {path.name for path in shed.iterdir()} <= {"curewatch.toml", "out", "out.jsonl", *_logbook(shed)}


def _logbook(shed: Path) -> set[str]:
    return {path.name for path in shed.glob("shed.sqlite*")}


def test_the_daemon_takes_up_what_is_an_alert_and_passes_over_the_rest(shed: Path) -> None:
    """One alert stands; a look at the advice comes to its end."""
    with Logbook(shed / "shed.sqlite", read_only=True) as logbook:
        evaluation = Evaluation(configuration.parse(""), logbook)
        assert list(evaluation.memory.alerts) == [Key(AlertKind.CONDENSATION)]
        assert evaluation(Instant(AT + 60.0, 1.0), "asked by a test")
