"""The demonstration's evening on a phone: recorded readings come in, a browser's clock goes along.

Readings go through the replay, answers through the page's own server and what works them out. The clock alone
is the test's: it stands at the evening and goes on with real seconds between two steps.
"""

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from curewatch.cli.commands.demo import demo_configuration, recording_file
from curewatch.clock import Instant, utc_from_iso
from curewatch.configuration import Configuration
from curewatch.daemon.edges.recording import open_recording
from curewatch.daemon.replay import Replay
from curewatch.logbook import Logbook
from curewatch.page.answering import Answering
from curewatch.page.plan import of_daemon
from curewatch.page.server import PageServer
from curewatch.page.tokens import TokenKind, issue, tokens_path
from curewatch.units import MINUTE
from tests.broker import free_port, until
from tests.browser import phone, press, shows, word

START = utc_from_iso("2026-10-17T14:45:00Z")
TITLE = "rudder cheek"
PLACES = ["word", "why", "todo", "deadline", "alerts", "layers"]


class EveningClock:
    """Stands at a moment of the evening, and goes on from there."""

    def __init__(self, at: float) -> None:
        self._ahead = at - time.time()

    def now(self) -> Instant:
        return Instant(time.time() + self._ahead, time.monotonic() + self._ahead)

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)

    def step_to(self, at: float) -> float:
        """How far it steps. [s]"""
        step = max(0.0, at - self.now().utc)
        self._ahead += step
        return step


class InThread:
    """In the place of the page's process: the same answers, worked out in one thread of the test."""

    def __init__(self, configuration: Configuration, path: Path, clock: EveningClock) -> None:
        self._worker = ThreadPoolExecutor(1)
        self._answering = self._worker.submit(lambda: Answering(configuration, Logbook(path), clock)).result()

    def ask(self, question: dict[str, Any]) -> Any:
        answer = self._worker.submit(self._answering.answer, question).result()
        self._worker.submit(self._answering.afterwards)
        return answer

    def tend(self) -> None:
        """It stays."""

    def stop(self) -> None:
        self._worker.submit(self._answering._logbook.close).result()  # type: ignore[attr-defined]
        self._worker.shutdown()


class PageEvening:
    """The shed, and one phone that is let in."""

    def __init__(self, folder: Path, browser: Any) -> None:
        self.folder, self.path = folder, folder / "logbook.sqlite"
        self.clock = EveningClock(START)
        page = replace(demo_configuration().page, on=True, port=free_port())
        book = replace(demo_configuration().logbook, path=self.path)
        self.configuration = replace(demo_configuration(), page=page, logbook=book)
        self._lines = [
            each
            for each in recording_file().read_text(encoding="ascii").splitlines()
            if each.startswith("cw1")
        ]
        self._feed(START)
        self.server = PageServer(of_daemon(self.configuration), print)
        self.server.process = InThread(self.configuration, self.path, self.clock)  # type: ignore[assignment]
        self.server._beat = float("inf")
        self.server.start()
        secret = issue(tokens_path(self.path), TokenKind.WRITE, "a phone", START)[1]
        self.phone = phone(browser, "about:blank")
        self.phone.clock.install(time=datetime.fromtimestamp(self.clock.now().utc, UTC))
        self.phone.goto(f"http://127.0.0.1:{page.port}/enter/{secret}")

    def go_to(self, at: str) -> None:
        """The readings until then come in, both clocks stand there, and the page has asked anew. [UTC]"""
        moment = utc_from_iso(f"2026-10-17T{at}:00Z")
        self._feed(moment)
        self.clock.step_to(moment)
        behind = self.clock.now().utc - float(self.phone.evaluate("() => Date.now() / 1000"))
        self.phone.clock.fast_forward(int(1000 * behind))
        until(lambda: word(self.phone) != "UNKNOWN")

    def seen(self) -> dict[str, str]:
        """What stands in each place at one moment, with an answer that is new."""
        read = "all => Object.fromEntries(all.map(each => [each, document.getElementById(each).innerText]))"
        found: dict[str, str] = until(
            lambda: (seen := self.phone.evaluate(read, PLACES))["word"] != "UNKNOWN" and seen
        )
        return found

    def press(self, *keys: str) -> None:
        for key in keys:
            press(self.phone, key)

    def open_job(self) -> None:
        """The questions of a job that is opened: what is done, with what, by whom."""
        for key, text in (("title", TITLE), ("resin", "epoxy-fast"), ("by", "the owner")):
            self.phone.fill(f"#of-{key}", text)
        self.phone.click("text=Open this job")
        shows(self.phone, "#said", f"job J1 opened: {TITLE}")

    def acknowledge(self) -> None:
        """All that waits."""
        every = self.phone.locator("text=/^Acknowledge all/")
        (every if every.count() else self.phone.locator("[data-acknowledge]").first).click()
        until(lambda: self.phone.locator("[data-acknowledge]").count() == 0)

    def _feed(self, end: float) -> None:
        due = [each for each in self._lines if float(each.partition(" at=")[2].partition(" ")[0]) <= end]
        self._lines = self._lines[len(due) :]
        if not due:
            return
        part = self.folder / "part.txt"
        part.write_text("\n".join(due) + "\n", encoding="ascii")
        with Logbook(self.path) as logbook:
            Replay(
                self.configuration,
                open_recording(part),
                logbook,
                show=lambda event: None,
                advise_every=5 * MINUTE,
            ).run()

    def play(self) -> Iterator[str]:
        """The evening by its keys; each moment's name when it is to be looked at."""
        shows(self.phone, "#word", "GO")
        shows(self.phone, "#layer", "No job is open. Open one below.")
        self.open_job()
        until(lambda: self.phone.is_enabled("[data-key=mixed]"))
        yield "fit for the first layer"
        self.go_to("14:50")
        self.press("mixed", "laid", "peel-ply", "pot-empty")
        shows(self.phone, "#layers", "laminate again before")
        self.go_to("15:20")
        yield "the first layer cures"
        self.acknowledge()
        self.go_to("17:20")
        yield "the window closes soon"
        self.go_to("17:50")
        self.press("peel-ply", "mixed", "laid", "peel-ply", "pot-empty")
        self.go_to("18:45")
        until(lambda: "not known yet" not in self.phone.inner_text("#todo"))
        yield "the damp comes"
        self.press("gelled")
        self.go_to("20:00")
        yield "the hull sweats"

    def close(self) -> None:
        self.phone.context.close()
        self.server.stop()


@contextmanager
def page_evening(folder: Path, browser: Any) -> Iterator[PageEvening]:
    found = PageEvening(folder, browser)
    try:
        yield found
    finally:
        found.close()
