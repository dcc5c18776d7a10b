"""Can this be true? Each reading against what air can do and against the sensor's last one.

A value outside the window is rejected; what is strange but possible is kept with a flag. One small state
for each sensor, and at most ``MOST_SENSORS`` of them: a flood of invented names cannot fill the memory.

Source of the numbers: the window -40..60 degC and the clamp of 100..102 % follow what humidity chips
specify and do when wet (common practice). The lowest humidity and the jump limits are assumed, the
latter wide enough for a door opened onto a frosty yard. Air pressure: 800 hPa is the standard atmosphere
(ICAO, computed) at 1,950 m, and above any reading in mmHg; the highest measured at sea level is below
1,090 hPa (from memory). Each is an attribute of :class:`PlausibleRange`. A pressure outside is left out with
a flag: no answer needs it, so it must not cost a temperature.
"""

from collections import deque
from collections.abc import Sequence
from typing import Any

from msgspec import Struct

from curewatch.readings import FURTHER, FURTHER_FROM, UNSAID, Flag, Reading, Rejected, undated
from curewatch.units import ZERO_CELSIUS
from curewatch.wire.fields import AHEAD
from curewatch.wire.reasons import Reason, reject

MOST_SENSORS = 1024
RECENT = 64  # readings a sensor's state remembers, to know a duplicate delivered out of order
# After so long without a believed reading the air itself may have gone there, in a heated tent say;
# the neighbours then tell what is so (assumed). [s]
SWAP_KNOWN = 3600.0
LARGEST_FRACTION = 0.0102  # what a wet chip's 102 % is, sent as a fraction and taken for a percentage [1]
SAME_REPORT = 5.0  # two deliveries of one report, each stamped by its age, differ by less than this [s]
# How far stamps of arrival are pushed ahead to keep them apart; further, and our own clock went back. What a
# broker held back comes all at once, and its stamp tells no age: there may be a minute's worth. [s]
PUSHED, PUSHED_UNDATED = 1.0, 60.0
# A single-wire probe says 85 before its first conversion (its data sheet; from memory), and -127 is
# what common code prints of one that does not answer (common practice). [degC]
PROBE_FAILED = (85.0, -127.0)
APART = 0.002  # stamps closer than this may fall into one millisecond of the logbook [s]
CLOCK_SET = 1_577_836_800.0  # 2020-01-01T00:00Z: a stamp from before it is from a clock never set [s]

_CLAMPED, _JUMP, _LATE = int(Flag.CLAMPED), int(Flag.JUMP), int(Flag.LATE)
_OURS = int(Flag.ARRIVAL_TIME | Flag.AGE_GIVEN)
_KEPT = int(Flag.RETAINED | Flag.BACKLOG)
_LEFT_OUT, _UNSAID = int(Flag.LEFT_OUT), list(UNSAID)
RANGES = {"pressure": (80_000.0, 110_000.0)}  # of what no answer needs, SI; at ground level [Pa]
_ARRIVAL, _DOUBT = int(Flag.ARRIVAL_TIME), int(Flag.CLOCK_DOUBT)


class PlausibleRange(Struct, frozen=True):
    """What is believed. SI."""

    temperature_lowest: float = ZERO_CELSIUS - 40.0  # [K]
    temperature_highest: float = ZERO_CELSIUS + 60.0  # [K]
    humidity_lowest: float = 0.05  # in a shed; a fraction taken for a percentage is below 0.0102 [1]
    hot: float = ZERO_CELSIUS + 40.0  # above it, in a tent for post-cure, drier air is believed, too [K]
    humidity_highest: float = 1.02  # above 1 it is clamped, with a flag [1]
    carbon_dioxide_highest: float = 0.1  # [1]
    jump_temperature: float = 3.0  # at once [K], and
    jump_temperature_rate: float = 1.0 / 60.0  # [K/s]
    jump_humidity: float = 0.15  # at once [1], and
    jump_humidity_rate: float = 0.05 / 60.0  # [1/s]
    ahead: float = AHEAD  # a stamp may lie this far ahead of arrival [s]
    behind: float = 7 * 86400.0  # and this far behind: the longest backlog a node of ours keeps [s]
    late: float = 600.0  # delivered this long after it was measured is late [s]
    clock_set: float = CLOCK_SET  # a stamp from before it is doubted; 0 for old recordings [s]


def _untrue(further: Sequence[Any]) -> list[str]:
    """Which quantities that no answer needs cannot be true."""
    return [
        name
        for name, value in zip(FURTHER, further, strict=True)
        if value is not None and not RANGES[name][0] <= value <= RANGES[name][1]
    ]


class _Last:
    """What is remembered of one sensor: its newest reading, and the last few."""

    __slots__ = ("highest", "newest", "recent")

    def __init__(self, reading: Reading) -> None:
        self.newest = reading
        self.highest = -1 if reading.sequence is None else reading.sequence  # number that ever came
        self.recent: deque[Reading] = deque((reading,), RECENT)

    def copy(self) -> "_Last":
        """As it is now, whatever comes."""
        made = _Last(self.newest)
        made.highest, made.recent = self.highest, self.recent.copy()
        return made

    def repeats(self, reading: Reading) -> bool:
        """Is it a numbered report that came before, perhaps another way? (A restarted board counts anew.)"""
        number = reading.sequence
        if number is None:
            return False
        if number > self.highest:  # the usual case: it counts upwards
            self.highest = number
            return False
        return any(
            known.sequence == number
            and abs(known.time - reading.time) <= SAME_REPORT
            and _same(known, reading)
            for known in self.recent
        )

    def at(self, time: float) -> Reading | None:
        """What came before for this moment."""
        return next((reading for reading in self.recent if reading.time == time), None)


USUAL = PlausibleRange()


class Plausibility:
    """Feed it readings in the order of arrival."""

    def __init__(self, window: PlausibleRange = USUAL) -> None:
        self.window = window
        self._lasts: dict[str, _Last] = {}  # at most MOST_SENSORS; the first known goes first
        # since `begin`: place -> what was remembered there; none while nothing may be taken back
        self._before: dict[str, _Last | None] | None = None
        self._usual = (
            window.temperature_lowest,
            window.temperature_highest,
            window.humidity_lowest,
            window.jump_temperature,
            window.jump_humidity,
            window.late,
            window.ahead,
        )

    def begin(self) -> None:
        """What is remembered from here on may be taken back."""
        self._before = {}

    def keep(self) -> None:
        """What came since ``begin`` is stored: it stays known."""
        self._before = None

    def take_back(self) -> None:
        """Nothing since ``begin`` is stored: when it comes again, it must not be a repeat."""
        for place, last in (self._before or {}).items():
            if last is None:
                self._lasts.pop(place, None)
            else:
                self._lasts[place] = last
        self._before = None

    def check(self, reading: Reading, raw: bytes = b"", source: str = "") -> Reading | Rejected:
        """The reading, perhaps with flags; or the reason why it cannot be taken."""
        sensor, time, received, temperature, humidity, carbon_dioxide, _, flags, sequence, *further = reading
        if flags & _KEPT or temperature is None:
            sensor = _place(reading)
        last = self._lasts.get(sensor)
        if self._before is not None and sensor not in self._before:
            self._before[sensor] = None if last is None else last.copy()
        if (
            last is not None
            and temperature is not None
            and humidity is not None
            and carbon_dioxide is None
            and (further == _UNSAID or not _untrue(further))
            and (sequence is None or sequence > last.highest)
            and (stamp := _kept_apart(time, last.newest[1], flags)) is not None
        ):  # the usual case, in one go: whole, newer, within the window, and no further than a jump
            low, high, driest, jump, wet_jump, late, ahead = self._usual
            _, _, _, before, wet_before, *_ = last.newest
            if (
                before is not None
                and wet_before is not None
                and low <= temperature <= high
                and driest <= humidity <= 1.0
                and received >= CLOCK_SET
                and -ahead <= received - time <= late
                and -jump <= temperature - before <= jump
                and -wet_jump <= humidity - wet_before <= wet_jump
            ):
                if stamp != time:
                    reading = tuple.__new__(Reading, (reading[0], stamp, *reading[2:]))
                last.newest = reading
                last.recent.append(reading)
                if sequence is not None:
                    last.highest = sequence
                return reading
        return self._judge(reading, last, raw, source)

    def _judge(self, reading: Reading, last: _Last | None, raw: bytes, source: str) -> Reading | Rejected:
        """Every other case, with its reasons and flags."""
        untrue = _untrue(reading[FURTHER_FROM:])
        if untrue:
            left_out: dict[str, Any] = {**dict.fromkeys(untrue), "flags": reading.flags | _LEFT_OUT}
            reading = reading._replace(**left_out)
        trouble = self._impossible(reading)
        if trouble is None:
            checked = self._first(reading) if last is None else self._next(reading, last)
            if isinstance(checked, Reading):
                return checked
            trouble = checked
        return reject(trouble, raw, reading.received, source, reading.sensor)

    def _impossible(self, reading: Reading) -> Reason | None:
        window, temperature, humidity = self.window, reading.temperature, reading.relative_humidity
        if temperature is not None and not (
            window.temperature_lowest <= temperature <= window.temperature_highest
        ):
            return _why_temperature(temperature, humidity)
        if humidity is not None and not window.humidity_lowest <= humidity <= window.humidity_highest:
            hot = temperature is not None and temperature >= window.hot
            if 0.0 < humidity <= LARGEST_FRACTION:
                return Reason.FRACTION
            if not (hot and 0.0 < humidity <= window.humidity_highest):
                return Reason.HUMIDITY
        if reading.carbon_dioxide is not None and not (
            0.0 <= reading.carbon_dioxide <= window.carbon_dioxide_highest
        ):
            return Reason.CARBON_DIOXIDE
        if reading.flags & _ARRIVAL:
            return None
        return self._impossible_time(reading)

    def _impossible_time(self, reading: Reading) -> Reason | None:
        if (
            reading.received < self.window.clock_set
        ):  # our own clock is not set: nothing can be said of the sender's
            return None
        if reading.time < self.window.clock_set:
            return Reason.CLOCK_UNSET
        if reading.time > reading.received + self.window.ahead:
            return Reason.CLOCK_AHEAD
        if reading.time < reading.received - self.window.behind:
            return Reason.CLOCK_BEHIND
        return None

    def _first(self, reading: Reading) -> Reading:
        reading = _flagged(reading, self._own_flags(reading))
        while len(self._lasts) >= MOST_SENSORS:
            del self._lasts[next(iter(self._lasts))]
        self._lasts[_place(reading)] = _Last(reading)
        return reading

    def _next(self, reading: Reading, last: _Last) -> Reading | Reason:
        newest = last.newest
        flags = self._own_flags(reading)
        if last.repeats(reading):
            return Reason.DUPLICATE
        if reading.flags & _OURS and _milliseconds(reading.time) <= _milliseconds(newest.time):
            reading, flags = _same_moment(reading, newest, flags)
        elif reading.time <= newest.time and not reading.flags & _OURS:
            known = last.at(reading.time)
            if known is not None and _same(known, reading):
                return Reason.DUPLICATE
            if known is not None:  # of a clock set back it meets the stamps of before once more
                behind = reading.received - reading.time > self.window.late
                return Reason.CLOCK_BEHIND if behind else Reason.CONFLICT
            flags |= _LATE
        if reading.time > newest.time:
            if _exchanged(reading, newest):  # also after so long that no difference is a jump any more
                return Reason.SWAPPED
            flags |= self._jump(reading, newest)
        reading = _flagged(reading, flags)
        if reading.time > newest.time or flags & _DOUBT:
            last.newest = reading
        last.recent.append(reading)
        return reading

    def _own_flags(self, reading: Reading) -> int:
        """What a reading shows without looking at any other."""
        flags = 0
        humidity = reading.relative_humidity
        if humidity is not None and humidity > 1.0:
            flags = _CLAMPED
        if reading.received - reading.time > self.window.late:
            flags |= _LATE
        if reading.received < self.window.clock_set:
            flags |= _DOUBT
        return flags

    def _jump(self, reading: Reading, newest: Reading) -> int:
        window = self.window
        elapsed = abs(reading.time - newest.time)
        now, before = reading.temperature, newest.temperature
        if now is not None and before is not None:
            allowed = window.jump_temperature + window.jump_temperature_rate * elapsed
            if abs(now - before) > allowed:
                return _JUMP
        wet, wet_before = reading.relative_humidity, newest.relative_humidity
        if wet is not None and wet_before is not None:
            allowed = window.jump_humidity + window.jump_humidity_rate * elapsed
            if abs(wet - wet_before) > allowed:
                return _JUMP
        return 0


def _kept_apart(time: float, newest: float, flags: int) -> float | None:
    """Its stamp, where it is behind the newest or ours to push behind it; None: look closer."""
    if time - newest > APART:
        return time
    if not flags & _OURS or flags & _KEPT or newest - time >= PUSHED:
        return None
    before = _milliseconds(newest)
    return time if _milliseconds(time) > before else (before + 1) / 1e3


def _same_moment(reading: Reading, newest: Reading, flags: int) -> tuple[Reading, int]:
    """Stamped by us, and not after the last one: several in one read, a backlog, or our clock went back."""
    most = PUSHED_UNDATED if undated(reading.flags) else PUSHED
    if newest.time - reading.time < most:  # several in one read: a millisecond keeps them apart
        return reading._replace(time=(_milliseconds(newest.time) + 1) / 1e3), flags
    return reading, flags | (_DOUBT if reading.flags & _ARRIVAL else _LATE)


def _milliseconds(time: float) -> int:
    """The logbook's own step: two stamps that round to one are one."""
    return round(time * 1e3)


def _place(reading: Reading) -> str:
    """Where its sensor's last is remembered; a name with a blank is one that no sensor can have.

    A humidity that came alone has its own place, and so has what is of unknown age: it must neither make
    the next live reading a jump nor push its stamp ahead.
    """
    alone = " humidity" if reading.temperature is None else ""
    return f"{reading.sensor}{alone}{' kept' if undated(reading.flags) else ''}"


def _flagged(reading: Reading, flags: int) -> Reading:
    if not flags:
        return reading
    if flags & _CLAMPED:
        reading = reading._replace(relative_humidity=1.0)
    return reading._replace(flags=reading.flags | flags)


def _why_temperature(temperature: float, humidity: float | None) -> Reason:
    """Too hot or too cold to be true: is it one of the common mistakes?"""
    number = temperature - ZERO_CELSIUS
    if humidity is None and min(abs(number - failed) for failed in PROBE_FAILED) < 0.05:
        return Reason.PROBE
    if not 60.0 < number <= 140.0:
        return Reason.TEMPERATURE
    swapped = humidity is not None and number <= 102.0 and -0.4 <= humidity <= 0.35
    return Reason.SWAPPED if swapped else Reason.FAHRENHEIT


def _exchanged(reading: Reading, newest: Reading) -> bool:
    """Do the two quantities stand in each other's place, as seen from the last reading?"""
    if reading.temperature is None or newest.temperature is None:
        return False
    if reading.relative_humidity is None or newest.relative_humidity is None:
        return False
    now_c, before_c = reading.temperature - ZERO_CELSIUS, newest.temperature - ZERO_CELSIUS
    wet, wet_before = reading.relative_humidity * 100.0, newest.relative_humidity * 100.0
    elapsed = reading.time - newest.time
    if elapsed > SWAP_KNOWN:
        return False
    near = min(5.0, 3.0 + elapsed / 360.0)  # air moves on meanwhile; assumed
    return abs(now_c - wet_before) < near and abs(wet - before_c) < near and abs(now_c - before_c) > 10.0


def _same(one: Reading, other: Reading) -> bool:
    return one.temperature == other.temperature and one.relative_humidity == other.relative_humidity
