"""A dozen situations of a shed, and what is typed in each. Everything in them is INVENTED.

The commands run in this process, with `--json`, at a fixed moment; their documents are kept.
"""

import io
import json
import os
import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

from curewatch.answers.catalogue import DOCUMENTS, SHARED
from curewatch.cli.main import run
from curewatch.clock import Instant, SystemClock, utc_from_iso
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from curewatch.units import HOUR, MINUTE
from tests.demo_world import SETTINGS, evening_until, shed_in_use

NOW = utc_from_iso("2026-10-17T19:40Z")  # 20:40 at the shed
DECIDE = ("tonight", "windows", "watch --once")
PLAN = ("layup round --length 120 --thickness 6", "cure --resin epoxy-slow --temperature 12")
EVENING = (
    *DECIDE,
    "tonight --resin epoxy-slow",
    "job open --title cheek --by Reed --ago 3h",
    "job batch --resin-mass 123g --hardener-mass 27g --ago 2h",
    "layer --batch B1 --ago 2h",
    "observe gelled",
    "job pot-empty",
    "job note --text dry",
    "alerts --past 12h",
    "job list",
    "job show",
    "sensor list",
    "doctor",
    "forecast",
    "logbook status",
    "logbook verify",
    "logbook prune --older-than 400 --dry-run",
    "watch --once",
)


class Situation(NamedTuple):
    """A shed, and what is typed there."""

    prepare: Callable[[Path], None]
    typed: tuple[str, ...]


def weather(
    celsius: float,
    humidity: float,
    *,
    hull: float = -0.3,
    age: float = 20.0,
    silent: str = "",
    burner: bool = False,
) -> Callable[[Path], None]:
    """Three hours of readings, the last so many seconds old; a sensor that fell silent an hour ago."""

    def prepare(folder: Path) -> None:
        heater = 'heater = "propane"\n[resin]' if burner else "[resin]"
        (folder / "curewatch.toml").write_text(SETTINGS.replace("[resin]", heater))
        readings = []
        for minutes in range(180, -1, -1):
            at, kelvin = NOW - age - MINUTE * minutes, celsius + 273.15 + 0.01 * (minutes % 7)
            for name, value, damp in (
                ("bench", kelvin, humidity),
                ("hull", kelvin + hull, None),
                ("yard", kelvin - 2.0, min(0.98, humidity + 0.1)),
            ):
                if name != silent or minutes > 60:
                    readings.append(Reading(name, at, at, value, damp))
        with Logbook(folder / "logbook.sqlite") as logbook:
            logbook.append(readings)

    return prepare


def configured(folder: Path) -> None:
    """Sensors are named, and none has reported."""
    (folder / "curewatch.toml").write_text(SETTINGS)


def at_the_bench(folder: Path) -> None:
    shed_in_use(folder, NOW)


def told_evening(folder: Path) -> None:
    """The recorded evening with its layers, up to now."""
    (folder / "curewatch.toml").write_text(SETTINGS)
    evening_until(NOW, folder)


SITUATIONS = {
    "nothing set up": Situation(
        lambda folder: None, (*DECIDE, "doctor", "alerts", "sensor list", "resin list")
    ),
    "no sensor has reported": Situation(configured, (*DECIDE, *PLAN, "doctor", "layer")),
    "warm and dry": Situation(
        weather(22.0, 0.35),
        (
            *DECIDE,
            *PLAN,
            "resin compare",
            "tonight --resin polyester-laminating --mass 200g",
            "tonight --at 23:30",
        ),
    ),
    "mild": Situation(weather(16.0, 0.62), ("tonight", "tonight --resin epoxy-slow", "windows")),
    "damp": Situation(weather(12.0, 0.88), (*DECIDE, "layup round --length 80 --thickness 4")),
    "wet hull": Situation(weather(14.0, 0.75, hull=-6.0), ("tonight", "resin compare")),
    "cold": Situation(weather(4.0, 0.70), (*DECIDE, "resin compare", "tonight --resin polyester-laminating")),
    "cold, and a propane burner": Situation(weather(6.0, 0.60, burner=True), ("tonight --resin epoxy-slow",)),
    "hot": Situation(weather(38.0, 0.30), ("tonight", "tonight --mass 500g", "windows")),
    "stale": Situation(weather(22.0, 0.35, age=HOUR), (*DECIDE, "doctor", "sensor list")),
    "hull silent": Situation(weather(22.0, 0.35, silent="hull"), (*DECIDE, "doctor", "sensor list")),
    "styrene": Situation(
        weather(20.0, 0.50),
        (
            "tonight --resin polyester-laminating --mass 300g",
            "layup round --length 120 --thickness 6 --resin polyester-laminating",
            "cure --resin polyester-laminating --temperature 18 --mass 350g --thickness 6 --humidity 60",
            "cure --resin epoxy-slow --temperature 3 --humidity 95",
            "air 12 82 --surface 9.5 --part humidity-2",
            "resin show vinyl-ester",
            "explain gel",
            "explain",
        ),
    ),
    "at the bench": Situation(at_the_bench, EVENING),
    "layers running": Situation(told_evening, (*DECIDE, "layer", "alerts", "alerts --past 12h", "job list")),
}


class Kept(NamedTuple):
    """One answer: what was typed, the name of its document, and the document."""

    typed: str
    name: str
    answer: Any


def answers(situation: Situation) -> Iterator[Kept]:
    """Every answer of a situation; what gives no document there is left out."""
    with tempfile.TemporaryDirectory() as folder, at_home(Path(folder)):
        situation.prepare(Path(folder))
        for typed in situation.typed:
            text = told([*typed.split(), "--json"]).replace(folder, "/home/reed/shed")
            text = re.sub(r"[\d.]+ GB free", "78.9 GB free", text)  # of whatever disk this is
            if text.strip():
                yield Kept(typed, document_of(typed), json.loads(text))


@contextmanager
def at_home(folder: Path) -> Iterator[None]:
    """In that folder, with no other configuration, at the fixed moment."""
    before, home = Path.cwd(), {"HOME": str(folder), "LANG": "C", "TZ": "UTC", "PATH": os.environ["PATH"]}
    os.chdir(folder)
    moment = patch.object(SystemClock, "now", lambda self: Instant(NOW, 1e6))
    with patch.dict(os.environ, home, clear=True), moment:
        try:
            yield
        finally:
            os.chdir(before)


def told(words: list[str]) -> str:
    """What a command prints."""
    out = io.StringIO()
    with redirect_stdout(out), redirect_stderr(io.StringIO()), suppress(SystemExit):
        run(words)
    return out.getvalue()


def document_of(typed: str) -> str:
    """The name of the document that a command answers with."""
    words = typed.split()
    for count in (2, 1):
        command = " ".join(words[:count])
        name = SHARED.get(command, command.replace(" ", "-"))
        if name in DOCUMENTS:
            return name
    raise KeyError(typed)
