"""Reports that wait for the broker: bounded, oldest first, each with the moment it was measured.

The board has no clock, only ticks: so a report that waits is sent with its age, and the receiver knows when
it was measured. Ticks wrap around; an age is right up to half their period, six days on common ports.

All room is taken at the start, 14 bytes a report, so that a long night without a broker neither fills nor
scatters the memory: 720 reports take 10 kB.
"""

import struct
import time

FORM = "<IBhHBI"  # ticks, sensor's place, t and h in hundredths, battery, running number
SIZE = struct.calcsize(FORM)
NO_T, NO_H, NO_B = -32768, 65535, 255  # no such value


class Backlog:
    """At most `most` reports of these sensors; when full the oldest goes, and is counted."""

    def __init__(self, most, sensors):
        self._most = most
        self._sensors = sensors
        self._room = bytearray(most * SIZE)
        self._first = 0
        self._count = 0
        self.dropped = 0

    def __len__(self):
        return self._count

    def add(self, sensor, values):
        """Values are a dict of the line form's t, h, b, n."""
        if self._count == self._most:
            self.done()
            self.dropped += 1
        t, h, b = values.get("t"), values.get("h"), values.get("b")
        struct.pack_into(
            FORM,
            self._room,
            (self._first + self._count) % self._most * SIZE,
            time.ticks_ms() & 0xFFFFFFFF,
            self._sensors.index(sensor),
            NO_T if t is None else round(t * 100),
            NO_H if h is None else max(0, round(h * 100)),
            NO_B if b is None else b,
            values["n"] & 0xFFFFFFFF,
        )
        self._count += 1

    def oldest(self):
        """(sensor, values, age in s) of the one that has waited longest, or None."""
        if not self._count:
            return None
        ticks, place, t, h, b, n = struct.unpack_from(FORM, self._room, self._first * SIZE)
        values = {"n": n}
        if t != NO_T:
            values["t"] = t / 100
        if h != NO_H:
            values["h"] = h / 100
        if b != NO_B:
            values["b"] = b
        return self._sensors[place], values, time.ticks_diff(time.ticks_ms(), ticks) // 1000

    def done(self):
        """The oldest was taken by the broker."""
        self._first = (self._first + 1) % self._most
        self._count -= 1
