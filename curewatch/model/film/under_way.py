"""Films and layers between their first step and their last mark: who is under way, and which marks are
passed when.

A film is taken up at a step of its own and leaves once it has passed every mark. Marks are looked for once in
a few steps; only films beyond the lowest level that a mark had in these steps are looked at closely.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.early import Entries
from curewatch.model.film.film import History
from curewatch.model.film.flow_map import SingleArray
from curewatch.model.film.stepping import Carries, Seen
from curewatch.physics.cure_kinetics import RateLaw
from curewatch.physics.heat_balance import AnyArray
from curewatch.units import FloatArray

LOOK = 8  # steps between looks at the marks
WITHIN = np.linspace(0.0, 1.0, 7)[:, None]  # of a step: where a mark that moves is looked at
AT_ONCE = 16384  # films under way: what is known of them stays in a processor's own memory
TOLD_AT_ONCE = 16384  # marks that were passed, before their times are worked out
COLDER = np.array([0.7, 1.3], np.float32)  # K for each kelvin stored beyond the surface, at least and at most
RESTING = 1e-3  # conversion in a long step: less makes no heat that ages a layer
ROUNDING = 1e-6  # conversion, of a straight line between two points in single precision
SUDDEN = 0.04, 3.0  # conversion gained in a step, and K: more of both, and no parabola tells how it went
SUDDEN_PARTS = 8  # of such a step, in each of which slowness is summed
SWING = 0.3  # K over a step: more, and a mark that moves is looked at within it


class Mark(NamedTuple):
    """Where a mark lies: at one conversion, or by temperature on a grid."""

    conversion: FloatArray  # (temperatures,) [1]
    coldest: float = 0.0  # of the grid [K]
    spacing: float = 1.0  # [K]
    of: str = "slowest"  # which part of a layer passes it: a field of Seen
    moot: tuple[int, ...] = ()  # marks after all of which nobody asks for this one; none: always asked for

    def at(self, temperature: AnyArray) -> AnyArray:
        """Conversion at temperatures of any shape, of one that moves. [K] -> [1]"""
        kind = temperature.dtype.type  # in single precision for many films, which halves the time
        low = self.conversion.astype(kind)
        rise = np.zeros_like(low)
        np.subtract(low[1:], low[:-1], out=rise[:-1])
        place = (temperature - kind(self.coldest)) * kind(1.0 / self.spacing)
        cell = place.astype(np.int32)
        place -= cell.astype(kind)
        place *= rise.take(cell, mode="clip")
        place += low.take(cell, mode="clip")
        return place

    def lowest(self, coldest: float, warmest: float) -> float:
        """At or below what it is at any temperature between two. [K] -> [1]"""
        low, high = (int((each - self.coldest) // self.spacing) for each in (coldest, warmest))
        if low < 0:
            return -np.inf
        return float(self.conversion[min(low, self.conversion.size - 1) : high + 2].min()) - ROUNDING


class Route(NamedTuple):
    """What films go by in steps of one length."""

    stepper: Carries
    edge: FloatArray  # (steps + 1, members), temperature where steps meet [K]
    step: float  # [s]
    levels: list[Mark]
    history: History  # temperature (members, n)
    begin: FloatArray  # (starts,), when each start is laid [s]
    last: NDArray[np.intp]  # (starts,), step from which each is followed no more
    law: RateLaw


class Calm(NamedTuple):
    """When a film may go on in longer steps."""

    conversion: float  # that it has passed
    gain: float  # most in a step
    excess: float  # of a layer above its surface: a warmer one cools too fast to be told in longer steps [K]
    step: float  # whole ones of which have gone by [s]


class _Passed(NamedTuple):
    """Films that passed a mark between two looks. Arrays (films,)."""

    mark: NDArray[np.intp]
    step: NDArray[np.intp]  # of the earlier look
    film: NDArray[np.intp]
    above: SingleArray  # (edges, films), how far above the mark they stood
    excess: SingleArray  # (edges, films), what a layer had stored beyond its surface; of a film nothing [K]


class UnderWay:
    """Films on their way, as many at once as a processor keeps at hand; who is done makes room for another.

    Each goes by a step of its own. Owns the state of those that are under way, and writes the times of all.
    """

    def __init__(
        self, route: Route, entries: Entries, times: FloatArray, peak: FloatArray | None = None
    ) -> None:
        """``times`` (marks, films) [s]: a nan is a mark that is ahead. ``peak`` (films,): most stored [K]."""
        self._route, self._entries, self._times, self._peak = route, entries, times, peak
        self._members, size = times.shape[1] // route.begin.size, min(AT_ONCE, entries.film.size)
        self._edge = route.edge.astype(np.float32)
        moves = any(level.conversion.size > 1 for level in route.levels)
        self._coldest = _coldest(self._edge) if moves else None
        self._film, self._step, self._last, self._at = np.empty((4, size), np.intp)
        self._state = np.empty((entries.state.shape[0], size), np.float32)
        kinds = {"slowest", *(level.of for level in route.levels)}  # by that one a film is calm
        self._seen = {
            of: np.empty((LOOK + 1, size), np.float32) for of in [*kinds, *["excess"] * self._warms]
        }
        self._ahead = np.empty((times.shape[0], size), bool)
        self._end = np.minimum(route.last, route.edge.shape[0] - 1)  # (starts,)
        self._ages = np.array([level.of == "age" for level in route.levels])
        self._count = self._taken = 0
        self._found: list[_Passed] = []

    @property
    def _warms(self) -> bool:
        """Whether they are warmer than their surface."""
        return self._peak is not None

    def go(self, calm: Calm | None = None) -> Entries:
        """Step all; gives the films that were left calm, by the long step at which they were.

        In long steps those that are left for their age alone, by the step at which they were.
        """
        stride = round(calm.step / self._route.step) if calm else 1
        left = [Entries(np.empty(0, np.intp), np.empty(0, np.intp), self._state[:, :0])]
        while self._count or self._taken < self._entries.film.size:
            self._take_up(min(stride, LOOK))
            self._steps(slice(0, self._count), LOOK)
            left += self._leave(calm, stride)
            if sum(each.film.size for each in self._found) > TOLD_AT_ONCE:
                self._tell()
        self._tell()
        return Entries(*(np.concatenate(each, axis=-1) for each in zip(*left, strict=True)))

    def _take_up(self, stride: int) -> None:
        """As many as there is room for; those that are between two long steps go on to the next of them."""
        entries, begin = self._entries, self._taken
        end = self._taken = min(entries.film.size, begin + self._film.size - self._count)
        odd = -entries.step[begin:end] % stride
        order = begin + np.argsort(odd, kind="stable")
        new = slice(self._count, self._count + order.size)
        film, step = entries.film[order], entries.step[order]
        self._film[new], self._step[new] = film, step
        self._last[new] = self._end[film // self._members]
        self._at[new] = step * self._members + film % self._members
        self._state[:, new] = entries.state[:, order]
        self._ahead[:, new] = np.isnan(self._times[:, film])
        now = self._route.stepper.seen(self._state[:, new])
        for of, kept in self._seen.items():
            kept[0, new] = getattr(now, of)
        ends = self._count + np.append(0, np.cumsum(np.bincount(odd, minlength=1)))
        self._count = new.stop
        for steps in range(1, ends.size - 1):
            if ends[steps] < ends[steps + 1]:
                self._steps(slice(ends[steps], ends[steps + 1]), steps)

    def _steps(self, these: slice, steps: int) -> None:
        """So many steps, and which marks were passed in them."""
        state, at = self._state[:, these], self._at[these]
        seen = {of: kept[:, these] for of, kept in self._seen.items()}
        begin, end = at.copy(), self._route.edge.shape[0] - 1
        beyond = int(self._step[these].max()) + steps > end
        last = (end - 1) * self._members + self._film[these] % self._members if beyond else at
        for step in range(1, steps + 1):
            now: Seen = self._route.stepper.advance(state, at)
            for of, kept in seen.items():
                kept[step] = getattr(now, of)
            at += self._members
            if beyond:  # of its own path
                np.minimum(at, last, out=at)
        self._look(these, begin, {of: kept[: steps + 1] for of, kept in seen.items()})
        self._step[these] += steps
        for kept in seen.values():
            kept[0] = kept[steps]

    def _look(self, these: slice, begin: NDArray[np.intp], seen: dict[str, SingleArray]) -> None:
        """Which marks were passed since these films stood at ``begin``, a place in the paths."""
        if self._coldest is not None:
            coldest = self._coldest.take(begin, mode="clip")
            if self._warms:
                excess = seen["excess"].min(axis=0)
                coldest += np.minimum(COLDER[0] * excess, COLDER[1] * excess)
            span = float(coldest.min()), float(coldest.max())
        edges = self._members * np.arange(LOOK + 1)[:, None]
        for mark, level in enumerate(self._route.levels):
            now, ahead = seen[level.of], self._ahead[mark, these]
            moves = level.conversion.size > 1
            beyond = now[-1] >= (level.lowest(*span) if moves else level.conversion[0])
            beyond &= ahead
            these_films = beyond.nonzero()[0]
            if moves:
                near = now[-1].take(these_films) >= level.at(coldest.take(these_films))
                these_films = these_films[near]
            if not these_films.size:
                continue
            above = now[:, these_films]
            if level.conversion.size == 1:
                above -= np.float32(level.conversion[0])
            else:
                warmth = self._edge.take(begin[these_films] + edges[: now.shape[0]], mode="clip")
                if self._warms:
                    warmth = self._route.stepper.warmth(warmth, seen["excess"][:, these_films])
                above -= level.at(warmth)
                passed = above[1:].max(axis=0) >= 0.0
                if not passed.all():
                    these_films, above = these_films[passed], above[:, passed]
            ahead[these_films] = False
            step, film = self._step[these][these_films], self._film[these][these_films]
            excess = seen["excess"][:, these_films] if self._warms else above[:0]
            self._found.append(_Passed(np.full(film.size, mark), step, film, above, excess))

    def _asked(self, count: int) -> NDArray[np.bool_]:
        """Which marks are ahead of each, and of interest still. (marks, films)"""
        ahead = self._ahead[:, :count]
        found = ahead.copy()
        for mark, level in enumerate(self._route.levels):
            if level.moot:
                found[mark] &= ahead[list(level.moot)].any(axis=0)
        return found

    def _leave(self, calm: Calm | None, stride: int) -> list[Entries]:
        """Leave those that are done, and those that are calm; gives these."""
        count, left = self._count, list[Entries]()
        film, step, state = self._film[:count], self._step[:count], self._state[:, :count]
        ahead = self._asked(count)
        last, before = (self._seen["slowest"][LOOK - back, :count] for back in (0, 1))
        stays = ahead.any(axis=0)
        stays &= self._last[:count] > step
        if not calm and self._ages.any():
            these = (stays & ~ahead[~self._ages].any(axis=0) & (last - before < RESTING)).nonzero()[0]
            left.append(Entries(film[these], step[these], state[:, these]))
            stays[these] = False
        if calm:
            slow = stays & (last > calm.conversion) & (last - before < calm.gain) & (step % stride == 0)
            if self._warms:
                slow &= self._seen["excess"][LOOK, :count] < calm.excess
            these = slow.nonzero()[0]
            if these.size:
                left.append(Entries(film[these], step[these] // stride, state[:, these]))
                stays &= ~slow
        peak = self._route.stepper.seen(state).peak
        if self._peak is not None and peak is not None:
            gone = (~stays).nonzero()[0]
            self._peak[film[gone]] = peak[gone]
        self._close_up(stays)
        return left

    def _close_up(self, stays: NDArray[np.bool_]) -> None:
        """Those that stay: the last of them take the places that fell empty."""
        self._count = count = int(np.count_nonzero(stays))
        empty, last = (~stays[:count]).nonzero()[0], count + stays[count:].nonzero()[0]
        for each in (self._film, self._step, self._last, self._at):
            each[empty] = each[last]
        for rows in (self._ahead, self._state):
            rows[:, empty] = rows[:, last]
        for seen in self._seen.values():
            seen[0, empty] = seen[0, last]

    def _tell(self) -> None:
        """Work out within their steps when marks were passed, for all at once."""
        for edges in {each.above.shape[0] for each in self._found}:
            found = [each for each in self._found if each.above.shape[0] == edges]
            mark, step, film, above, excess = (
                np.concatenate(each, axis=-1) for each in zip(*found, strict=True)
            )
            before = (above[1:] >= 0.0).argmax(axis=0)
            told = step + before < self._end[film // self._members]
            if not told.all():
                mark, step, film, before = (each[told] for each in (mark, step, film, before))
                above, excess = above[:, told], excess[:, told]
            share = _on_a_parabola(above, before)
            start, member = np.divmod(film, self._members)
            ends = np.take_along_axis(above, np.add(before, [[0], [1]]), axis=0)
            which = mark, step + before, member
            if self._warms:  # a layer is too heavy to swing within a step
                warmer = np.take_along_axis(excess, np.add(before, [[0], [1]]), axis=0)
                self._run_away(share, ends, warmer, which)
            else:
                self._refine(share, ends, which)
            when = self._route.step * (step + before + share) - self._route.begin[start]
            self._times[mark, film] = when
        self._found.clear()

    def _run_away(
        self, share: FloatArray, ends: SingleArray, excess: SingleArray, which: tuple[NDArray[np.intp], ...]
    ) -> None:
        """Look within the step where a layer gained much, and became warmer as it did.

        ``ends`` and ``excess`` (2, films): how far layers stand above their mark, what they have stored
        beyond their surface [K]; ``which``: the mark, step and member of each.
        """
        levels = self._route.levels
        level = np.array([each.conversion[0] for each in levels])[which[0]]
        stays = np.array([each.conversion.size == 1 and each.of != "age" for each in levels])[which[0]]
        sudden = (ends[1] - ends[0] > SUDDEN[0]) & (np.abs(excess[1] - excess[0]) > SUDDEN[1])
        these = (sudden & stays).nonzero()[0]
        if not these.size:
            return
        _, step, member = (each[these] for each in which)
        surface = self._edge.take(np.add(step, [[0], [1]]) * self._members + member)
        warmth = self._route.stepper.warmth(surface, excess[:, these])
        share[these] = _by_law(self._route.law, level[these] + ends[:, these], warmth, level[these])

    def _refine(self, share: FloatArray, ends: FloatArray, which: tuple[NDArray[np.intp], ...]) -> None:
        """Look within the step where the temperature swings, and with it the mark.

        ``ends`` (2, films): how far films stand above it; ``which``: marks, steps, members, (films,) each.
        """
        route, place = self._route, which[1] * self._members + which[2]
        swings = np.abs(self._edge.take(place + self._members) - self._edge.take(place)) > SWING
        for number, level in enumerate(route.levels):
            these = np.flatnonzero(swings & (which[0] == number))
            if level.conversion.size == 1 or not these.size:
                continue
            _, step, member = (each[these] for each in which)
            first = int(step.min())  # many films are in the same steps
            moments = route.step * (np.arange(first, int(step.max()) + 1) + WITHIN)
            index, weight = _between(route.history, moments)
            index, weight = index[:, step - first], weight[:, step - first]
            moved = level.at(_weighed(route.history, index, weight, member))
            low, high = ends[:, these] + moved[[0, -1]]
            above = low + (high - low) * WITHIN - moved
            after = np.maximum((above >= 0.0).argmax(axis=0), 1)
            short, over = np.abs(np.take_along_axis(above, np.add(after, [[-1], [0]]), axis=0))
            share[these] = (after - 1 + short / np.maximum(short + over, 1e-12)) / (WITHIN.size - 1)


def _on_a_parabola(above: FloatArray, before: NDArray[np.intp]) -> FloatArray:
    """How far within its step each film came to its mark, by a third edge where there is one.

    ``above`` (edges, films): how far they stand above it; ``before`` (films,): the last edge
    at which they do not.
    """
    column, after = np.arange(before.size), before + 1
    short, over = np.maximum(-above[before, column], 0.0), above[after, column]
    rise = np.maximum(short + over, 1e-12)
    third = np.where(after + 1 < above.shape[0], after + 1, np.maximum(before - 1, 0))
    beyond = above[third, column]
    bend = np.where(third > after, beyond - 2.0 * over - short, over + 2.0 * short + beyond)
    bend = np.where((third == before) | (np.abs(bend) > rise), 0.0, bend)
    share = short / rise
    for _ in range(2):
        missing = short - share * rise - 0.5 * bend * share * (share - 1.0)
        share = share + missing / (rise + bend * (share - 0.5))
    return np.asarray(np.clip(share, 0.0, 1.0))


def _by_law(law: RateLaw, progress: FloatArray, warmth: FloatArray, level: FloatArray) -> FloatArray:
    """Share of a step that has gone by at a level (films,), of layers that warm evenly as they cure.

    ``progress`` and ``warmth`` (2, films): where the step begins and ends. [1, K, 1] -> [1]

    Source: time is the integral of slowness over progress, by Simpson's rule.
    """
    rate = law.at(np.exp)
    begin, end = np.maximum(progress, 0.0)
    nodes = np.linspace(0.0, 1.0, 2 * SUDDEN_PARTS + 1)[:, None]

    def takes(low: FloatArray, high: FloatArray) -> FloatArray:
        here = low + (high - low) * nodes
        slow = 1.0 / rate(
            np.minimum(here, 0.9999), warmth[0] + (warmth[1] - warmth[0]) * (here - begin) / (end - begin)
        )
        return np.asarray((high - low) * (slow[:-2:2] + 4.0 * slow[1::2] + slow[2::2]).sum(axis=0))

    waits = (begin - progress[0]) * 6.0 * SUDDEN_PARTS / rate(begin, warmth[0])
    until, after = waits + takes(begin, level), takes(level, end)
    return np.asarray(until / (until + after))


def on_paths(history: History, time: FloatArray, member: NDArray[np.intp]) -> FloatArray:
    """Temperature of each member (films,) at times of its own (times, films) [s]. [K]

    Source: straight lines between the points of its path.
    """
    return _weighed(history, *_between(history, time), member)


def _between(history: History, time: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """The point of a history before each time (...) [s], and how far on to the next it lies."""
    index = np.clip(np.searchsorted(history.time, time, side="right") - 1, 0, history.time.size - 2)
    begin = history.time[index]
    return index, np.minimum((time - begin) / (history.time[index + 1] - begin), 1.0)


def _weighed(
    history: History, index: NDArray[np.intp], weight: FloatArray, member: NDArray[np.intp]
) -> FloatArray:
    low, high = history.temperature[member, index], history.temperature[member, index + 1]
    return np.asarray(low + (high - low) * weight)


def _coldest(edge: SingleArray) -> SingleArray:
    """Lowest temperature at the edges from each on, as far as a look reaches. (steps + 1, members) [K]"""
    found = edge.copy()
    for back in (1, 2, 4, 1):  # together as many steps as lie between looks
        np.minimum(found[:-back], found[back:], out=found[:-back])
    return found
