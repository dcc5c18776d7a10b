"""The daemon is killed with SIGKILL while a notice is under way: the message arrives, the outbox is right.

The command that rings kills it, once, after it has told: between sending and noting. Killed alone, the
sender that outlives it notes what it sent. Killed with its sender, nothing is noted, and the next daemon
tells again.
The control notes first and sends then: there the message is lost, or this test could not find a loss.
"""

import json
import signal
import sys
import time
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.notices.delivery import deliver
from curewatch.notices.request import DeliveryRequest
from tests.broker import until
from tests.page_world import PageWorld, page_world

pytestmark = pytest.mark.long

RING = """
import os, signal, sys, time
from pathlib import Path
folder, whom, when = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
said = sys.stdin.read()
def tell():
    with (folder / "told").open("a") as file:
        file.write(said)
try:
    (folder / "once").open("x").close()
except FileExistsError:
    tell()
    sys.exit()
if when == "sent":
    tell()
sender = os.getppid()
daemon = int(Path(f"/proc/{sender}/stat").read_text().rpartition(")")[2].split()[1])
assert b"ingest" in Path(f"/proc/{daemon}/cmdline").read_bytes()
os.kill(daemon, signal.SIGKILL)
if whom == "both":
    os.kill(sender, signal.SIGKILL)
time.sleep(1.0)
"""
PROMPT = """
if "daemon.outgoing" in what:
    from curewatch.notices import delivery, outbox
    outbox.SETTLE = 1.0  # s; a test need not wait for what else may ring
"""
DEFECT = """
    def noted_before(letters, everybody, longest):
        for receiver in letters:
            yield receiver, ""
        for receiver, letter in letters.items():
            everybody[receiver](letter)
    delivery.tried = noted_before
"""


def noted(shed: PageWorld) -> list[int]:
    """The numbers of the alerts that the outbox says were told, one for each time."""
    return [number for one in shed.told("notice") for number in one["about"]]


def arrived(folder: Path) -> int:
    """How often the first alert was told."""
    file = folder / "told"
    lines = [json.loads(each) for each in file.read_text().splitlines()] if file.exists() else []
    return sum(any("go now" in str(alert["text"]) for alert in each["alerts"]) for each in lines)


@pytest.mark.parametrize(
    ("whom", "when", "times", "defect"),
    [
        ("daemon", "sent", 1, ""),  # its sender goes on, and notes it
        ("both", "sent", 2, ""),
        ("both", "before", 1, ""),
        ("both", "before", 0, DEFECT),
    ],
)
def test_the_daemon_is_killed_between_sending_and_noting(
    tmp_path: Path, whom: str, when: str, times: int, defect: str
) -> None:
    """At least once, and noted once; noted before it was sent it never arrives, and nothing is due."""
    (tmp_path / "ring.py").write_text(RING)
    words = [sys.executable, str(tmp_path / "ring.py"), str(tmp_path), whom, when]
    more = f"[notices]\ncommand = {json.dumps(words)}\ntimeout_s = 60"
    with page_world(tmp_path, PROMPT + defect, more=more) as shed:
        assert shed.daemon.ended() == -signal.SIGKILL
        if whom == "daemon" or defect:
            until(lambda: noted(shed))
        shed.daemon.start()
        until(lambda: noted(shed))
        until(lambda: arrived(tmp_path) >= times)
        shed.daemon.stop()
        settings = configuration.load(tmp_path / "curewatch.toml")
        assert deliver(DeliveryRequest(settings, shed.path, time.time())).sent == []
        assert len(noted(shed)) == len(set(noted(shed)))
        assert arrived(tmp_path) == times
