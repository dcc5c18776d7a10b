"""An invented job in the demo's world, written into a logbook as the daemon and a person would.

All numbers are demo values. The rudder cheek of *Kittiwake Nine* in *Saltmarsh Shed*.
"""

import math
from pathlib import Path

from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.logbook.sealing import Seal, seal
from curewatch.readings import Reading, Rejected
from curewatch.units import DAY, HOUR, MINUTE

OPENED = 1_795_593_600.0  # 2026-11-25T08:00Z
JOB = "rudder-cheek"
ROLES = {"bench": "air", "hull": "surface", "yard": "outside"}
PARTS = {"bench": "humidity-2", "hull": "probe", "yard": "single-wire"}


def shed_air(at: float, sensor: str) -> tuple[float, float | None]:
    """Temperature [K] and relative humidity [1] of an invented autumn shed."""
    day = (at % DAY) / DAY
    wave = math.cos((day - 0.62) * 2 * math.pi)
    ripple = 0.05 * math.sin(at / 700.0)
    if sensor == "hull":
        return round(289.6 + 0.9 * wave + ripple, 2), None
    if sensor == "yard":
        return round(281.6 + 4.0 * wave + ripple, 2), round(0.88 - 0.08 * wave, 4)
    return round(290.6 + 1.3 * wave + ripple, 2), round(0.62 - 0.05 * wave + ripple / 20, 4)


def readings(start: float, end: float, step: float = MINUTE, gap: tuple[float, float] | None = None):
    """Three sensors, one reading each a step; none of ``bench`` inside the gap."""
    for n in range(int((end - start) / step)):
        for order, sensor in enumerate(ROLES):
            at = start + n * step + order * 7.0
            if gap and sensor == "bench" and gap[0] <= at < gap[1]:
                continue
            temperature, humidity = shed_air(at, sensor)
            yield Reading(sensor, at, at + 0.3, temperature, humidity, sequence=n)


def configuration(at: float) -> Entry:
    return Entry(
        EntryKind.CONFIGURATION,
        {
            "shed": {
                "name": "Saltmarsh Shed",
                "boat": "Kittiwake Nine",
                "zone": "Europe/Lisbon",
                "substrate": "plywood",
                "thickness": 0.018,
            },
            "sensors": {name: {"role": role, "part": PARTS[name]} for name, role in ROLES.items()},
            "limits": {"rules": "coating"},
            "resin": "epoxy-slow",
        },
        at,
    )


def work(opened: float = OPENED, job: str = JOB) -> list[Entry]:
    """What the person at the bench wrote down, up to the closing."""

    def by_hand(kind: str, at: float, payload: dict[str, object], told: float = 0.0) -> Entry:
        return Entry(kind, {**payload, "by": "the owner"}, at, job=job, recorded=at + told)

    layer = {
        "layer": "L1",
        "started": opened + 2 * HOUR,
        "resin": "epoxy-slow",
        "batch_mass": 0.183,
        "thickness": 0.002,
        "surface": "hull",
        "job": job,
        "lot": "R-2217",
        "batches": ["B1"],
        "layers": 3,
        "cloth": "biaxial 450 g/m2",
    }
    again = {**layer, "layer": "L2", "started": opened + 10 * HOUR, "batches": ["B2"], "layers": 2}
    batch = {
        "batch": "B1",
        "resin": "epoxy-slow",
        "resin_lot": "R-2217",
        "hardener_lot": "H-0914",
        "resin_mass": 0.150,
        "hardener_mass": 0.033,
        "ratio": {"within": True, "text": "22.0 of hardener to 100 of resin; allowed 20.9 to 23.1"},
        "pot_temperature": 291.15,
    }
    return [
        by_hand(
            EntryKind.JOB_OPEN,
            opened,
            {
                "job": job,
                "title": "New rudder cheek, port side",
                "boat": "Kittiwake Nine",
                "what": "Three layers of biaxial cloth over plywood, then two more, epoxy throughout",
                "resin": "epoxy-slow",
                "substrate": "plywood",
                "thickness": 0.018,
                "zone": "Europe/Lisbon",
                "rules": ["classed-workshop", "datasheet", "coating"],
            },
        ),
        by_hand(
            EntryKind.NOTE,
            opened + HOUR,
            {"text": "Dry-fitted, sanded with 80, vacuumed, wiped with a clean rag"},
        ),
        by_hand(EntryKind.BATCH, opened + 2 * HOUR, batch),
        by_hand(EntryKind.LAYER, opened + 2 * HOUR, layer),
        by_hand(
            EntryKind.OBSERVATION,
            opened + 11 * HOUR,
            {"layer": "L1", "observed": "gelled", "at": opened + 11 * HOUR},
        ),
        by_hand(
            EntryKind.BATCH,
            opened + 10 * HOUR,
            {**batch, "batch": "B2", "resin_mass": 0.100, "hardener_mass": 0.022},
        ),
        by_hand(EntryKind.LAYER, opened + 10 * HOUR, again),
        by_hand(EntryKind.PEEL_PLY, opened + 10.5 * HOUR, {"layer": "L2", "action": "on"}),
        Entry(
            EntryKind.ALERT,
            {
                "happening": "raised",
                "alert": "condensation",
                "subject": "",
                "at": "2026-11-26T03:10:00.000Z",
                "text": "the hull comes within 3 K of the dew point at about 05:30",
                "advised": "warm the hull by 2 K or cover it",
                "due": None,
                "meaning": "coming",
            },
            opened + 19 * HOUR,
        ),
        by_hand(
            EntryKind.OBSERVATION,
            opened + 22 * HOUR,
            {"layer": "L2", "observed": "tack-free", "at": opened + 22 * HOUR, "given_afterwards": True},
            told=2 * HOUR,
        ),
        by_hand(EntryKind.PEEL_PLY, opened + 40 * HOUR, {"layer": "L2", "action": "off"}),
        by_hand(EntryKind.WASH, opened + 40.5 * HOUR, {"layer": "L2", "action": "wash-and-abrade"}),
        by_hand(
            EntryKind.QUALITY,
            opened + 60 * HOUR,
            {
                "layer": "L2",
                "check": "coin tap",
                "value": None,
                "unit": "",
                "passed": True,
                "text": "rings clear",
            },
        ),
        by_hand(
            EntryKind.JOB_CLOSE, opened + 72 * HOUR, {"job": job, "outcome": "Ready for fairing and paint"}
        ),
    ]


def fill(
    path: Path, *, days: float = 4.0, step: float = 5 * MINUTE, before: float = DAY, opened: float = OPENED
) -> Seal:
    """A logbook with the whole job, sealed each day and at the close; the seal of the close."""
    start, end = opened - before, opened + days * DAY
    gap = (opened + 20 * HOUR, opened + 21 * HOUR)
    entries = sorted([configuration(start), *work(opened)], key=lambda one: one.at)
    entries.append(
        Entry(
            EntryKind.GAP,
            {
                "sensor": "bench",
                "role": "air",
                "start": gap[0],
                "end": gap[1],
                "reason": "nothing came from it",
            },
            gap[1],
        )
    )
    entries.sort(key=lambda one: one.at if one.recorded is None else one.recorded)
    entries.insert(2, Entry(EntryKind.NOTE, {"text": "another job's note"}, opened, job="mast-step"))
    with Logbook(path) as logbook:
        return _write(logbook, list(readings(start, end, step, gap)), entries)


def _write(logbook: Logbook, taken: list[Reading], entries: list[Entry]) -> Seal:
    """In the order of arrival, in commits of up to 100 readings, sealed at each midnight."""
    batch: list[Reading] = []
    waiting, closing, day = list(entries), None, int(taken[0].received // DAY)
    for reading in taken:
        due = waiting and (waiting[0].recorded or waiting[0].at) <= reading.received
        if due or len(batch) >= 100 or reading.received // DAY > day:
            logbook.append(
                batch, rejected=[Rejected("not a number", b"T=nan", reading.received, "usb", "bench")]
            )
            batch = []
        if reading.received // DAY > day:
            day = int(reading.received // DAY)
            seal(logbook, reason="day", at=day * DAY)
        while waiting and (waiting[0].recorded or waiting[0].at) <= reading.received:
            entry = waiting.pop(0)
            logbook.write(entry)
            if entry.kind == EntryKind.JOB_CLOSE:
                closing = seal(logbook, reason="job-close", at=entry.at + 1)
        batch.append(reading)
    logbook.append(batch)
    assert closing is not None
    assert not waiting
    return closing
