"""What short commands cost from start to end, in a shed that is in use, with two layers running.

Run: python -m tests.benchmarks.bench_start

Processor time of the whole process, least of seven, as installed: with its byte code. A busy machine makes it
up to twice as long. `layer --running` as people meet it: where nobody left a look, and after
those who leave one.
"""

import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from curewatch import configuration
from curewatch.answers import last_look
from curewatch.clock import Instant, SystemClock, iso_utc
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Remember
from curewatch.logbook import Entry, Logbook
from curewatch.units import HOUR
from tests.benchmarks import environment
from tests.demo_world import shed_in_use

LAYERS = (
    "layer --resin epoxy-slow --mass 150g --part cheek --ago 20min",
    "layer --resin epoxy-fast --mass 100g --part keel --ago 90min",
)
BARE = (("python", "pass"), ("typer alone", "import typer"), ("numpy alone", "import numpy"))
COMMANDS = ("--help", "explain blush", "alerts", "doctor")
RUNNING = "layer --running"
TELLING = (
    "observe gelled --layer L2 --force",
    "job note --text dry --by M",
    "job peel-ply --action on --by M",
)


def spent(words: list[str], folder: Path) -> float:
    """Processor time of one run. [s]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    settings = environment(CUREWATCH_CONFIG=str(folder / "curewatch.toml"))
    subprocess.run(words, cwd=folder, env=settings, capture_output=True, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def least(words: list[str], folder: Path, before: Callable[[], None] = lambda: None) -> float:
    """Of seven runs, after one that writes the byte code; ``before`` each of them is not counted. [s]"""
    spent(words, folder)
    found = []
    for _ in range(7):
        before()
        found.append(spent(words, folder))
    return min(found)


def curewatch(said: str) -> list[str]:
    return [sys.executable, "-m", "curewatch", *said.split()]


def look(settings: Path, ago: float = 0.0) -> None:
    """A look as the daemon makes and keeps it, so long ago. [s]"""
    found, now = configuration.load(settings), SystemClock().now()
    with Logbook(configuration.logbook_path(found)) as logbook:
        said = Evaluation(found, logbook)(Instant(now.utc - ago, now.monotonic - ago), "a benchmark")
        notes = {each.key: each.value for each in said if isinstance(each, Remember)}
        logbook.append((), [each for each in said if isinstance(each, Entry)], notes=notes)


def forget(settings: Path) -> None:
    """As if nobody had looked."""
    with Logbook(configuration.logbook_path(configuration.load(settings))) as logbook:
        logbook.append(notes={last_look.NOTE: b""})


def import_one(folder: Path) -> None:
    """A reading of now from a file."""
    now = SystemClock().now().utc
    line = f"time,temperature,humidity\n{iso_utc(now - 40.0)},11.5,70\n{iso_utc(now)},11.4,70\n"
    (folder / "more.csv").write_text(line, encoding="ascii")
    spent(curewatch("replay more.csv --sensor bench --logbook logbook.sqlite"), folder)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        settings = shed_in_use(folder, SystemClock().now().utc)
        for told in LAYERS:
            spent(curewatch(told), folder)
        runs = {said: [sys.executable, "-c", code] for said, code in BARE}
        runs |= {said: curewatch(said) for said in COMMANDS}
        for said, words in runs.items():
            print(f"{said:50}{least(words, folder):8.3f} s")
        running = curewatch(RUNNING)

        def row(when: str, before: Callable[[], object]) -> None:
            print(f"{'layer --running, ' + when:50}{least(running, folder, before):8.3f} s")

        def told(said: str) -> Callable[[], object]:
            return lambda: spent(curewatch(said), folder)

        row("where nobody left a look", lambda: forget(settings))
        row("asked again", lambda: None)
        told("job open --title cheek --by M")()
        told("layer --resin epoxy-slow --mass 80g --part cheek")()
        for said in TELLING:
            row(f"after {' '.join(said.split()[:2])}", told(said))
        row("after readings came by replay", lambda: import_one(folder))
        row("after the daemon", lambda: look(settings))
        for said in TELLING:
            print(f"{' '.join(said.split()[:2]) + ' itself':50}{least(curewatch(said), folder):8.3f} s")
        for layer in ("L1", "L2", "L3"):
            told(f"layer --close {layer}")()
        row("where none runs", lambda: forget(settings))
    silent()


def silent() -> None:
    """No daemon runs, the sensors say nothing, and the last look is an hour old."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        settings = shed_in_use(folder, SystemClock().now().utc - 2 * HOUR)
        for told in LAYERS:
            spent(curewatch(told.replace("20min", "2h")), folder)
        found = least(curewatch(RUNNING), folder, lambda: look(settings, HOUR))
        print(f"{'layer --running, an hour later, nothing heard':50}{found:8.3f} s")


if __name__ == "__main__":
    main()
