"""What a sensor's checks over salts have shown: how its humidity is put right from then on.

A correction is a straight line, corrected = offset + gain x reported. It stands in the logbook as part of
a ``sensor-check`` entry, so that what a chip really said can always be computed back.
"""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from curewatch.logbook import LogbookStore
from curewatch.logbook.entry import StoredEntry
from curewatch.readings import Flag, Reading
from curewatch.units import FloatArray

AT_ITS_END = 0.999  # [1]


class Correction(NamedTuple):
    """How one sensor's humidity is put right."""

    offset: float  # [1]
    gain: float
    since: float  # UTC [s]

    def corrected(self, humidity: float) -> float:
        """What the air has, by what the chip says; never outside 0.1 to 100 %.

        A chip at its upper end may be wet: it stays there, on the damp side, whatever the line says.
        """
        if humidity >= AT_ITS_END:
            return 1.0
        return min(1.0, max(0.001, self.offset + self.gain * humidity))

    def reported(self, corrected: FloatArray) -> FloatArray:
        """What the chip said, by what was stored."""
        return (corrected - self.offset) / self.gain


NONE = Correction(0.0, 1.0, 0.0)


def corrected(reading: Reading, correction: Correction) -> Reading:
    """The reading put right and flagged; one without humidity, or of before the check, as it is."""
    if reading.relative_humidity is None or reading.time < correction.since:
        return reading
    return reading._replace(
        relative_humidity=correction.corrected(reading.relative_humidity),
        flags=reading.flags | Flag.CORRECTED,
    )


def current(logbook: LogbookStore) -> dict[str, Correction]:
    """The correction of each sensor that has one now: by its last check."""
    return from_entries(logbook.entries("sensor-check"))


def from_entries(entries: Iterable[StoredEntry]) -> dict[str, Correction]:
    """The corrections that these entries leave, in the order they were written."""
    found: dict[str, Correction] = {}
    for entry in entries:
        sensor = str(entry.payload.get("sensor", ""))
        if "beside" in entry.payload:
            continue
        found.pop(sensor, None)
        told: Mapping[str, Any] | None = entry.payload.get("correction")
        if told:
            found[sensor] = Correction(float(told["offset"]), float(told["gain"]), entry.at)
    return found
