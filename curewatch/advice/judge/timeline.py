"""The moments that follow from a start, each with its band over the paths and the lot."""

from typing import NamedTuple

import numpy as np

from curewatch.advice.judge.answer import Moment
from curewatch.advice.judge.batches import SHARE
from curewatch.advice.judge.course import Course
from curewatch.materials.resin import Resin
from curewatch.model.film.lots import EARLY, LATE, MEDIAN, rate_factor_at
from curewatch.model.mass.pot import WATCHED, Pot, Shape, pot
from curewatch.units import FloatArray

SANDING = "before you sand: P3 filter, gloves, extraction; dust of green resin can cause an allergy for life"
WET_ON_WET = "before its early end the next ply may go on wet on wet; every ply adds heat"


class PotBatch(NamedTuple):
    """One mixed batch in one pot."""

    resin: Resin
    mass: float  # [kg]
    peroxide_percent: float | None = None
    shape: Shape = "cup"


class PotLives(NamedTuple):
    """How long a batch lasts in its pot."""

    usual: Pot
    early: float  # until a fast lot kicks [s]
    late: float  # until a slow one does [s]

    @property
    def kicks_early(self) -> float:
        """Until a fast lot kicks, never after the usual one; infinite where that never does. [s]"""
        return min(self.usual.kicks, self.early) if np.isfinite(self.usual.kicks) else np.inf


def timeline(seen: Course, resin: Resin) -> tuple[Moment, ...]:
    """The moments of the first start of a course, in the order they come."""
    tacky = resin.surface.air_inhibited and not resin.surface.wax
    abrade = "waxed: no window, abrade before any next layer" if resin.surface.wax else ""
    opens, closes = seen.recoat_from[0], seen.laminate_before[0]
    if resin.surface.wax:
        opens = closes = np.full(opens.shape, np.nan)
    start = float(seen.start[0])
    return (
        moment("working-time", "working time ends", start, seen.working_time[0]),
        moment("laminate-from", "may laminate again from", start, opens, abrade),
        moment("gel", "gel", start, seen.gel[0], WET_ON_WET),
        moment("laminate-before", "laminate again before", start, closes, abrade),
        moment(
            "tack-free",
            "cured, its face still tacky" if tacky else "tack-free",
            start,
            seen.set[0],
            "laminating resin without wax: its face stays tacky" if tacky else "",
        ),
        moment("firm", "firm: handle it, do not sand", start, seen.firm[0], SANDING),
        moment("ready-to-sand", "ready to sand", start, seen.ready_to_sand[0]),
    )


def moment(name: str, title: str, start: float, after: FloatArray, note: str = "") -> Moment:
    """Early, likely and late of one moment over the paths; where it does not come, it is late for ever.

    ``start`` [s], ``after`` (members,) [s].
    """
    ordered = np.sort(np.nan_to_num(after, nan=np.inf))
    early, likely, late = (
        _stamp(start, float(ordered[min(ordered.size - 1, int(share * ordered.size))]))
        for share in (EARLY, MEDIAN, LATE)
    )
    return Moment(name, title, early, likely, late, float(np.mean(np.isfinite(after))), note)


def _stamp(start: float, after: float) -> float | None:
    return start + after if np.isfinite(after) else None


def pot_lives(batch: PotBatch, air_temperature: float) -> PotLives:
    """How long a batch lasts in its pot, of a fast, the usual and a slow lot. [K]

    The usual lot is followed with its hot middle; how much sooner or later a fast or slow lot is comes
    from the pot as one temperature, which is some thirty times cheaper and errs alike for all three.
    """
    usual = pot(
        batch.resin,
        batch.mass,
        air_temperature,
        shape=batch.shape,
        duration=WATCHED,
        peroxide_percent=batch.peroxide_percent,
    )
    fast, middle, slow = (
        pot(
            batch.resin,
            batch.mass,
            air_temperature,
            shape=batch.shape,
            duration=WATCHED,
            rate_factor=rate_factor_at(batch.resin, share),
            peroxide_percent=batch.peroxide_percent,
            grid=False,
        ).pot_life
        for share in (LATE, MEDIAN, EARLY)
    )
    return PotLives(usual, usual.pot_life * (fast / middle), usual.pot_life * (slow / middle))


def pot_moments(batch: PotBatch, start: float, air_temperature: float) -> tuple[Moment, ...]:
    """When a batch left in its pot kicks, from a fast lot to a slow one, and when it should be used up.

    ``start`` [s], ``air_temperature`` [K].
    """
    found = pot_lives(batch, air_temperature)
    lives = (found.early, found.usual.pot_life, found.late)
    early, likely, late = (_stamp(start, life) for life in lives)
    used_early, used_likely, used_late = (_stamp(start, SHARE * life) for life in lives)
    peak = "it can burn and smoke: never cap it" if found.usual.overheats else ""
    return (
        Moment("use-up", "batch used up by", used_early, used_likely, used_late),
        Moment("kicks", "batch kicks if left in its pot", early, likely, late, note=peak),
    )
