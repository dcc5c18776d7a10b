"""What other processes wrote into the logbook while this daemon runs: a layer begun, a sensor checked.

A command at the bench writes beside the daemon. The daemon looks every few seconds for what it did not
write itself: advice is then looked at again, and a sensor's new correction holds from there on. Seals,
its own of the day among them, are published: their codes must lie on more machines than this one. And a file
that was damaged beneath it is noticed, which its own connection's memory would hide.
"""

from curewatch.answers.document import plain
from curewatch.answers.mqtt import mqtt_seal_document
from curewatch.daemon.core import Core
from curewatch.errors import StoreFailed
from curewatch.logbook import LogbookStore
from curewatch.shed import corrections

EVERY = 5.0  # between two looks [s]
EXAMINE_EVERY = 60.0  # between two looks through the whole file: 10 ms for each 4 MB [s]
KINDS = (
    "batch",
    "layer",
    "job-open",
    "job-close",
    "job-reopen",
    "layer-closed",
    "pot-empty",
    "peel-ply",
    "wash",
    "primer",
    "observation",
    "correction",
    "sensor-check",
    "forecast",
    "clock",
    "restored",
    "prune",
    "salvage",
)  # what advice hangs on; all of `last_look.RESTS_ON` is among them
_ACKNOWLEDGED = "acknowledged"


class ExternalEntries:
    """Remembers the last entry it has seen."""

    def __init__(self, core: Core, logbook: LogbookStore, monotonic: float) -> None:
        self._core = core
        self._logbook = logbook
        self._looked = monotonic  # [s]
        self._examined = monotonic  # [s]
        self._seen = logbook.head().entries
        for sealed in logbook.entries("seal")[-1:]:  # a daemon that was killed may not have said it
            core.publish("seal", plain(mqtt_seal_document(sealed)))
        core.intake.corrections = corrections.current(logbook)

    def look(self, monotonic: float) -> None:
        """See what is new, if it is time to. [s]"""
        if monotonic - self._looked < EVERY:
            return
        self._looked = monotonic
        if monotonic - self._examined >= EXAMINE_EVERY:
            self._examined = monotonic
            self._logbook.examine()
        try:
            told = self._logbook.entries((*KINDS, "alert", "seal"), after=self._seen)
        except StoreFailed:
            return  # the next reading that cannot be stored says so, loudly
        if told:
            self._seen = told[-1].number
        new = {
            each.kind for each in told if each.kind in KINDS or each.payload.get("happening") == _ACKNOWLEDGED
        }
        for sealed in (each for each in told if each.kind == "seal"):
            self._core.publish("seal", plain(mqtt_seal_document(sealed)))
        if "sensor-check" in new:
            self._core.intake.corrections = corrections.current(self._logbook)
        if new:
            self._core.keeping.look_again(f"told: {', '.join(sorted(new))}")
