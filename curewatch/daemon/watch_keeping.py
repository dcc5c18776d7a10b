"""Watch over the sensors: health each minute, gaps as entries, and when to think about advice.

Theory of operation: every committed reading steps its sensor's track; once a minute all sensors are
judged and what changed is noted. A silence becomes a gap when it is noticed, and gets its end with the
next reading, so that the logbook holds both. Advice costs far more than a judgement, so it is asked for
only when there is a reason to: something changed that could change the answer, a countdown reaches one
of its marks, or a quarter of an hour has passed.
"""

from collections.abc import Iterable, Mapping

from curewatch.answers.document import plain
from curewatch.answers.mqtt import mqtt_state_document
from curewatch.answers.sensor import SensorStateDocument, sensor_state_part
from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.daemon.events import STARTED, Evaluate, Publish, Show
from curewatch.logbook.entry import Entry
from curewatch.phrases import phrase
from curewatch.readings import Reading, undated
from curewatch.shed import health
from curewatch.shed.clock_watch import ClockState
from curewatch.shed.health import Health, SensorHealth, Track
from curewatch.shed.judgement import judge
from curewatch.wording import kept, plain_wording

CHECK_EVERY = 60.0  # monotonic, between two looks at the sensors [s]
ADVISE_EVERY = 900.0  # between two full looks at the advice, when nothing pressing happened [s]
ADVISE_SOON = 60.0  # ... when something changed [s]
SENSORS = 500  # names followed; what is beyond is stored, but not watched


class WatchKeeping:
    """The tracks, the last judgements and what is due; one for the whole daemon."""

    def __init__(
        self,
        configuration: Configuration,
        tracks: Mapping[str, Track] | None = None,
        *,
        check_every: float = CHECK_EVERY,
        advise_every: float = ADVISE_EVERY,
    ) -> None:
        self.configuration = configuration
        self.tracks: dict[str, Track] = dict(tracks or {})  # at most SENSORS
        self.healths: dict[str, SensorHealth] = {}
        self._every: dict[str, float] = {}  # how often each should report; at most SENSORS [s]
        self.unknown: set[str] = set()  # names nobody configured, at most SENSORS
        self._checked: float | None = None  # monotonic [s]
        self._check_every = check_every
        self._advise_every = advise_every
        self._advised = float("-inf")  # monotonic [s]
        self._mark: float | None = None  # UTC, when a countdown reaches its next mark [s]
        self._reason = "first look"  # why advice should be looked at; empty if it need not

    def reconfigure(self, configuration: Configuration) -> None:
        self._every.clear()
        self.configuration = configuration
        self._reason = "new configuration"

    def look_again(self, reason: str) -> None:
        """Ask for advice at the next occasion: somebody started a layer, for instance."""
        self._reason = self._reason or reason

    def look_at(self, mark: float | None) -> None:
        """Ask for advice at this moment too; each look names the next one anew. [UTC s]"""
        self._mark = mark

    # ---- readings that are now committed

    def committed(self, readings: Iterable[Reading], at: Instant) -> list[Entry | Show]:
        """Step the tracks; a sensor that was silent and speaks again ends its gap."""
        said: list[Entry | Show] = []
        for reading in readings:
            if undated(reading.flags):
                continue  # it says nothing of now
            before = self.tracks.get(reading.sensor)
            if before is None:
                if len(self.tracks) >= SENSORS:
                    continue
                before = Track()
                said.extend(self._stranger(reading.sensor, at))
            if before.last is not None and reading.time - before.last.time > self._patience(reading.sensor):
                said.extend(self._gap_ended(reading, before.last.time, at))
                self.healths.pop(reading.sensor, None)
            self.tracks[reading.sensor] = health.step(before, reading)
        return said

    def _patience(self, sensor: str) -> float:
        """How long a sensor may say nothing before that is a gap. [s]"""
        every = self._every.get(sensor)
        if every is None:
            known = self.configuration.sensor(sensor)
            every = known.every_s if known else health.EVERY_ASSUMED
            self._every[sensor] = every
        return health.patience(every)

    def _stranger(self, sensor: str, at: Instant) -> list[Entry | Show]:
        if self.configuration.sensor(sensor) is not None or sensor in self.unknown:
            return []
        self.unknown.add(sensor)
        text = f"{sensor} is not in the configuration: its readings are stored, and take no part in advice"
        return [
            Entry("sensor", {"sensor": sensor, "unknown": True}, at.utc),
            Show("sensor", at.utc, text, {}),
        ]

    # ---- the look around, once a minute

    def is_due(self, at: Instant) -> bool:
        """Whether it is time to look; every sensor gets a minute to speak before anything is said of it."""
        return self._checked is not None and at.monotonic - self._checked >= self._check_every

    def first(self, at: Instant) -> list[Evaluate]:
        """The look at the start: a pot or a closing window of before does not wait for the sensors."""
        if self._checked is not None:
            return []
        self._checked = at.monotonic
        return [Evaluate(at, STARTED)]

    def look(
        self, at: Instant, clock: ClockState, sources: Mapping[str, str]
    ) -> list[Entry | Publish | Show | Evaluate]:
        """Judge every sensor; ask for advice if there is a reason."""
        self._checked = at.monotonic
        said: list[Entry | Publish | Show | Evaluate] = []
        judged = self.judged(at.utc)
        for each in judged:
            said.extend(self._changed(each, at))
        self.healths = {each.sensor: each for each in judged}  # without those that are let go
        if not clock.believed:
            self._reason = self._reason or "clock"
        said.extend(self._advice_due(at))
        sensors = {name: self._state(judged, at.utc) for name, judged in self.healths.items()}
        document = mqtt_state_document(sensors, sources, at.utc, clock_believed=clock.believed)
        said.append(Publish("state", plain(document)))
        return said

    def _state(self, judged: SensorHealth, now: float) -> SensorStateDocument:
        track = self.tracks.get(judged.sensor)
        last = None if track is None else health.last_word(track)
        role = self.configuration.role_of(judged.sensor) or ""
        return sensor_state_part(role, judged, last, now, plain_wording(self.configuration.zone))

    def judged(self, now: float) -> list[SensorHealth]:
        """The present health of every sensor that is configured or has spoken."""
        names = dict.fromkeys((*self.configuration.sensors, *self.tracks))
        found = {name: self.tracks.get(name, Track()) for name in names}
        return list(judge(self.configuration, found, now).values())

    def _changed(self, judged: SensorHealth, at: Instant) -> list[Entry | Show]:
        before = self.healths.get(judged.sensor)
        self.healths[judged.sensor] = judged
        if before is not None and before.health is judged.health:
            return []
        if before is None and judged.health is Health.FRESH:
            self._reason = self._reason or "a sensor reports"
            return []
        self._reason = f"{judged.sensor} is {judged.health}"
        was = before.health.value if before else ""
        payload = {
            "sensor": judged.sensor,
            "health": judged.health.value,
            "was": was,
            **kept(plain_wording(self.configuration.zone), at.utc, reason=judged.reason),
        }
        words = "{sensor}: {health} ({reason})"
        text = phrase(words, sensor=judged.sensor, health=judged.health.value, reason=judged.reason)
        loud = judged.health not in {Health.FRESH, Health.LATE}
        said: list[Entry | Show] = [
            Entry("health", payload | {"since": judged.since}, at.utc),
            Show("health", at.utc, text, payload, loud),
        ]
        if judged.health is Health.SILENT:
            said.insert(0, self._gap(judged.sensor, judged.since, None, "silent", at))
        return said

    def _advice_due(self, at: Instant) -> list[Evaluate]:
        counting = self._mark is not None and at.utc >= self._mark
        pressing = counting or (self._reason and self._advise_every <= ADVISE_EVERY)
        if at.monotonic - self._advised < (ADVISE_SOON if pressing else self._advise_every):
            return []
        reason = self._reason or ("a countdown" if counting else "a quarter of an hour")
        self._reason, self._advised = "", at.monotonic
        self._mark = None if counting else self._mark
        return [Evaluate(at, reason)]

    def _gap(self, sensor: str, start: float, end: float | None, reason: str, at: Instant) -> Entry:
        role = self.configuration.role_of(sensor) or ""
        return Entry(
            "gap", {"sensor": sensor, "role": role, "start": start, "end": end, "reason": reason}, at.utc
        )

    def _gap_ended(self, reading: Reading, since: float, at: Instant) -> list[Entry | Show]:
        entry = self._gap(reading.sensor, since, reading.time, "reports again", at)
        text = f"{reading.sensor} reports again; nothing is known of {(reading.time - since) / 60:.0f} min"
        return [entry, Show("gap", at.utc, text, dict(entry.payload), loud=True)]
