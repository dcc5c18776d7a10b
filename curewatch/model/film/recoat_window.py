"""The span in which a next layer still bonds chemically; what ends it, and what to do after.

Wet on wet comes first: the next ply may go on at once, and until gel. From the opening on a layer carries
the next without sliding. It closes at whichever comes first of: the conversion from which too few groups
are left, the film turning to glass, blush that must be washed off. Conversions of the window are shares
of what the film can reach at its temperature, so that there is a best time in the cold too; none closes
before gel. A window that the
maker's sheet states replaces the first two: it is carried to other temperatures as an equivalent
age, the time at the sheet's temperature that would have done as much. A polyester without wax keeps
a tacky face and so stays open by that age alone; with wax there is no window: it is abraded.

After it closed nothing is lost: wash, abrade, and the bond is a mechanical one. Peel ply that is
pulled off still leaves a face to be abraded.
"""

from typing import NamedTuple

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.model.film import blush
from curewatch.model.film.film import Cure
from curewatch.model.film.milestones import age_rate, closing_conversion, crossings, glass_reached
from curewatch.model.film.running_sum import filled, running
from curewatch.units import FloatArray

DUST = "wear a P3 filter and gloves, "
WASH = "wash off the blush with water first, "


class RecoatWindow(NamedTuple):
    """Seconds from mixing, of one film or of each member; nan where it does not come to that."""

    wet_until: FloatArray  # gel: until then the next ply goes on wet on wet
    opens: FloatArray
    best_from: FloatArray
    best_until: FloatArray
    closes: FloatArray
    cause: str  # what closes most members, conversion, glass, blush, sheet or wax; empty if most stay open
    afterwards: str  # what to do once it is closed


def recoat_window(
    resin: Resin, cure: Cure, blush_rate: FloatArray | None = None, sooner: FloatArray | float = 1.0
) -> RecoatWindow:
    """When a next layer bonds chemically to this film.

    Parameters
    ----------
    resin : Resin
    cure : Cure
        (n,) or (members, n), from mixing.
    blush_rate : ndarray, optional
        Of :func:`curewatch.model.film.blush.rate` over ``cure.time``, where the air is known. [1]
    sooner : ndarray or float, optional
        How many times as fast it cures in damp air (:mod:`curewatch.model.film.damp_air`): its close comes
        so much sooner, unless blush closes it. [1]

    Returns
    -------
    RecoatWindow

    Source
    ------
    Bond best at conversion 0.70 to 0.80 and falling beyond: Moosburger-Will 2015, a hot-cure system, which
    reaches all there is (shape, not absolute); as shares of what is reached: ours. Laminating polyester
    open a day or more: common practice. Laws in tests/unit/test_recoat_window.py
    """
    time = cure.time
    opens = crossings(time, cure.conversion, resin.milestones.recoat_from)
    ends = {
        "conversion": crossings(time, cure.conversion - closing_conversion(resin, cure.temperature), 0.0),
        "glass": crossings(time, cure.conversion - glass_reached(resin, cure.temperature), 0.0),
        "blush": _blushed(resin, time, blush_rate, cure),
    }
    if resin.surface.wax:
        ends = {"wax": opens}
    elif resin.bond.sheet_closes is not None:
        total = np.atleast_2d(running(time, stated_age_rate(resin, cure.temperature)))
        aged = filled(time, total, np.full(total.shape[:1], resin.bond.sheet_closes))
        ends = {"sheet": aged.reshape(np.shape(opens)), "blush": ends["blush"]}
    damp: dict[str, FloatArray] = {
        name: at if name in {"blush", "wax"} else np.asarray(at / sooner) for name, at in ends.items()
    }
    closes, cause = _first(damp)
    reached = cure.conversion / resin.law().reachable(cure.temperature)
    best_from, best_until = (
        crossings(time, reached, share) for share in (resin.bond.best_from, resin.bond.best_until)
    )
    lost = ~(best_from < closes) & ~np.isnan(closes)
    return RecoatWindow(
        wet_until=crossings(time, cure.conversion, resin.milestones.gel),
        opens=opens,
        best_from=np.where(lost, np.nan, best_from),
        best_until=np.where(lost, np.nan, np.fmin(best_until, closes)),
        closes=closes,
        cause=cause,
        afterwards=_after(resin, cause),
    )


def _after(resin: Resin, cause: str) -> str:
    """What to do once it is closed: only a resin cured by an amine has blush to wash off."""
    if not cause:
        return "still open at the end of what was looked at"
    if cause == "wax":
        return DUST + "abrade the wax off, wipe with what the maker names: the next layer holds mechanically"
    wash = WASH if resin.blush.amine_factor else ""
    return DUST + wash + "abrade, wipe: the next layer holds mechanically"


def stated_age_rate(resin: Resin, temperature: FloatArray) -> FloatArray:
    """How fast a film ages at this temperature, against that of the sheet's statement. [K] -> [1]

    Any shape (...).
    """
    stated = resin.bond.sheet_temperature
    return age_rate(resin, temperature, blush.REFERENCE if stated is None else stated)


def _blushed(resin: Resin, time: FloatArray, blush_rate: FloatArray | None, cure: Cure) -> FloatArray:
    """When so much has gathered that it must be washed off."""
    if blush_rate is None or not resin.blush.amine_factor:
        return np.full(cure.conversion.shape[:-1], np.nan)
    gathering = np.broadcast_to(blush_rate, cure.conversion.shape) * blush.amine_left(cure.conversion)
    total = np.atleast_2d(running(time, gathering))
    found = filled(time, total, np.full(total.shape[:1], resin.blush.wash_from))
    return found.reshape(cure.conversion.shape[:-1])


def _first(ends: dict[str, FloatArray]) -> tuple[FloatArray, str]:
    """The earliest end of each member, and the cause of the most."""
    names = list(ends)
    moments = np.stack([np.nan_to_num(ends[name], nan=np.inf) for name in names])
    earliest = moments.min(axis=0)
    chosen = np.where(np.isfinite(earliest), moments.argmin(axis=0), len(names))
    cause = int(np.bincount(np.atleast_1d(chosen), minlength=len(names) + 1).argmax())
    return np.where(np.isfinite(earliest), earliest, np.nan), [*names, ""][cause]
