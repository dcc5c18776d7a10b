"""What the neighbours of a sensor tell of it: stuck while they move, apart from them, or swapped with one.

Theory of operation: two sensors are compared only where something can come of it. A sensor that stands still
needs one neighbour that moved, and each knows since when it has. A swap needs a jump that ends where another
began, found in a sorted list. Sensors that all lie close together are apart from none. So the cost grows with
the number of sensors, not with that of their pairs; only a shed whose sensors really disagree is looked at
pair by pair.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from operator import attrgetter
from typing import NamedTuple

from curewatch.phrases import Said, phrase
from curewatch.shed import health
from curewatch.shed.health import (
    DISAGREE_HUMIDITY,
    DISAGREE_TEMPERATURE,
    FAR_APART,
    NEIGHBOUR_MOVED,
    SATURATED_FOR,
    STUCK_BESIDE,
    STUCK_COUNT,
    SWAP_FIT,
    SWAP_KNOWN,
    SWAP_WITHIN,
    Health,
    SensorHealth,
    Track,
    TrackPoint,
)
from curewatch.units import HOUR

Tracks = Mapping[str, Track]


def compare(tracks: Tracks, roles: Mapping[str, str], now: float) -> dict[str, SensorHealth]:
    """What the neighbours tell of each sensor; those of which they tell nothing are left out."""
    found: dict[str, SensorHealth] = {}
    living = {
        name: track
        for name, track in tracks.items()
        if track.last is not None and now - track.last.time < SATURATED_FOR
    }
    ill = {
        name
        for name, track in living.items()
        if track.last and health.complaint(name, track, track.last, now)
    }
    for told in (*_stuck_beside(living), *_swapped(living, now)):
        found.setdefault(told.sensor, told)
    ill |= {name for name, judged in found.items() if judged.health is Health.STUCK}
    # one that is known to be ill itself says nothing against its neighbours
    for told in _disagreeing({name: one for name, one in living.items() if name not in ill}, roles):
        found.setdefault(told.sensor, told)
    return found


# ---- stuck


def _stuck_beside(living: Tracks) -> Iterator[SensorHealth]:
    """Sensors that have not changed at all, while a neighbour went somewhere."""
    still = [(name, since) for name, track in living.items() if (since := _still_since(track)) is not None]
    if not still:
        return
    moved = {name: _moved_since(track) for name, track in living.items()}
    for name, since in still:
        other = next((each for each, at in moved.items() if each != name and at >= since), None)
        if other is None:
            continue
        reason = phrase(
            "the very same value for {span} while {other} moved {moved:difference}",
            span=health.duration(_last(living[name]).time - since),
            other=other,
            moved=_range(living[other], since),
        )
        yield SensorHealth(name, Health.STUCK, reason, since)


def _still_since(track: Track) -> float | None:
    since = track.unchanged_since
    if track.last is None or since is None or track.unchanged_count < STUCK_COUNT:
        return None
    return since if track.last.time - since >= STUCK_BESIDE else None


def _moved_since(track: Track) -> float:
    """The latest moment since when it has moved by NEIGHBOUR_MOVED; never: minus infinity. [UTC s]"""
    lowest, highest = float("inf"), float("-inf")
    for point in track.points[::-1]:
        if point.temperature is not None:
            lowest, highest = min(lowest, point.temperature), max(highest, point.temperature)
            if highest - lowest >= NEIGHBOUR_MOVED:
                return point.time
    return float("-inf")


def _range(track: Track, since: float) -> float:
    values = [p.temperature for p in track.points if p.time >= since and p.temperature is not None]
    return max(values) - min(values)


def _last(track: Track) -> TrackPoint:
    assert track.last is not None  # of the living
    return track.last


# ---- swapped


class _Move(NamedTuple):
    """A large move of one sensor, from one report to the next."""

    was: float  # [K]
    became: float  # [K]
    time: float  # UTC [s]
    sensor: str


def _swapped(living: Tracks, now: float) -> Iterator[SensorHealth]:
    """Two jumped at one moment, each to where the other had been: the plugs were exchanged.

    Known until both have moved on by themselves, or for SWAP_KNOWN: exchanged plugs stay exchanged.
    """
    moves = [
        _Move(before.temperature, after.temperature, after.time, name)
        for name, track in living.items()
        for before, after in track.moves
        if before.temperature is not None and after.temperature is not None
    ]
    if len(moves) < 2:
        return
    begun = sorted(moves, key=attrgetter("was"))
    starts = [move.was for move in begun]
    for move in moves:
        reach = SWAP_FIT * abs(move.became - move.was)
        near = begun[bisect_left(starts, move.became - reach) : bisect_right(starts, move.became + reach)]
        other = next((each for each in near if _crossed(move, each, now)), None)
        if other is not None:
            reason = (
                "at {jumped:moment} it jumped to where {other} had been, and {other} to where it had been"
            )
            said = phrase(reason, jumped=move.time, other=other.sensor)
            yield SensorHealth(move.sensor, Health.SWAPPED, said, move.time)


def _crossed(one: _Move, other: _Move, now: float) -> bool:
    if one.sensor == other.sensor or abs(one.time - other.time) > SWAP_WITHIN:
        return False
    if now - max(one.time, other.time) > SWAP_KNOWN:
        return False
    move = min(abs(one.became - one.was), abs(other.became - other.was))
    return max(abs(one.became - other.was), abs(other.became - one.was)) <= SWAP_FIT * move


# ---- apart


class _Word(NamedTuple):
    """What a sensor says now."""

    sensor: str
    time: float  # UTC [s]
    temperature: float | None  # [K]
    humidity: float | None  # [1]


def _disagreeing(well: Tracks, roles: Mapping[str, str]) -> Iterator[SensorHealth]:
    """Two sensors of one role that differ by more than two such chips can; or an impossible shed."""
    words: dict[str, list[_Word]] = {}
    for name, track in well.items():
        last = _last(track)
        word = _Word(name, last.time, last.temperature, last.relative_humidity)
        words.setdefault(roles.get(name, ""), []).append(word)
    for role, of_role in words.items():
        if role and not _together(of_role):
            for one, other in combinations(of_role, 2):
                yield from _apart(one, other, DISAGREE_TEMPERATURE, DISAGREE_HUMIDITY)
    air, surface = words.get("air", []), words.get("surface", [])
    if _spread([word.temperature for word in (*air, *surface)]) > FAR_APART:
        for one in air:
            for other in surface:
                yield from _apart(one, other, FAR_APART, None)


def _together(words: Sequence[_Word]) -> bool:
    """Whether no two of them can be too far apart."""
    warm = _spread([word.temperature for word in words]) <= DISAGREE_TEMPERATURE
    return warm and _spread([word.humidity for word in words]) <= DISAGREE_HUMIDITY


def _spread(values: Sequence[float | None]) -> float:
    known = [value for value in values if value is not None]
    return max(known) - min(known) if known else 0.0


def _apart(one: _Word, other: _Word, most: float, most_humidity: float | None) -> Iterator[SensorHealth]:
    if abs(one.time - other.time) > HOUR / 2:
        return
    since = max(one.time, other.time)
    if one.temperature is not None and other.temperature is not None:
        warmer = abs(one.temperature - other.temperature)
        if warmer > most:
            yield from _both(one, other, phrase("{apart:difference} apart", apart=warmer), since)
            return
    if most_humidity is None or one.humidity is None or other.humidity is None:
        return
    damper = abs(one.humidity - other.humidity)
    if damper > most_humidity:
        yield from _both(one, other, phrase("{apart:fraction} humidity apart", apart=damper), since)


def _both(one: _Word, other: _Word, reason: Said, since: float) -> Iterator[SensorHealth]:
    for this, that in ((one.sensor, other.sensor), (other.sensor, one.sensor)):
        said = phrase("{reason} from {other}", reason=reason, other=that)
        yield SensorHealth(this, Health.DISAGREEING, said, since)
