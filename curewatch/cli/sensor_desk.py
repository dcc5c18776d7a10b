"""A check of a sensor over a salt, or beside another: where it reads, how it asks, what it writes down."""

from collections.abc import Callable, Mapping
from datetime import tzinfo
from pathlib import Path
from typing import Any

import msgspec
import typer
from msgspec import Struct

from curewatch.answers.sensor import beside_document, salt_check_document
from curewatch.cli.forms import Ask
from curewatch.cli.screens.sensor import beside_lines, outcome_lines, point_lines, steps
from curewatch.cli.terminal import note, print_json, say_paragraphs
from curewatch.cli.typed import span_from_text
from curewatch.clock import Clock
from curewatch.configuration import Configuration, Sensor
from curewatch.errors import CurewatchError, UsageError, reason
from curewatch.logbook import Entry, LogbookStore
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.readings import Flag, Reading
from curewatch.safe_text import safe_line
from curewatch.shed import corrections, halves, salt_check
from curewatch.shed.salt_check import CheckOutcome, SaltPoint, Samples, Settled, Unsettled
from curewatch.wording import Wording

POLL = 15.0  # between two looks at the logbook while waiting [s]


class NotSettled(CurewatchError):  # noqa: N818 - named by the matter
    """The sensor must be given time, or looked at."""


class Source(Struct, frozen=True):
    """Where samples come from: the logbook as it grows, or a recording that has ended."""

    read: Callable[[str, float, float], Samples]
    now: Callable[[], float]
    begin: float | None  # the first moment there is, of a recording [s]
    live: bool


class CheckSession:
    """One check: where it reads and writes, and how it speaks. Holds nothing that changes."""

    def __init__(
        self,
        logbook: LogbookStore,
        configuration: Configuration,
        words: Wording,
        clock: Clock,
        *,
        json: bool,
        keep: bool | None,
        ask: Ask | None,
    ) -> None:
        self._logbook = logbook
        self._configuration = configuration
        self._words = words
        self._clock = clock
        self._json = json
        self._keep = keep
        self._ask = ask

    # -- the steps

    def meant(self, sensor: str, *, live: bool) -> None:
        """It is a sensor that we know of; nobody should wait an hour for one that is not there.

        Raises
        ------
        UsageError
            Neither the configuration nor the logbook has heard of it.
        """
        known = dict.fromkeys((*self._configuration.sensors, *self._logbook.sensors()))
        if live and sensor not in known:
            names = ", ".join(safe_line(name, 32) for name in known)
            there = f"Use {names}" if names else "No sensor is there yet: run `curewatch setup`"
            raise UsageError(f"sensor: found {sensor!r}. {there}")

    def humid(self, sensor: str) -> None:
        """It has a humidity chip. Raises UsageError."""
        part = self._part(sensor)
        if load_sensor_part(part).relative_humidity_sd is None:
            raise UsageError(f"{sensor} is a {part}: it has no humidity; compare it with --beside SENSOR")

    def salt(self, sensor: str, salt: str | None, wet: str | None) -> str:
        """Which salt, and that it has stood long enough.

        Raises
        ------
        UsageError
            No salt was named, it is none of ours, or it is not ready.
        """
        if self._ask is not None:
            say_paragraphs(steps(sensor))
            salt = self._asked("Which salt is in the jar", "NaCl", salt_check.known_salt)
            wet = self._ask("How long ago was it made wet", "24 h")
        if salt is None or wet is None:
            raise UsageError(
                "missing: --salt and --salt-wet; or run it on a terminal without options to be asked"
            )
        chosen, stood = salt_check.known_salt(salt), span_from_text(wet, "--salt-wet")
        if stood < salt_check.SALT_WET:
            left = (salt_check.SALT_WET - stood) / 3600
            raise UsageError(f"the salt needs 24 h before its air is at rest; come back in {left:.0f} h")
        return chosen

    def _asked(self, question: str, usual: str, read: Callable[[str], str]) -> str:
        while True:
            try:
                return read(self._ask(question, usual) if self._ask else usual)
            except UsageError as trouble:
                typer.echo(f"  {trouble}", err=True)

    def already(self, probe_in: str | None) -> float | None:
        """How long the sensor has been in the jar. [s]"""
        if self._ask is not None:
            probe_in = self._ask("How long has the sensor been in the jar", "0 min")
        return None if probe_in is None else span_from_text(probe_in, "--probe-in")

    def check(self, source: Source, sensor: str, salt: str, already: float | None, wait: float) -> None:
        """Wait, compare, conclude, write down."""
        now = source.now()
        begin = now - already if already is not None else source.begin if source.begin is not None else now
        settled = self._wait(source, sensor, begin, wait)
        point = salt_check.point(salt, settled)
        points = salt_check.together([*self._earlier(sensor), point], point.at)
        outcome, line = salt_check.conclude(points)
        document = salt_check_document(sensor, settled, point, points, outcome=outcome, line=line)
        if not self._json:
            say_paragraphs(point_lines(document, self._words))
        number = self._kept(salt_check.payload(sensor, self._part(sensor), points, line, point.at), point.at)
        if self._json:
            print_json(msgspec.structs.replace(document, entry=number))
        else:
            say_paragraphs(outcome_lines(document))
        if outcome is CheckOutcome.REPLACE:
            raise typer.Exit(1)

    def _wait(self, source: Source, sensor: str, begin: float, wait: float) -> Settled:
        """Until the sensor is at rest.

        Raises
        ------
        NotSettled
            It is not, and there is no more time.
        """
        until = self._clock.now().monotonic + (wait if source.live else 0.0)
        shown = ""
        while True:
            now = source.now()
            found = salt_check.settle(source.read(sensor, begin, now), begin, now)
            if isinstance(found, Settled):
                return found
            why = self._words.say(found.reason)
            if self._clock.now().monotonic >= until:
                raise NotSettled(f"{sensor} is not at rest: {why}; give it time, and run this again")
            if why != shown and not self._json:
                typer.echo(f"  waiting: {why}", err=True)
            shown = why
            self._clock.sleep(POLL)

    def beside(self, source: Source, one: str, other: str, over: float) -> None:
        """Compare two sensors that lie side by side."""
        now = source.now()
        parts = [load_sensor_part(self._part(name)) for name in (one, other)]
        found = salt_check.beside(
            source.read(one, now - over, now),
            source.read(other, now - over, now),
            (parts[0].temperature_sd, parts[1].temperature_sd),
            (parts[0].relative_humidity_sd, parts[1].relative_humidity_sd),
        )
        if isinstance(found, Unsettled):
            raise NotSettled(f"{one} and {other}: {self._words.say(found.reason)}")
        number = None
        if self._keep:
            told = {"sensor": one, "beside": other} | found._asdict()
            number = self._logbook.write(Entry("sensor-check", told, now)).number
        document = beside_document(one, other, found, number)
        if self._json:
            print_json(document)
            return
        say_paragraphs(beside_lines(document, self._words))

    # -- reading and writing

    def source(self, recording: Path | None) -> Source:
        """The logbook as it grows, or a recording."""
        if recording is not None:
            return _of_recording(recording, self._configuration.zone)
        return Source(self._live, lambda: self._clock.now().utc, None, live=True)

    def _live(self, sensor: str, begin: float, now: float) -> Samples:
        found = halves.joined_series(self._logbook.series(sensor, begin, now + 1.0).dated())
        correction = corrections.current(self._logbook).get(sensor, corrections.NONE)
        righted = (found.flags & Flag.CORRECTED) != 0
        humidity = found.relative_humidity.copy()
        humidity[righted] = correction.reported(humidity[righted])
        return Samples(found.time, found.temperature, humidity)

    def _earlier(self, sensor: str) -> list[SaltPoint]:
        entries = self._logbook.entries("sensor-check")
        return salt_check.points_of([e.payload for e in entries if e.payload.get("sensor") == sensor])

    def _part(self, sensor: str) -> str:
        known = self._configuration.sensor(sensor)
        return known.part if known else Sensor(role="air").part

    def _kept(self, payload: Mapping[str, Any], at: float) -> int | None:
        """The number of the entry, or None when it was not to be kept."""
        keep = self._keep
        if keep is None and self._ask is not None:
            keep = self._ask("Write it into the logbook", "yes").strip().lower() in {"", "y", "yes"}
        if keep is False:
            note("not written into the logbook: nothing changes")
            return None
        return self._logbook.write(Entry("sensor-check", payload, at, recorded=self._clock.now().utc)).number


def _of_recording(path: Path, zone: tzinfo) -> Source:
    """Every reading of a recording, by sensor."""
    import numpy as np

    from curewatch.clock import Instant
    from curewatch.wire import Parser
    from curewatch.wire.recordings import pieces

    parser, told = Parser(zone=zone), dict[str, list[Reading]]()
    try:
        with path.open("rb") as stream:
            for piece in pieces(stream, zone=zone):
                for event in parser.payload(piece.data, Instant(piece.at, piece.at), str(path), "recording"):
                    if isinstance(event, Reading):
                        told.setdefault(event.sensor, []).append(event)
    except OSError as trouble:
        raise UsageError(f"{path}: {reason(trouble)}; give a recording that can be read") from trouble
    if not told:
        raise UsageError(f"{path}: found no reading. Use lines, CSV or SenML, as in firmware_notes")
    begin = min(readings[0].time for readings in told.values())
    end = max(readings[-1].time for readings in told.values())

    def read(sensor: str, start: float, now: float) -> Samples:
        if sensor not in told:
            names = ", ".join(safe_line(name) for name in told)
            raise UsageError(f"{path} has no sensor {sensor!r}; it has {names}")
        chosen = [each for each in told[sensor] if start <= each.time <= now]
        return Samples(
            np.array([each.time for each in chosen], dtype=float),
            np.array([each.temperature for each in chosen], dtype=float),
            np.array([each.relative_humidity for each in chosen], dtype=float),
        )

    return Source(read, lambda: end, begin, live=False)
