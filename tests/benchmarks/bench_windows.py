"""How fast the coming windows and the evening's answer are, how the cost grows, and against a solve_ivp loop.

Run: python -m tests.benchmarks.bench_windows

Times inside are processor time of this process (medians); those of whole commands are processor time of the
command, with its largest resident memory.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from curewatch.advice.judge import limits
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Place, Surfaced
from curewatch.advice.plan.windows import LENGTH, strip
from curewatch.advice.remedy.levers import Means, levers
from curewatch.logbook import Logbook
from curewatch.materials import load_resin, resin_names
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import shed
from curewatch.model.air.outlook import Outlook, persistence
from curewatch.model.film.ensemble import cures, milestone_times
from curewatch.model.film.film import History
from curewatch.model.film.lots import Lot
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR
from tests.benchmarks import environment
from tests.benchmarks.bench_cure import EVERY, TIGHT, equal_tolerance, median, solved, usual, weather

STARTS, MEMBERS, AHEAD = 193, 256, 72.0
SAMPLE = 12  # paths on which solve_ivp is measured
NOW = 1_795_000_000.0


def main() -> None:
    """Print the tables."""
    cure_of_all()
    growth()
    lever_search()
    commands()


def cure_of_all() -> None:
    resin = load_resin("epoxy-slow")
    ensemble = weather(MEMBERS, 48.0 + AHEAD)
    starts = 900.0 * np.arange(STARTS)
    milestone_times(resin, ensemble, starts=starts)  # makes the table of the flow map
    ours = median(lambda: milestone_times(resin, ensemble, starts=starts), 5)
    whole = int(AHEAD * HOUR / EVERY) + 1
    paths = [History(ensemble.time[:whole], row[:whole]) for row in ensemble.temperature[:SAMPLE]]
    at = np.arange(0.0, AHEAD * HOUR + 1, 900.0)
    references = [solved(resin, path, TIGHT, at) for path in paths]
    error = worst_of_the_map(paths, references, at)
    tolerance = equal_tolerance(resin, paths, references, at, error)
    one = median(lambda: [solved(resin, path, tolerance) for path in paths], 3) / SAMPLE
    print(f"cure of {STARTS} starts x {MEMBERS} members x {AHEAD:.0f} h: {ours:.0f} ms; error {error:.1e}")
    written = median(lambda: [usual(resin, path, tolerance) for path in paths], 1) / SAMPLE
    for how, each in (("plain Python", one), ("numpy, as usual", written)):
        loop = each * STARTS * MEMBERS
        print(
            f"solve_ivp (LSODA, rtol {tolerance:g}, {how}): {each:.2f} ms a path of {SAMPLE} measured, "
            f"extrapolated {loop / 1000:.0f} s: {loop / ours:.0f} times as long"
        )


def worst_of_the_map(paths: list[History], references: list[np.ndarray], at: np.ndarray) -> float:
    """Largest error in conversion of the stepping through the flow map."""
    resin = load_resin("epoxy-slow")
    worst = 0.0
    for path, expected in zip(paths, references, strict=True):
        one = History(path.time, path.temperature[None])
        found = cures(resin, one, [Lot(resin, 1.0)])
        own = np.interp(at, found.time, found.conversion[0])
        on_step = np.isin(np.round(at), np.round(found.time))
        worst = max(worst, float(np.max(np.abs(own - expected)[on_step])))
    return worst


def known() -> Surfaced:
    kelvin, humidity = 284.15, 0.70
    pressure = float(moist_air.vapour_pressure(kelvin, humidity))
    return Surfaced(
        NOW,
        air=Place("bench", "air", NOW - 40, kelvin, 0.3, humidity, 0.02, pressure, 20.0),
        surface=Place("hull", "surface", NOW - 40, kelvin - 0.4, 0.3),
    )


def outlook_of(members: int) -> Outlook:
    situation = known()
    air = situation.air
    assert air is not None
    return persistence(
        NOW,
        air.temperature or 0.0,
        air.vapour_pressure or 0.0,
        substrate=load_substrate("plywood"),
        length=LENGTH,
        members=members,
    )


def asked(name: str) -> Question:
    resin = load_resin(name)
    return Question(resin, limits.for_resin(resin), load_substrate("plywood"))


def growth() -> None:
    """The strip with all its checks: by members, by starts, by systems."""
    situation = known()
    print("\nstrip: every check of every start   members   starts   systems        ms")
    names = ("epoxy-slow", "epoxy-fast", "epoxy-laminating", "polyester-laminating")
    for members, hours, resins in (
        (64, 48, 1), (128, 48, 1), (256, 48, 1), (512, 48, 1),
        (256, 12, 1), (256, 24, 1), (256, 48, 2), (256, 48, 4),
    ):  # fmt: skip
        outlook = outlook_of(members)
        questions = [asked(name) for name in names[:resins]]

        def work(
            questions: list[Question] = questions, outlook: Outlook = outlook, hours: int = hours
        ) -> None:
            for question in questions:
                strip(question, situation, outlook, (), ahead=hours * HOUR)

        print(f"{'':<36}{members:>7}{4 * hours + 1:>9}{resins:>10}{median(work, 3):>10.0f}")


def lever_search() -> None:
    situation, question = known(), asked("epoxy-slow")
    outlook = coming_hours(situation, question.substrate)
    assert outlook is not None
    means = Means(shed.assumed(), (asked("epoxy-fast"),))
    taken = median(lambda: levers(question, situation, outlook, NOW, means), 3)
    print(f"\nlevers of a no-go, all solved: {taken:.0f} ms")


def commands() -> None:
    """Whole commands on a logbook of ten days, and on one of sixty for every resin."""
    print("\nwhole command                                cpu s    wall s   memory MB   exit")
    in_a_shed(21.0, 0.40, (["tonight"],))
    in_a_shed(
        11.0,
        0.72,
        (
            ["--help"],
            ["tonight"],
            ["windows"],
            ["windows", "--resin", "epoxy-slow", "--resin", "epoxy-fast"],
            ["layup", "round", "--length", "80", "--thickness", "6"],
        ),
    )
    print("\nsixty days of three sensors")
    every = tuple([word, "--resin", name] for name in resin_names() for word in ("tonight", "windows"))
    in_a_shed(11.0, 0.72, every, days=60)


def in_a_shed(celsius: float, humidity: float, commands: tuple[list[str], ...], *, days: int = 10) -> None:
    with tempfile.TemporaryDirectory() as folder:
        fill(Path(folder) / "logbook.sqlite", celsius, humidity, days)
        configuration = Path(folder) / "curewatch.toml"
        configuration.write_text(
            '[shed]\nname = "Saltmarsh Shed"\n[logbook]\npath = "logbook.sqlite"\n'
            '[resin]\nalso = ["epoxy-fast"]\n'
        )
        for words in commands:
            run(words, configuration)


CHILD = """
import atexit, pathlib, sys
from curewatch.__main__ import start
atexit.register(lambda: print(pathlib.Path("/proc/self/status").read_text(), file=sys.stderr))
start()
"""


def peak_of(stderr: bytes) -> float:
    """The largest resident memory a child had, as the kernel tells it. [MB]"""
    for line in stderr.decode(errors="replace").splitlines():
        if line.startswith("VmHWM:"):
            return float(line.split()[1]) / 1024
    return float("nan")


def run(words: list[str], configuration: Path) -> None:
    best: tuple[float, float, float, int] | None = None
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        begin = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", CHILD, *words],
            env=environment(CUREWATCH_CONFIG=str(configuration)),
            capture_output=True,
            timeout=120,
            check=False,
        )
        wall = time.perf_counter() - begin
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        if best is None or cpu < best[0]:
            best = (cpu, wall, peak_of(done.stderr), done.returncode)
    assert best is not None
    print(f"{' '.join(words):<42}{best[0]:>8.2f}{best[1]:>10.2f}{best[2]:>12.0f}{best[3]:>7}")


def fill(path: Path, celsius: float, humidity: float, days: int) -> None:
    """Days of one-minute readings of three sensors, up to now; made up."""
    now = time.time() - 20.0
    at = now - 60.0 * np.arange(days * 24 * 60, -1, -1)
    wave = np.sin(2 * np.pi * at / 86400.0)
    columns = zip(at.tolist(), wave.tolist(), strict=True)
    with Logbook(path) as logbook:
        readings = []
        for moment, swing in columns:
            kelvin = 273.15 + celsius + 2.0 * swing
            readings.append(Reading("bench", moment, moment, kelvin, humidity - 0.03 * swing))
            readings.append(Reading("hull", moment, moment, kelvin - 0.4))
            readings.append(Reading("yard", moment, moment, kelvin - 3.0, min(0.97, humidity + 0.1)))
        logbook.append(readings)


if __name__ == "__main__":
    main()
