"""The page of a fleet in a real browser: the list, the board of one shed, and back; never an old go."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from curewatch.clock import SystemClock
from curewatch.configuration import load
from curewatch.fleet.looker import Looks, WantedLook
from curewatch.fleet.plan import BrokerHosts, FleetPlan
from curewatch.logbook import Logbook
from tests.broker import PATIENCE, free_port, until
from tests.browser import browser, phone, shows, state, word
from tests.end_to_end.test_json_answers import must_fit
from tests.page_world import answers, past
from tests.terminal import environment

pytestmark = pytest.mark.long
HOUR = 3600.0
SHED = """
[logbook]
path = "{name}.sqlite"
[shed]
name = "{name} <img src=x onerror=alert(1)>"
[resin]
name = "epoxy-slow"
[alerts]
go_now = false
[sensors.bench]
role = "air"
[sensors.hull]
role = "surface"
"""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as found:
        yield found


def typed(folder: Path, *words: str) -> list[str]:
    file = folder / "fleet.toml"
    return [sys.executable, "-m", "curewatch", "fleet", words[0], str(file), *words[1:]]


def filled(folder: Path, port: int) -> None:
    """Two sheds of one fleet: the creek is warm and dry and was just looked at, nobody looked at the quay."""
    for name in ("creek", "quay"):
        (folder / f"{name}.toml").write_text(SHED.format(name=name))
        with Logbook(folder / f"{name}.sqlite") as logbook:
            logbook.append(past(time.time(), 14 * HOUR))
    (folder / "fleet.toml").write_text(
        "[broker]\nhosts = ['none']\n[sheds]\ncreek = 'creek.toml'\nquay = 'quay.toml'\n"
        f"[page]\nport = {port}\n"
    )
    looks = Looks(
        FleetPlan(broker=BrokerHosts(hosts=("none",))), {"creek": load(folder / "creek.toml")}, "one"
    )
    looks.look(WantedLook("creek", time.time()), SystemClock())
    looks.close()


def test_a_phone_sees_every_shed_and_one_board(chromium: Any, tmp_path: Path) -> None:
    """Worst first; a line leads to its board and back; the server killed, every go is gone within 40 s."""
    port, world = free_port(), environment(tmp_path)
    filled(tmp_path, port)
    made = subprocess.run(
        typed(tmp_path, "page", "--json"),
        env=world,
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=True,
    )
    code = json.loads(made.stdout)
    must_fit("fleet page", code)
    journal = tmp_path / "journal"
    with (
        journal.open("w") as out,
        subprocess.Popen(typed(tmp_path, "serve"), env=world, stdout=out) as server,
    ):
        try:
            until(journal.read_text)  # it is there while the server runs
            assert journal.read_text() == f"the page of 2 sheds listens on port {port}\n"
            page = phone(chromium, code["address"])
            asked: list[str] = []
            page.on("request", lambda request: asked.append(request.url))
            page.on("dialog", lambda said: asked.append(said.message))
            told = shows(page, "#sheds", "GO creek")
            assert shows(page, "#why", "2 sheds: 1 unknown, 1 go.")
            assert word(page) == "UNKNOWN"  # the quay's
            assert told.index("UNKNOWN quay") < told.index("GO creek")
            page.click("text=GO creek")
            shows(page, "#word", "GO")
            assert "creek <img src=x onerror=alert(1)>" in page.inner_text("#place-name")
            assert "bench" in page.inner_text("#readings")
            assert not page.is_visible("#bench")  # nothing is told here
            page.click("#to-sheds")
            shows(page, "#sheds", "GO creek")
            page.click("text=GO creek")
            shows(page, "#word", "GO")
            server.kill()
            shows(page, "#why", "No contact")
            assert state(page) == ("UNKNOWN", False)
            assert asked
            assert all(each.startswith(f"http://127.0.0.1:{port}/") for each in asked)
            page.context.close()
        finally:
            server.kill()


def test_it_ends_when_it_is_told_to_and_says_what_is_wrong(tmp_path: Path) -> None:
    """A port that is taken and a file that is none: one sentence, and no traceback."""
    port, world = free_port(), environment(tmp_path)
    filled(tmp_path, port)
    with subprocess.Popen(typed(tmp_path, "serve"), env=world, stdout=subprocess.DEVNULL) as server:
        until(lambda: answers(port))
        taken = subprocess.run(
            typed(tmp_path, "serve"), env=world, capture_output=True, text=True, timeout=PATIENCE, check=False
        )
        assert (taken.returncode, taken.stderr.count("\n")) == (2, 1)
        assert "Use another [page] port" in taken.stderr
        server.send_signal(signal.SIGTERM)
        assert server.wait(PATIENCE) == 0
