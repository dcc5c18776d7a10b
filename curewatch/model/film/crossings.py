"""Which marks the films of a crowd have passed on their walk, and when within a step."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.flow_map import SingleArray
from curewatch.units import FloatArray

LOOK = 4  # steps between looks whether a start is done


class Hurdles(NamedTuple):
    """What films are asked to pass."""

    levels: FloatArray  # of conversion, rising
    moving: tuple[FloatArray, ...]  # each (steps, members)


class _Passing(NamedTuple):
    """Films that passed a mark in one step; when within it is worked out once for all. Arrays (films,)."""

    film: NDArray[np.intp]  # start * members + member
    now: SingleArray  # progress at the end of the step
    gained: SingleArray
    mark: NDArray[np.intp]


class Passings:
    """Which marks the films have passed on their walk, and when. Owns one flag a film and mark."""

    def __init__(self, step: float, members: int, first: NDArray[np.intp], hurdles: Hurdles) -> None:
        films = first.size * members
        self._step, self._members, self._first = step, members, first
        self._levels = hurdles.levels
        self._ladder = np.append(hurdles.levels, np.inf).astype(np.float32)
        self._moving = [level.astype(np.float32) for level in hurdles.moving]
        self._rung = np.zeros(films, np.intp)
        self._upcoming = np.full(films, self._ladder[0], np.float32)
        self._ahead = np.ones((len(self._moving), films), bool)
        self._beyond = np.empty(films, bool)
        self._found: list[_Passing] = []
        self._steps: list[int] = []  # of each of those

    def note(self, step: int, begin: int, now: SingleArray, gained: SingleArray) -> None:
        """The films from ``begin`` on have come to ``now`` in this step."""
        these, beyond = slice(begin, begin + now.size), self._beyond[: now.size]
        passed = np.greater_equal(now, self._upcoming[these], out=beyond).nonzero()[0]
        while passed.size:
            films = passed + begin
            rung = self._rung.take(films)
            reached = self._keep(step, films, now.take(passed), gained.take(passed), rung)
            rung = rung + 1
            following = self._ladder.take(rung)
            self._rung[films] = rung
            self._upcoming[films] = following
            passed = passed[reached >= following]
        members = self._members
        for kind, level in enumerate(self._moving):
            ahead = self._ahead[kind, these]
            np.greater_equal(now.reshape(-1, members), level[step], out=beyond.reshape(-1, members))
            passed = np.logical_and(beyond, ahead, out=beyond).nonzero()[0]
            if passed.size:
                ahead[passed] = False
                mark = np.full(passed.size, self._levels.size + kind)
                self._keep(step, passed + begin, now.take(passed), gained.take(passed), mark)

    def all_by(self, start: int, step: int) -> bool:
        """Whether every film of a start has passed every mark; looked at now and then."""
        if step % LOOK:
            return False
        members = self._members
        films = slice(start * members, (start + 1) * members)
        return bool((self._rung[films] == self._levels.size).all() and not self._ahead[:, films].any())

    def times(self) -> FloatArray:
        """When each mark was passed: (levels + moving, starts, members); nan if never. [s]"""
        members, levels = self._members, self._levels.size
        found = np.full((levels + len(self._moving), self._first.size * members), np.nan)
        if self._found:
            film, now, gained, mark = (np.concatenate(column) for column in zip(*self._found, strict=True))
            step = np.repeat(self._steps, [one.film.size for one in self._found])
            for place in range(found.shape[0]):
                these = np.flatnonzero(mark == place)
                row, member = np.divmod(film[these], members)
                share = self._share(place, member, now[these], gained[these], step[these])
                found[place, film[these]] = self._step * (step[these] - self._first[row] + share)
        return found.reshape(found.shape[0], -1, members)

    def _keep(
        self, step: int, film: NDArray[np.intp], now: SingleArray, gained: SingleArray, mark: NDArray[np.intp]
    ) -> SingleArray:
        self._found.append(_Passing(film, now, gained, mark))
        self._steps.append(step)
        return now

    def _share(
        self,
        mark: int,
        member: NDArray[np.intp],
        now: SingleArray,
        gained: SingleArray,
        step: NDArray[np.intp],
    ) -> FloatArray:
        """The part of the step after which the mark was passed. [1]"""
        if mark < self._levels.size:
            short = (now - self._levels[mark]) / np.maximum(gained, 1e-12)
            return np.asarray(np.clip(1.0 - short, 0.0, 1.0))
        level = self._moving[mark - self._levels.size]
        before = level[np.maximum(step - 1, 0), member] - (now - gained)
        after = now - level[step, member]
        return np.where(before > 0.0, before / np.maximum(before + after, 1e-12), 0.0)
