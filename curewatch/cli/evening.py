"""The demonstration's evening: what the people at the bench say, and how it is told."""

import sys
from collections.abc import Callable
from itertools import pairwise

from curewatch.cli.screens.lines import paragraph
from curewatch.clock import Clock, utc_from_iso
from curewatch.configuration import Configuration
from curewatch.daemon.edges.recording import RecordingSpan
from curewatch.daemon.events import Show
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, LogbookStore
from curewatch.phrases import recalled
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.safe_text import safe_line
from curewatch.units import HOUR
from curewatch.wording import Wording

# Invented, like the shed: the layers laid in this evening, and with what.
PART = "rudder cheek"
LAYERS = (
    Layer("L1", utc_from_iso("2026-10-17T14:50Z"), "epoxy-fast", 0.1, part=PART, note="the first layer"),
    Layer("L2", utc_from_iso("2026-10-17T17:50Z"), "epoxy-fast", 0.1, part=PART, note="the second"),
)
WIDTH = 79
TOLD = {"verdict", "alert", "layer", "health", "clock", "store"}
NEXT = (
    ("curewatch setup", "find your own sensors, write the configuration"),
    ("curewatch explain peel ply", "a word of the trade in four sentences"),
    ("curewatch resin list", "the resins there are, by kind"),
)


def layers() -> tuple[Entry, ...]:
    """What the people at the bench said, each at its moment: a layer begins, the one below is done with."""
    began = [Entry("layer", layer_as_plain(layer), layer.started) for layer in LAYERS]
    ended = [
        Entry("layer-closed", {"layer": below.layer, "at": above.started}, above.started)
        for below, above in pairwise(LAYERS)
    ]
    return (*began, *ended)


class Evening:
    """Tells the evening as it goes by: events as lines, and on a terminal where it stands."""

    def __init__(
        self, configuration: Configuration, words: Wording, tell: Callable[[str], None], *, bare: bool
    ) -> None:
        self._configuration = configuration
        self._words = words
        self._tell = tell
        self._bare = bare
        self._latest: dict[str, Reading] = {}  # by sensor: three of them
        self._readings = 0
        self._next_hour = 0.0  # UTC, when the conditions are told again [s]
        self._waiting = list(LAYERS)
        self._counts: dict[str, int] = {}

    # -- telling ---------------------------------------------------------------------------------

    def begin(self, span: RecordingSpan) -> None:
        """What is about to be seen."""
        shed, words = self._configuration.shed, self._words
        hours = f"{words.local(span.start):%d %B}, {words.time(span.start)} to {words.time(span.end)}"
        self._line(f"{shed.name}, {shed.boat}. All of it is INVENTED: shed, boat, weather, numbers.")
        self._line(
            f"A recording of three sensors ({hours}) goes the way that live bytes go: "
            "wire, plausibility, logbook, model, advice, alerts. It is computed as you watch."
        )
        self._line("")
        self._next_hour = span.start + 0.5 * HOUR

    def show(self, event: Show) -> None:
        """One thing that happened, stored already."""
        if event.kind == "reading":
            self._reading(event.detail["reading"])
            return
        self._layers_until(event.at)
        if event.kind not in TOLD:
            return
        self._counts[event.kind] = self._counts.get(event.kind, 0) + 1
        text = self._words.say(event.text, event.at)
        if event.kind == "verdict":
            self._event(event.at, _shouted(text), loud=True)
            self._line(f"{'':10}-> now: {self._conditions()}")
        elif event.loud:  # what is over is counted, and not told here
            self._event(event.at, text, loud=True)
            advised = recalled(event.detail, "advised") if "advised" in event.detail else ""
            self._line(f"{'':10}-> {safe_line(self._words.say(advised, event.at))}")

    def end(self, logbook: LogbookStore) -> None:
        """A short summary, computed from what the logbook holds now, and what to try next."""
        head = logbook.verify().head
        verdicts, alerts = self._counts.get("verdict", 0), self._counts.get("alert", 0)
        self._line("")
        self._line(
            f"The evening in short: {head.readings:,} readings and {head.entries} entries in the logbook, "
            f"its chain unbroken; {verdicts} verdicts, {alerts} alert messages. "
            "Advice is about cure quality only: makers' sheets and local rules come first."
        )
        self._line("")
        self._line("Try next:")
        width = max(len(command) for command, _ in NEXT)
        for command, why in NEXT:
            self._line(f"  {command:<{width}}   {why}")

    def _event(self, at: float, text: str, *, loud: bool) -> None:
        self._line(f"{self._words.time(at):>8} {'!' if loud else ' '} {safe_line(text)}")

    def _line(self, text: str) -> None:
        self._wipe()
        inside = " " * (13 if text.startswith(" ") else 0)
        for line in paragraph(text, WIDTH, subsequent_indent=inside) or [""]:
            self._tell(line)

    # -- where it stands -------------------------------------------------------------------------

    def _reading(self, reading: Reading) -> None:
        self._latest[reading.sensor] = reading
        self._readings += 1
        self._layers_until(reading.time)
        if self._bare and reading.time >= self._next_hour:
            self._next_hour += HOUR
            self._event(reading.time, self._conditions(), loud=False)

    def _layers_until(self, at: float) -> None:
        """Tell what the people at the bench did, at its moment."""
        while self._waiting and self._waiting[0].started <= at:
            layer = self._waiting.pop(0)
            mass = self._words.mass(layer.batch_mass)
            text = f"{layer.named} is laid: {layer.note}; {layer.resin}, {mass} mixed"
            self._event(layer.started, text, loud=False)

    def _conditions(self) -> str:
        """The last word of the sensors: air, hull, and how far the hull is from getting wet."""
        bench, hull, words = self._latest.get("bench"), self._latest.get("hull"), self._words
        if bench is None or hull is None:
            return "waiting for the sensors"
        said = f"air {words.temperature(bench.temperature)} {words.percent(bench.relative_humidity)}"
        said += f", hull {words.temperature(hull.temperature)}"
        if bench.temperature is None or bench.relative_humidity is None or hull.temperature is None:
            return said
        pressure = moist_air.vapour_pressure(bench.temperature, bench.relative_humidity)
        margin = hull.temperature - float(moist_air.dew_point(pressure))
        return f"{said}, {words.difference(margin)} above the dew point"

    def pacing(self, clock: Clock, pace: float) -> Callable[[float], None]:
        """A wait that lets the whole take about as long as wished, and shows where it stands.

        ``pace`` is seconds here for each second of the recording; 0: as fast as it goes. Time that the
        computing took is not waited for again.
        """
        begun, passed = clock.now().monotonic, 0.0

        def wait(seconds: float) -> None:
            nonlocal passed
            passed += seconds
            if self._bare or pace == 0.0:
                return
            ahead = begun + passed * pace - clock.now().monotonic
            if ahead > 0.04:
                self._stand()
                clock.sleep(ahead)

        return wait

    def _stand(self) -> None:
        """One line that is written over: the time in the shed and what the sensors say."""
        if self._latest:
            time = self._words.time(max(reading.time for reading in self._latest.values()))
            sys.stdout.write(f"\r\x1b[K{time:>8}   {self._conditions()}")
            sys.stdout.flush()

    def _wipe(self) -> None:
        if not self._bare:
            sys.stdout.write("\r\x1b[K")
            sys.stdout.flush()


def _shouted(text: str) -> str:
    """``no-go: reason`` as ``NO-GO: reason``."""
    verdict, colon, reason = text.partition(":")
    return f"{verdict.upper()}{colon}{reason}"
