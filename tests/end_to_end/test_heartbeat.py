"""The second listener, as a command beside a real broker: it rings when the daemon is gone."""

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch.clock import SystemClock, iso_utc
from tests.broker import PATIENCE, Broker, Talker, until

LAYERS = {"layers": [{"layer": "L2", "job": "J1", "part": "rudder cheek"}]}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with Broker(tmp_path) as found:
        yield found


def typed(folder: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "curewatch", *words, "--config", str(folder / "curewatch.toml")]


def settings(folder: Path, broker: Broker, more: str = "") -> None:
    (folder / "curewatch.toml").write_text(
        f'[mqtt.yard]\nhost = "127.0.0.1"\nport = {broker.port}\nversion = "{broker.version}"\n'
        f'publish = "curewatch"\n[logbook]\npath = "shed.sqlite"\n{more}'
    )


def once(folder: Path) -> tuple[int, str]:
    ran = subprocess.run(
        typed(folder, "heartbeat", "--once"), capture_output=True, text=True, timeout=PATIENCE, check=False
    )
    return ran.returncode, ran.stdout + ran.stderr


@pytest.mark.long  # the daemon is asked for its state after a minute
def test_a_daemon_that_runs_is_heard(tmp_path: Path, broker: Broker) -> None:
    """The topics and times of a real daemon; before it ran there is nothing, and that is said."""
    settings(tmp_path, broker)
    nothing = (4, "nothing is heard: the broker keeps no state of a daemon\n")
    until(lambda: once(tmp_path) == nothing)  # it gives a broker five seconds, and says so
    with subprocess.Popen(
        typed(tmp_path, "ingest"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as daemon:
        try:
            until(lambda: (heard := once(tmp_path))[0] == 0 and "no layer in progress" in heard[1])
        finally:
            daemon.kill()


@pytest.mark.long
def test_a_daemon_that_died_while_a_layer_cured_rings(tmp_path: Path, broker: Broker) -> None:
    """From what the broker keeps; through the receivers, once; a broker that is gone is said."""
    kept = tmp_path / "rung"
    ring = json.dumps(["sh", "-c", f"cat >> {kept}"])
    settings(tmp_path, broker, f"[notices]\ncommand = {ring}\n")
    begun, died = time.monotonic(), iso_utc(SystemClock().now().utc - 1200.0)
    with Talker(broker) as talker:
        for about, document in (("alerts", LAYERS), ("state", {"at": died})):
            payload = json.dumps(document | {"at": died}).encode()
            talker.send(f"curewatch/v1/{about}", [payload], retain=True)
    until(lambda: once(tmp_path)[0] == 4)
    doctor = subprocess.run(
        typed(tmp_path, "doctor", "--json"), capture_output=True, text=True, timeout=PATIENCE, check=False
    )
    (finding,) = (one for one in json.loads(doctor.stdout)["findings"] if one["about"] == "heartbeat.yard")
    assert finding["grade"] == "care"
    age = re.search(r"sign of life, (\d+) min old", finding["finding"])
    assert age is not None
    assert 20 <= int(age[1]) <= 20 + (time.monotonic() - begun) / 60.0 + 0.5  # on a busy machine it is older
    journal = tmp_path / "journal"
    with journal.open("w") as out, subprocess.Popen(typed(tmp_path, "heartbeat"), stdout=out) as listener:
        try:
            until(lambda: "command: told" in journal.read_text())
            broker.stop()
            until(lambda: "connection was lost" in journal.read_text() or "127.0.0.1:" in journal.read_text())
        finally:
            listener.send_signal(signal.SIGINT)
            assert listener.wait(PATIENCE) in {0, 130}
    (line,) = kept.read_text().splitlines()
    notice = json.loads(line)
    assert notice["text"].startswith("J1 rudder cheek, L2 cures: no word of ")
    assert notice["urgent"]
    assert "Traceback" not in journal.read_text()


@pytest.mark.parametrize(
    ("settings", "words", "said"),
    [
        ("", [], "Use [mqtt.NAME]"),
        ("", ["--after", "30 s"], "Use 2 min or more"),
    ],
)
def test_what_it_cannot_listen_to_is_one_sentence(
    tmp_path: Path, settings: str, words: list[str], said: str
) -> None:
    (tmp_path / "curewatch.toml").write_text(settings)
    ran = subprocess.run(
        typed(tmp_path, "heartbeat", *words), capture_output=True, text=True, timeout=PATIENCE, check=False
    )
    assert ran.returncode in {2, 78}
    assert said in ran.stderr
    assert len(ran.stderr.splitlines()) == 1
