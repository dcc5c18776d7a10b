"""May these readings be decided on? Silence, age, plausibility and the clock, as checks.

The law kept here: any trouble gives a check that is unknown, and an unknown check can never be part
of a go.
"""

from curewatch.advice.judge.answer import Check, Status
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Place, Situation, Trouble, TroubleKind

NO_AIR = "no air sensor has reported: `curewatch setup`, then `curewatch watch`; else check cable and power"
_OLD_BY_ITSELF = {TroubleKind.SILENT, TroubleKind.NO_READING, TroubleKind.IMPLAUSIBLE}
AHEAD = 60.0  # s a stamp may lie ahead of this machine's clock before the clock is doubted (assumed)


def troubles(situation: Situation, limits: Limits) -> tuple[Trouble, ...]:
    """All that is wrong with the readings: what was told, and what the values themselves show."""
    found = list(situation.troubles)
    known = {(trouble.sensor, trouble.kind) for trouble in found}
    for trouble in _of_the_values(situation, limits):
        if (trouble.sensor, trouble.kind) not in known and not _silent(found, trouble.sensor):
            found.append(trouble)
    return tuple(found)


def freshness(situation: Situation, limits: Limits) -> tuple[Check, ...]:
    """One check for each place that has spoken, and one for each trouble."""
    doubts = troubles(situation, limits)
    doubted = {trouble.sensor for trouble in doubts}
    fresh = tuple(
        _fresh(situation, place, limits) for place in situation.places() if place.sensor not in doubted
    )
    return tuple(_doubt(situation, trouble, limits) for trouble in doubts) + fresh


def remedies(situation: Situation, limits: Limits) -> tuple[str, ...]:
    """What to do about each trouble, each said once."""
    said = (
        NO_AIR if trouble.remedy == NO_AIR else f"{trouble.sensor or 'clock'}: {trouble.remedy}"
        for trouble in troubles(situation, limits)
    )
    return tuple(dict.fromkeys(said))


def _of_the_values(situation: Situation, limits: Limits) -> list[Trouble]:
    found = []
    if situation.air is None:
        found.append(
            Trouble(
                TroubleKind.NO_READING, "nothing is known of the shed's air", "air", "air", advised=NO_AIR
            )
        )
    for place in situation.places():
        age = situation.age(place)
        if age < -AHEAD:
            seen = f"its last stamp lies {-age / 60:.0f} min ahead of this machine's clock"
            found.append(Trouble(TroubleKind.CLOCK, seen, place.sensor, place.role, place.time))
        elif age > limits.reading_age.value:
            seen = f"last reading {age / 60:.0f} min old"
            found.append(Trouble(TroubleKind.STALE, seen, place.sensor, place.role, place.time))
        if place.temperature is None:
            found.append(_incomplete(place, "it reports no temperature"))
        elif place.role == "air" and place.vapour_pressure is None:
            found.append(_incomplete(place, "it reports no humidity", _exchanged(situation, place)))
    return found


def _incomplete(place: Place, seen: str, advised: str = "") -> Trouble:
    return Trouble(TroubleKind.INCOMPLETE, seen, place.sensor, place.role, place.time, advised)


def _exchanged(situation: Situation, air: Place) -> str:
    """What to do where the surface's sensor has the humidity that the air's has not; else the usual."""
    surface = situation.surface
    if surface is None or air.relative_humidity is not None or surface.relative_humidity is None:
        return ""
    return (
        f"{surface.sensor} reports humidity: are the two exchanged? Then exchange their ports, or their roles"
    )


def _silent(found: list[Trouble], sensor: str) -> bool:
    return any(trouble.sensor == sensor and trouble.kind in _OLD_BY_ITSELF for trouble in found)


def _fresh(situation: Situation, place: Place, limits: Limits) -> Check:
    age = max(0.0, situation.age(place))
    return Check(
        name=f"reading-{place.role}",
        title=f"{place.role} reading is fresh",
        status=Status.HOLDS,
        quantity="duration",
        value=age,
        limit=limits.reading_age,
        sense="at most",
        spare=limits.reading_age.value - age,
        age=age,
        sensor=place.sensor,
        reason="estimated from the air, no probe" if place.estimated else "",
    )


def _doubt(situation: Situation, trouble: Trouble, limits: Limits) -> Check:
    age = None if trouble.since is None else situation.at - trouble.since
    return Check(
        name=f"reading-{trouble.role or 'clock'}",
        title=f"{trouble.role or 'clock'}: {trouble.kind}",
        status=Status.UNKNOWN,
        quantity="duration",
        value=age,
        limit=limits.reading_age,
        sense="at most",
        age=age,
        sensor=trouble.sensor,
        reason=trouble.reason,
    )
