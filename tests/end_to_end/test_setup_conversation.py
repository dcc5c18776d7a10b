"""`curewatch setup` through a real terminal, with a board that speaks on a real pseudo-terminal."""

import termios
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pytest

from curewatch import configuration
from curewatch.cli.setup import serial_ports
from curewatch.cli.setup.answers import Answers, as_toml
from curewatch.cli.setup.steps import STEPS, SetupSession
from curewatch.cli.setup.talk import Talk
from curewatch.clock import SystemClock
from curewatch.materials import load_resin
from curewatch.wire.lines import encode
from curewatch.wording import Wording
from tests.broker import PATIENCE, until
from tests.simulators import SimulatedPort
from tests.terminal import spawn


@pytest.fixture
def board() -> Iterator[SimulatedPort]:
    """A board that reports bench and hull ten times a second until the test is over."""
    port = SimulatedPort()
    over = threading.Event()

    def speak() -> None:
        for count in range(6000):
            port.write(encode("bench", 15.9, 52.0, sequence=count) + b"\n")
            port.write(encode("hull", 15.2, sequence=count) + b"\n")
            if over.wait(0.1):
                return

    speaker = threading.Thread(target=speak)
    speaker.start()
    yield port
    over.set()
    speaker.join()
    port.close()


def talk_to(folder: Path, *arguments: str) -> pexpect.spawn:
    return spawn(folder, "setup", *arguments, rows=40)


def answer(talk: pexpect.spawn, question: str, reply: str = "") -> None:
    talk.expect(question)
    talk.sendline(reply)


@pytest.mark.long
def test_from_a_plugged_in_board_to_a_first_answer(board: SimulatedPort, tmp_path: Path) -> None:
    """Names what it hears, writes a commented file that reads back, and answers for tonight."""
    talk = talk_to(tmp_path, "--port", board.url, "--seconds", "15")
    answer(talk, "name of the shed", "Saltmarsh Shed")
    answer(talk, "the boat", "Kittiwake Nine")
    answer(talk, r"time zone \[Europe/Lisbon\]")
    talk.expect("listening for 15 s")
    talk.expect("came in: (bench|hull)")
    answer(talk, "use this port")
    answer(talk, "address of the broker", "s")
    talk.expect("skipped")
    for _ in range(2):
        answer(talk, r"it is \(air, surface, outside, none\)")
        answer(talk, "call it")
        answer(talk, "class of its chip", "humidity-2")
    answer(talk, "you laminate on", "plywod")
    talk.expect("did you mean plywood")
    answer(talk, "you laminate on", "plywood")
    answer(talk, "its thickness", "12")
    answer(talk, r"resin \(", "epoxy-slow")
    answer(talk, "its lot number", "A-17")
    answer(talk, "usual mass of one batch", "a lot")
    answer(talk, "not a number.*usual mass of one batch", "150")
    answer(talk, "address .https")
    answer(talk, r"write it to .*curewatch.toml")
    talk.expect("written: curewatch.toml")
    talk.expect("all of them report and are stored")
    talk.expect("(GO|NO-GO) .*epoxy-slow")
    talk.expect("Reasons: --why")
    talk.expect(pexpect.EOF)
    talk.close()
    assert talk.exitstatus in {0, 3}
    written = configuration.load(tmp_path / "curewatch.toml")
    assert (written.shed.name, written.shed.zone, written.resin.lot) == (
        "Saltmarsh Shed",
        "Europe/Lisbon",
        "A-17",
    )
    assert {name: sensor.role for name, sensor in written.sensors.items()} == {
        "bench": "air",
        "hull": "surface",
    }
    assert written.serial["usb"].url == board.url


@pytest.mark.long
def test_every_step_can_be_skipped_and_a_file_is_never_written_over_unasked(tmp_path: Path) -> None:
    """Skips all, keeps the old file when asked, and writes beside it."""
    (tmp_path / "curewatch.toml").write_text("# mine\n")
    talk = talk_to(tmp_path)
    for question in (
        "name of the shed",
        "address of one elsewhere",
        "address of the broker",
        "you laminate on",
        "address .https",
    ):
        answer(talk, question, "s")
        talk.expect("skipped")
    answer(talk, r"write a file all the same \(y/n\) \[n\]", "y")
    answer(talk, r"write it to .*curewatch.toml")
    answer(talk, "curewatch.toml exists; write over it", "n")
    answer(talk, r"write it to .*curewatch-new.toml")
    talk.expect("written: curewatch-new.toml")
    talk.expect(pexpect.EOF)
    talk.close()
    assert (tmp_path / "curewatch.toml").read_text() == "# mine\n"
    assert configuration.load(tmp_path / "curewatch-new.toml").sensors == {}


@pytest.mark.long
def test_a_board_that_reports_once_while_it_is_listened_to_is_heard_whole(tmp_path: Path) -> None:
    """Its first line of all is the first sensor's: all are named, by Enter alone, and tonight answers."""
    with SimulatedPort() as port:
        talk = talk_to(tmp_path, "--port", port.url, "--seconds", "600")
        for question in ("name of the shed", "the boat", "time zone"):
            answer(talk, question)
        talk.expect("listening for ")
        wait_until_open(port)
        for _ in range(40):  # once; once more where the opening, late, threw it away
            first = report(port, 1)
            if talk.expect_exact([f"| {first}", pexpect.TIMEOUT], timeout=15) == 0:  # shown as it comes
                break
        talk.sendline("")  # enough was heard
        for name in ("bench", "hull", "yard"):
            talk.expect(f"came in: {name}")
        answer(talk, r"use this port \(y/n\) \[y\]")
        answer(talk, "address of the broker")
        for _ in range(3):
            for question in ("it is ", "call it", "class of its chip"):
                answer(talk, question)
        for question in (
            "you laminate on",
            "its thickness",
            r"resin \(",
            "its lot number",
            "usual mass",
            "address .https",
        ):
            answer(talk, question)
        answer(talk, r"write it to .*curewatch.toml")
        talk.expect("hearing each sensor once")
        for number in range(2, 200):
            report(port, number)
            if talk.expect(["all of them report and are stored", pexpect.TIMEOUT], timeout=1) == 0:
                break
        talk.expect("(GO|NO-GO) .*epoxy-slow")
        talk.expect(pexpect.EOF)
        talk.close()
    assert talk.exitstatus in {0, 3}
    roles = {
        name: each.role for name, each in configuration.load(tmp_path / "curewatch.toml").sensors.items()
    }
    assert roles == {"bench": "air", "hull": "surface", "yard": "outside"}


@pytest.mark.long
def test_noise_of_a_wrong_speed_does_not_take_the_two_minutes() -> None:
    """Three noisy fragments end a speed; the second is tried at once, and boot noise alone ends nothing."""
    over, said = threading.Event(), list[str]()
    begun = time.monotonic()
    with SimulatedPort() as port:

        def speak() -> None:
            while not over.wait(0.05):
                port.write(bytes(range(128, 190)) + b"\n")

        speaker = threading.Thread(target=speak)
        speaker.start()
        found = serial_ports.listen(port.url, PATIENCE, SystemClock(), said.append)
        over.set()
        speaker.join()
    assert time.monotonic() < begun + PATIENCE
    assert (found.heard, found.baud) == ((), serial_ports.SPEEDS[-1])
    assert "no lines at 115200 baud" in said[0]


def wait_until_open(port: SimulatedPort) -> None:
    """Until somebody has set its speed; what was written before that is thrown away by the opening."""
    until(lambda: termios.tcgetattr(port._reader)[4] == termios.B115200)
    time.sleep(2.0)  # the opening throws it away a moment after that


def report(port: SimulatedPort, number: int) -> str:
    """One report of each sensor of a board; its first line."""
    said = [
        encode("bench", 15.9, 52.0, sequence=number),
        encode("hull", 15.2, sequence=number),
        encode("yard", 11.0, 70.0, sequence=number),
    ]
    port.write(b"".join(line + b"\n" for line in said))
    return said[0].decode("ascii")


@pytest.mark.long
def test_the_simulated_shed_of_the_readme_is_heard_and_answered(tmp_path: Path) -> None:
    """`curewatch simulate`, once a minute, and `curewatch setup` with Enter and the port's name alone."""
    shed = spawn(tmp_path, "simulate", "--link", "shed-port", "--hours", "2")
    shed.expect("simulated port")
    talk = spawn(tmp_path, "setup", rows=60)
    for question in ("name of the shed", "the boat", "time zone"):
        answer(talk, question)
    answer(talk, "address of one elsewhere", "shed-port")
    talk.expect("listening for 65 s, 125 s where nothing comes")
    assert talk.expect(["use this port", "nothing that can be read"]) == 0
    talk.sendline("")
    answer(talk, "address of the broker")
    for _ in range(3):
        for question in ("it is ", "call it", "class of its chip"):
            answer(talk, question)
    for question in (
        "you laminate on",
        "its thickness",
        r"resin \(",
        "its lot number",
        "usual mass",
        "address .https",
    ):
        answer(talk, question)
    answer(talk, "write it to")
    talk.expect("all of them report and are stored")
    talk.expect("(GO|NO-GO) .*epoxy-slow")
    talk.expect(pexpect.EOF)
    talk.close()
    shed.close(force=True)
    assert talk.exitstatus in {0, 3}


@pytest.mark.long
def test_without_a_sensor_of_the_air_nothing_is_written_unasked(tmp_path: Path) -> None:
    """Enter all the way through with nothing plugged in: no file."""
    talk = talk_to(tmp_path)
    questions = (
        "name of the shed",
        "the boat",
        "time zone",
        "address of one elsewhere",
        "address of the broker",
    )
    work = ("you laminate on", "its thickness", r"resin \(", "its lot number", "usual mass", "address .https")
    for question in (*questions, *work, "write a file all the same"):
        answer(talk, question)
    talk.expect("nothing was written")
    talk.expect(pexpect.EOF)
    assert list(tmp_path.glob("*.toml")) == []


@pytest.mark.long
def test_leaving_in_the_middle_writes_nothing(tmp_path: Path) -> None:
    """Ctrl-C ends it without a file and without a traceback."""
    talk = talk_to(tmp_path)
    talk.expect("name of the shed")
    for _ in range(5):  # one that comes before the question waits for its answer is not heard: press again
        talk.sendcontrol("c")
        if talk.expect([pexpect.EOF, pexpect.TIMEOUT], timeout=10) == 0:
            break
    said = talk.before
    talk.close()
    assert "Traceback" not in said
    assert talk.exitstatus != 0
    assert list(tmp_path.glob("*.toml")) == []


def test_a_makers_sheet_can_be_typed_in(tmp_path: Path) -> None:
    """Pot life and tack-free become a resin of the user's own, which the configuration then names."""
    said: list[str] = []
    typed = ["plywood", "12", "sheet", "creek-resin", "epoxy-slow", "10", "24", "40", "100", "25", "8", "20"]
    replies = iter([*typed, "", "B-2", "200"])
    answers = Answers()
    state = SetupSession(
        Talk(lambda prompt: next(replies), said.append), SystemClock(), answers, Wording(), 1.0, []
    )
    state.folder = tmp_path
    dict(STEPS)["substrate and resin"](state)
    file = tmp_path / "curewatch.toml"
    file.write_text(as_toml(answers))
    shelf = configuration.load(file).resin
    resin = load_resin(shelf.name, shelf.folder)
    assert (resin.name, resin.parent) == ("creek-resin", "epoxy-slow")
    assert resin.limits.lowest_temperature == pytest.approx(283.15)
    assert resin.kinetics != load_resin("epoxy-slow").kinetics


KEYS = [
    pytest.param(["Shed"], id="the boat"),
    *(
        pytest.param(typed, id=name, marks=pytest.mark.long)
        for name, typed in (
            ("zone", ["Shed", ""]),
            ("port", ["Shed", "", ""]),
            ("broker", ["Shed", "", "", "s"]),
            ("authority", ["Shed", "", "", "s", "127.0.0.1:1"]),
            ("user", ["Shed", "", "", "s", "127.0.0.1:1", ""]),
            ("password", ["Shed", "", "", "s", "127.0.0.1:1", "", "me"]),
            ("password file", ["Shed", "", "", "s", "127.0.0.1:1", "", "me", "word"]),
            ("substrate", ["Shed", "", "", "s", ""]),
            ("thickness", ["Shed", "", "", "s", "", ""]),
            ("resin", ["Shed", "", "", "s", "", "", ""]),
            ("lot", ["Shed", "", "", "s", "", "", "", ""]),
            ("mass", ["Shed", "", "", "s", "", "", "", "", ""]),
            ("without the air", ["Shed", "", "", "s", "", "", "", "", "", ""]),
            ("where to write", ["Shed", "", "", "s", "", "", "", "", "", "", "y"]),
        )
    ),
]


@pytest.mark.long
@pytest.mark.parametrize("typed", KEYS)
def test_ctrl_c_leaves_at_every_question(tmp_path: Path, typed: list[str]) -> None:
    """No file, no traceback, a status, and a terminal that shows again what is typed. Ports are skipped."""
    talk = spawn(tmp_path, "setup", "--seconds", "1", rows=60)
    for reply in typed:
        talk.expect(r"[^\r\n]: $")
        talk.sendline(reply)
    talk.expect(r"[^\r\n]: $")
    talk.sendcontrol("c")
    talk.expect(pexpect.EOF)
    echoes = termios.tcgetattr(talk.child_fd)[3] & termios.ECHO
    talk.close()
    assert "Traceback" not in talk.before
    assert talk.exitstatus not in {0, None}
    assert echoes
    assert list(tmp_path.iterdir()) == []


def test_a_weather_service_is_asked_for_only_if_wanted() -> None:
    """What is told to whom stands before the question; Enter leaves it off; a place is rounded."""
    said: list[str] = []

    def walked(*replies: str) -> Answers:
        given = iter(replies)
        talk = Talk(lambda question: next(given), said.append)
        state = SetupSession(talk, SystemClock(), Answers(), Wording(), 1.0, [])
        dict(STEPS)["a forecast"](state)
        return state.answers

    off = walked("")
    assert "[forecast]" not in as_toml(off)
    assert "sees your connection's address, your contact, and where" in " ".join(said)
    url = "https://weather.example/?lat={latitude}&lon={longitude}"
    on = walked("http://weather.example/", "", "", "", "y", url, "59.9139", "10.7522", "me@yard.example")
    assert any("begins with https" in line for line in said)
    kept = configuration.parse(as_toml(on)).forecast
    assert (kept.url, kept.latitude, kept.longitude) == (url, 59.91, 10.75)
