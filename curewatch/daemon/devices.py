"""Which device speaks under each name: while two do, neither is believed.

Two devices whose readings run together look like one sensor that jumps, and the damper of the two is lost.
Marks tell them apart: topic levels that wildcards stand for, hardware numbers in a message, the serial
port. Marks of one kind only are compared, so that one device may speak over a cable and a broker.
"""

import re

NAMES = 1024  # names watched; the first known goes first
MARKS = 8  # of one kind remembered for a name
LINGER = 3600.0  # so long after its last word a device counts as there, or thrice its rate [s]

Mark = tuple[str, str]  # its kind, and what it says

_NUMBER = re.compile(
    rb'"(mac(?:_?addr(?:ess)?)?|dev(?:ice)?_?id|dev_?eui|eui(?:64)?|unique_?id|serial_?(?:no|number)'
    rb'|ieee_?addr(?:ess)?|addr(?:ess)?|hardware_?id|node_?id|chip_?id|idx|id(?=" *: *"))"'
    rb'\s*:\s*"?([\w:.-]{1,64})',
    re.IGNORECASE,
)


def _has_a_word(payload: bytes) -> bool:
    """Whether a part of one of those words stands in it: most messages have none, and this is quicker."""
    low = payload.lower()
    return (
        b'id"' in low
        or b"mac" in low
        or b"addr" in low
        or b"eui" in low
        or b"serial" in low
        or b'idx"' in low
    )


def numbers_in(payload: bytes) -> list[Mark]:
    """The hardware numbers that a JSON object carries, each with its word.

    A word with several numbers is left out: they are of probes or gateways in one message.
    """
    if not payload.startswith(b"{") or not _has_a_word(payload):
        return []
    found = {(word.decode().lower(), number.decode("latin-1")) for word, number in _NUMBER.findall(payload)}
    if len(found) < 2:
        return list(found)
    words = [word for word, _ in found]
    return [each for each in found if words.count(each[0]) == 1]


class Devices:
    """The marks heard under each name, and when last."""

    def __init__(self) -> None:
        self._heard: dict[str, dict[str, dict[str, float]]] = {}  # name -> kind -> mark -> UTC [s]

    def two(self, name: str, marks: list[Mark], at: float, every: float = 0.0) -> bool:
        """Whether another device, too, speaks under this name. ``every``: the time between reports. [s]"""
        if not marks:
            return False
        if name not in self._heard and len(self._heard) >= NAMES:
            del self._heard[next(iter(self._heard))]
        kinds = self._heard.setdefault(name, {})
        since = at - max(LINGER, 3 * every)
        return [self._several(kinds, mark, at, since) for mark in marks].count(True) > 0

    def gone(self, mark: Mark) -> None:
        """What it marked is not there any more: it may come in by another port."""
        kind, said = mark
        for kinds in self._heard.values():
            kinds.get(kind, {}).pop(said, None)

    @staticmethod
    def _several(kinds: dict[str, dict[str, float]], mark: Mark, at: float, since: float) -> bool:
        kind, said = mark
        if kind not in kinds and len(kinds) >= MARKS:
            return False
        known = kinds.setdefault(kind, {})
        known[said] = at
        if len(known) == 1:  # the usual case
            return False
        for old in [each for each, last in known.items() if last < since]:
            del known[old]
        while len(known) > MARKS:
            del known[next(iter(known))]
        return len(known) > 1
