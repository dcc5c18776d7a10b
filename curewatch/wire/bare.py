"""A bare number as a whole message: ``12.4`` on a topic that says of what.

Devices that keep a topic for each quantity send nothing but the number, as text or as JSON, sometimes
with its unit. Which quantity it is stands in the topic, or with the sensor in the configuration.
Temperature and humidity so become readings of their own, each with its own time of arrival.
"""

from collections.abc import Sequence
from typing import NamedTuple

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire.fields import OURS, WORDS, FieldRejected, Words, gather, reading
from curewatch.wire.numbers import number
from curewatch.wire.reasons import Reason, reject

LONGEST = 60  # bytes of a number with its unit; sensors send about 6
TOLD_BY_TOPIC = frozenset(
    word
    for word, (kind, _) in WORDS.items()
    if kind in {"temperature", "relative_humidity"} and len(word) > 1
)


class Told(NamedTuple):
    """What a topic says of its number."""

    quantity: str = ""  # a word of ours; empty if it says none
    levels: int = 0  # so many of its levels, from the first, name the device
    probe: str = ""  # of a device with several
    alone: bool = True  # the probe's name may be the sensor's


def told_by(levels: Sequence[str]) -> Told:
    """What a topic tells: ``…/bench/temperature``, ``…/NODE/sensor/bench_temperature/state``,
    ``NODE/status/temperature:0``.
    """
    last = len(levels) - 1
    stated = last >= 2 and levels[last] == "state" and levels[last - 2] == "sensor"
    name, _, index = levels[last - stated].partition(":")
    word = name.lower()
    if word in TOLD_BY_TOPIC:
        upto = last - 2 if stated else last - (index != "" and last > 0 and levels[last - 1] == "status")
        return Told(word, max(upto, 1), index, alone=False)
    probe, _, ending = word.rpartition("_")
    if stated and probe and ending in TOLD_BY_TOPIC:
        return Told(ending, last - 2, name[: len(probe)])
    return Told(levels=len(levels))


def key_of(quantity: str) -> str:
    """The configuration's own word for the same quantity in the same unit."""
    kind, unit = WORDS[quantity]
    if kind == "temperature":
        return "temperature_f" if unit == "degF" else "temperature_c"
    return "humidity_percent"


def is_number(payload: bytes) -> bool:
    """Is it a number and nothing else?"""
    return len(payload) <= LONGEST and number(_text(payload)) is not None


def parse(
    payload: bytes, quantity: str, at: Instant, source: str = "", sensor: str = "", *, words: Words = OURS
) -> Reading | Rejected:
    """The number as a reading of this quantity, a word of ours (``temperature_c``)."""
    if len(payload) > LONGEST:
        return reject(Reason.NOT_A_LINE, payload, at.utc, source, sensor)
    try:
        return reading(gather([(quantity, _text(payload) or None)], words.taken), sensor, payload, at, source)
    except FieldRejected as rejected:
        return reject(rejected.reason, payload, at.utc, source, sensor)


def _text(payload: bytes) -> str:
    """What it says, without the quotes of a JSON text; a byte that is no text becomes one no number has."""
    text = payload.decode("utf-8", errors="replace").strip()
    return text[1:-1].strip() if len(text) > 1 and text[0] == text[-1] == '"' else text
