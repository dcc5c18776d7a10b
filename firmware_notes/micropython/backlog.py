"""Reports that wait for the broker: bounded, oldest first, each with the moment it was measured.

The board has no clock, only ticks: so a report that waits is sent with its age, and the receiver knows when
it was measured. Ticks wrap around; an age is right up to half their period, six days on common ports.
"""

import time


class Backlog:
    """At most `most` reports; when full the oldest goes, and is counted."""

    def __init__(self, most):
        self._most = most
        self._waiting = []
        self.dropped = 0

    def __len__(self):
        return len(self._waiting)

    def add(self, sensor, values):
        """Values are a dict of the line form's t, h, b, n."""
        if len(self._waiting) >= self._most:
            self._waiting.pop(0)
            self.dropped += 1
        self._waiting.append((time.ticks_ms(), sensor, values))

    def oldest(self):
        """(sensor, values, age in s) of the one that has waited longest, or None."""
        if not self._waiting:
            return None
        ticks, sensor, values = self._waiting[0]
        return sensor, values, time.ticks_diff(time.ticks_ms(), ticks) // 1000

    def done(self):
        """The oldest was taken by the broker."""
        self._waiting.pop(0)
