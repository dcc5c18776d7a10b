"""What `setup` hears from a real broker: what speaks of temperature and humidity, and what is in the way."""

import getpass
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pexpect
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from curewatch import configuration
from curewatch.cli.setup import broker as survey
from curewatch.cli.setup.answers import Answers, as_toml
from curewatch.cli.setup.steps import STEPS, SetupSession
from curewatch.cli.setup.talk import Talk
from curewatch.clock import SystemClock
from curewatch.wording import Wording
from tests.broker import PATIENCE, Broker, Talker, free_port, needs_mosquitto
from tests.certificates import authority, certificate
from tests.terminal import spawn


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A broker on a busy machine may need more than five seconds for an answer."""
    monkeypatch.setattr(survey, "PATIENCE", PATIENCE)


def speaking(broker: Broker) -> None:
    """Retained words of a yard, some of them about the weather."""
    with Talker(broker) as talker:
        talker.send("creek/yard-node/state", [b'{"temperature": 6.3, "humidity": 88}'], retain=True)
        talker.send("creek/pump/state", [b'{"running": true}'], retain=True)
        talker.send("creek/picture", [b"\x00\x01\x02" * 100], retain=True)


def patiently(broker: Broker) -> tuple[survey.Hearing, float]:
    """What is heard, and in how many seconds: a busy machine gets more of them."""
    for seconds in (0.4, 4.0, 40.0):
        found = survey.listen(survey.BrokerAddress("127.0.0.1", broker.port), seconds, SystemClock())
        if found.heard:
            break
    return found, 2 * seconds


@pytest.mark.long
def test_the_topics_that_matter_are_found_among_others(tmp_path: Path) -> None:
    """One topic speaks of temperature and humidity; pumps and pictures are counted, not shown."""
    with Broker(tmp_path) as broker:
        speaking(broker)
        found, _ = patiently(broker)
    assert found.trouble == ""
    assert found.version == broker.version
    (yard,) = found.heard
    assert (yard.place, yard.name) == ("creek/yard-node/state", "yard-node")
    assert yard.latest.temperature == pytest.approx(279.45)
    assert yard.latest.relative_humidity == pytest.approx(0.88)


@pytest.mark.long
def test_each_topic_is_shown_once_as_it_comes_and_the_person_ends_it(tmp_path: Path) -> None:
    """Of many words on one topic the first is shown; an Enter ends the two minutes."""
    shown: list[str] = []
    begun = time.monotonic()
    with Broker(tmp_path) as broker, Talker(broker) as talker:
        talker.send("creek/pump/state", [b'{"running": true}'], retain=True)
        talker.send("creek/yard-node/state", [b'{"temperature": 6.3, "humidity": 88}'], retain=True)

        def enough() -> bool:
            talker.send("creek/yard-node/state", [b'{"temperature": 6.4, "humidity": 88}'])
            return bool(shown) and time.monotonic() > begun + 1.0

        place = survey.BrokerAddress("127.0.0.1", broker.port)
        found = survey.listen(place, PATIENCE, SystemClock(), shown.append, enough=enough)
    assert time.monotonic() < begun + PATIENCE
    assert [line.partition(" ")[0] for line in shown] == ["creek/yard-node/state"]
    assert found.heard[0].times > 1


def test_a_broker_that_is_not_there_is_told() -> None:
    """Why, in a few words, and soon."""
    found = survey.listen(survey.BrokerAddress("127.0.0.1", free_port()), 1.0, SystemClock())
    assert "refused" in found.trouble
    assert found.heard == ()


@pytest.mark.long
def test_the_step_writes_topics_user_and_password_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole topic becomes the sensor's address; the password stands in a file of its own, mode 600."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(getpass, "getpass", lambda prompt: "tide")
    said: list[str] = []
    with Broker(tmp_path) as broker:
        speaking(broker)
        replies = iter(
            (f"127.0.0.1:{broker.port}", "", "kittiwake", "", "1", "outside", "yard", "single-wire")
        )
        talk = Talk(lambda prompt: next(replies), said.append)
        state = SetupSession(talk, SystemClock(), Answers(), Wording(), patiently(broker)[1], [])
        steps = dict(STEPS)
        steps["a broker (MQTT)"](state)
        steps["the sensors' names"](state)
    assert (tmp_path / "broker-password").read_text() == "tide\n"
    assert (tmp_path / "broker-password").stat().st_mode & 0o777 == 0o600
    written = as_toml(state.answers)
    assert "tide" not in written
    found = configuration.parse(written, tmp_path / "curewatch.toml")
    assert found.mqtt["yard"].topics == ("creek/yard-node/state",)
    assert found.mqtt["yard"].username == "kittiwake"
    assert found.sensors["yard"].address == ("creek/yard-node/state",)
    assert configuration.password("yard", found.mqtt["yard"]) == "tide"


@pytest.mark.long
def test_a_topic_for_each_quantity_is_one_sensor(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bare numbers under one level are offered as one sensor, and written as its topics."""
    monkeypatch.chdir(tmp_path)
    said: list[str] = []
    with Broker(tmp_path) as broker:
        with Talker(broker) as talker:
            for topic, number in (
                ("bench/temperature", b"12.4"),
                ("bench/humidity", b"71"),
                ("pump/power", b"4"),
            ):
                talker.send(f"creek/{topic}", [number], retain=True)
        replies = iter((f"127.0.0.1:{broker.port}", "", "", "all", "", "air", "bench", "humidity-2"))
        talk = Talk(lambda prompt: next(replies), said.append)
        state = SetupSession(talk, SystemClock(), Answers(), Wording(), patiently(broker)[1], [])
        steps = dict(STEPS)
        steps["a broker (MQTT)"](state)
        steps["the sensors' names"](state)
    assert any("creek/bench/+: bench 12.4 °C 71 %" in line for line in said), said
    assert not any("pump" in line and "°C" in line for line in said), "pointed at, if anything"
    found = configuration.parse(as_toml(state.answers), tmp_path / "curewatch.toml")
    topics = {"humidity_percent": "creek/bench/humidity", "temperature_c": "creek/bench/temperature"}
    assert found.sensors["bench"].topics == topics
    assert set(found.mqtt["yard"].topics) == set(topics.values())


@pytest.mark.long
def test_a_wrong_password_is_told_as_such(tmp_path: Path) -> None:
    """Let in with the right one, refused with another, by the broker's own words."""
    needs_mosquitto("the broker in Python asks for no password here")
    kept = tmp_path / "passwords"
    tool = shutil.which("mosquitto_passwd")
    assert tool is not None
    subprocess.run([tool, "-b", "-c", str(kept), "kittiwake", "tide"], check=True)
    kept.chmod(0o644)
    with Broker(tmp_path, "allow_anonymous false", f"password_file {kept}") as broker:
        right = survey.BrokerAddress("127.0.0.1", broker.port, "kittiwake", "tide")
        assert survey.listen(right, 0.3, SystemClock()).trouble == ""
        wrong = survey.BrokerAddress("127.0.0.1", broker.port, "kittiwake", "ebb")
        assert "ot authori" in survey.listen(wrong, 0.3, SystemClock()).trouble


@pytest.mark.long
def test_a_certificate_of_another_authority_is_refused(tmp_path: Path) -> None:
    """TLS with our own authority works; with another one nothing is said to that broker."""
    needs_mosquitto("the broker in Python speaks no TLS here")
    for name in ("ours", "theirs"):
        authority(tmp_path, name)
    certificate(tmp_path, "server", "ours")
    files = ("cafile", "ours.pem"), ("certfile", "server.pem"), ("keyfile", "server.key")
    with Broker(tmp_path, *(f"{key} {tmp_path}/{name}" for key, name in files)) as broker:
        ours = survey.BrokerAddress("127.0.0.1", broker.port, ca_file=tmp_path / "ours.pem")
        assert survey.listen(ours, 0.3, SystemClock()).trouble == ""
        theirs = survey.BrokerAddress("127.0.0.1", broker.port, ca_file=tmp_path / "theirs.pem")
        assert "not signed by that authority" in survey.listen(theirs, 0.3, SystemClock()).trouble


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """A broker that speaks TLS to those with a password, and a yard that reports to it twice a second."""
    needs_mosquitto("the broker in Python speaks no TLS here")
    authority(tmp_path, "ours")
    certificate(tmp_path, "server", "ours")
    kept = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(kept), "kittiwake", "tide"], check=True)
    kept.chmod(0o644)
    files = ("cafile", "ours.pem"), ("certfile", "server.pem"), ("keyfile", "server.key")
    settings = [f"{key} {tmp_path}/{name}" for key, name in files]
    with Broker(tmp_path, *settings, "allow_anonymous false", f"password_file {kept}") as broker:
        client = paho.Client(CallbackAPIVersion.VERSION2, client_id="the-yard")
        client.username_pw_set("kittiwake", "tide")
        client.tls_set(ca_certs=str(tmp_path / "ours.pem"))
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        over = threading.Event()

        def report() -> None:
            while not over.wait(0.5):
                client.publish("creek/bench/state", b'{"temperature": 15.2, "humidity": 60}')

        reporting = threading.Thread(target=report)
        reporting.start()
        yield broker
        over.set()
        reporting.join()
        client.disconnect()
        client.loop_stop()


@pytest.mark.long
def test_tls_and_a_password_are_told_on_a_terminal(guarded: Broker, tmp_path: Path) -> None:
    """A wrong password is asked again; the right one is kept in its file; the daemon then hears the yard."""
    home = tmp_path / "home"
    home.mkdir()
    talk = spawn(home, "setup", "--seconds", "15", rows=60)

    def answer(question: str, reply: str = "") -> None:
        talk.expect(question)
        talk.sendline(reply)

    answer("name of the shed", "s")
    answer(r"2 of 6.*: $", "s")
    for word, file in (("ebb", "wrong-password"), ("tide", "")):
        answer("address of the broker", f"127.0.0.1:{guarded.port}")
        answer("certificate authority", str(tmp_path / "ours.pem"))
        answer("user name", "kittiwake")
        answer(r"password \(not shown", word)
        answer("file to keep the password in", file)
        if word == "ebb":
            talk.expect("the broker: Not authorized")
            answer("try another address", "y")
    answer("which ones", "all")
    answer("it is", "air")
    answer("call it")
    answer("class of its chip", "humidity-2")
    answer("you laminate on", "s")
    answer("address .https", "s")
    answer("write it to")
    talk.expect("all of them report and are stored")
    talk.expect("a first answer")
    talk.expect(pexpect.EOF)
    talk.close()
    assert "Traceback" not in talk.before
    assert (home / "broker-password").read_text() == "tide\n"
    found = configuration.load(home / "curewatch.toml")
    assert found.mqtt["yard"].password_file == home / "broker-password"
    assert found.mqtt["yard"].ca_file == tmp_path / "ours.pem"
    assert "tide" not in (home / "curewatch.toml").read_text()
