"""What a fleet has against this shed, and the alert of it: its copy's trouble, or that two look after it."""

import json
from collections.abc import Iterator
from typing import NamedTuple

from curewatch.advice.alert.alerts import AlertKind, Key, Signal, State
from curewatch.logbook import LogbookStore
from curewatch.phrases import phrase
from curewatch.units import MINUTE

NOTE = "copy"  # written by whoever sends the blocks
TWICE = "looked twice"  # written by a looker of a fleet that found the shed's own daemon
TWICE_LASTS = 20 * MINUTE  # without another look that was refused [s]
KEY = Key(AlertKind.COPY)

WHY = {
    "fork": "two chains of this shed",
    "older": "it has more than this logbook",
    "key": "signed by another key",
    "shed": "sent under another name",
    "clock": "the clocks are apart",
    "broken": "what came is broken",
    "pruned": "the next block is pruned",
    "twice": "this daemon and the fleet work out its advice",
}
WHAT_TO_DO = {
    "fork": "Find who else sends as this shed, or which old logbook was put back. Tell the fleet's operator.",
    "older": "An old logbook was put back, or this is another shed's name. Tell the operator of the fleet.",
    "key": "Tell the operator of the fleet this shed's key: curewatch logbook key",
    "shed": "Look at the shed's name in the sender's file, and tell the operator of the fleet.",
    "clock": "Set this machine's clock, or tell the operator of the fleet to.",
    "pruned": "Tell the operator of the fleet: the copy ends before what was pruned.",
    "twice": "Stop this daemon, or have the shed taken out of the fleet's file.",
}
ELSE = "Tell the operator of the fleet. Nothing here is lost."


class Against(NamedTuple):
    """Why the fleet does not follow."""

    code: str
    told: str


def note(code: str, told: str) -> bytes:
    """As it is kept; no code: it follows."""
    return json.dumps({"code": code, "told": told}).encode()


def against(logbook: LogbookStore) -> Against | None:
    """What stands against the copy now."""
    said = json.loads(logbook.note(NOTE) or b"{}")
    return Against(str(said["code"]), str(said["told"])) if said.get("code") else None


def looked_twice(by: str, holder: str, now: float) -> bytes:
    """As it is kept that a looker of a fleet found this daemon. UTC [s]"""
    return json.dumps({"told": f"{holder}; the fleet: {by}", "at": now}).encode()


def twice(logbook: LogbookStore, now: float) -> Against | None:
    """Whether a fleet and a daemon lately looked after this shed. UTC [s]"""
    said = json.loads(logbook.note(TWICE) or b"{}")
    lately = "at" in said and now - said["at"] < TWICE_LASTS
    return Against("twice", str(said["told"])) if lately else None


def signals(logbook: LogbookStore | None, active: State, now: float) -> Iterator[Signal]:
    """The alert, while something stands; its end, where it was active. UTC [s]"""
    found = None if logbook is None else against(logbook) or twice(logbook, now)
    if found is not None:
        why = WHY.get(found.code, found.code)
        what = (
            "two look after this shed" if found.code == "twice" else "the fleet keeps no more of this logbook"
        )
        text = phrase(f"{what}: {why}; {{told}}", told=found.told)
        yield Signal(KEY, True, False, text, WHAT_TO_DO.get(found.code, ELSE), meaning=found.code, hold=0.0)
    elif KEY in active:
        yield Signal(KEY, False, True, "the fleet follows this logbook again", hold=0.0)
