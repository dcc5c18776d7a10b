"""When a steady film or a pot passes a conversion, for many variants of a resin at once.

Theory of operation. At one temperature the time to a conversion is an integral over conversion,
so no step has to be chosen: Gauss–Legendre points do. In a pot the temperature follows along the
same way: conversion is the path, temperature and time are what is gathered on it. One temperature
stands for the whole mass; a caller who needs the shells of :mod:`curewatch.model.mass.pot` corrects for
them. Where glass all but stops the cure the time becomes very long but stays a number, which is what
a fit needs; it is cut at ten years.
"""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from curewatch.materials.resin import Resin
from curewatch.model.film.milestones import closing_conversion, glass_reached
from curewatch.physics import glass_transition as glass
from curewatch.physics.cure_kinetics import RateLaw
from curewatch.units import FloatArray

POINTS = 64
STEPS = 20  # of a pot, within 4e-5 of its time; more where heat leaves fast against the cure
MOST_STEPS = 1500
FIRST_SHARE, GROWING = 1e-4, 90  # of a stretch of a schedule
LONGEST = 10 * 365 * 86400.0  # s
POINT, WEIGHT = (part.astype(float) for part in np.polynomial.legendre.leggauss(POINTS))
POINT, WEIGHT = 0.5 * (POINT + 1.0), 0.5 * WEIGHT


class Variants:
    """The rate law of several resins as columns (variants, 1); factor is the dose or the lot."""

    def __init__(self, resins: list[Resin], factor: float = 1.0) -> None:
        def column(values: Iterable[float]) -> FloatArray:
            return np.array(list(values), dtype=float)[:, None]

        laws = zip(*(each.law(factor) for each in resins), strict=True)
        self.law = RateLaw(*map(column, laws))
        self.rate = self.law.at(np.exp)  # (variants, points) or (variants, 1) [1/s]
        self.inhibitor = column(each.kinetics.inhibitor for each in resins)
        self.rise = column(each.thermal.reaction_heat / each.thermal.heat_capacity for each in resins)

    def still(self, temperature: float) -> Callable[[FloatArray], FloatArray]:
        """The rate at a temperature that stays: of (variants, 1), as they are given. [K, 1 -> 1/s]"""
        k1, k2 = self.law.constants(temperature)
        kernel, kelvin = self.law.kernel(np.exp), np.asarray(temperature)
        return lambda conversion: np.asarray(kernel(conversion, k1, k2, kelvin))

    def induction(self, temperature: float) -> FloatArray:
        """Until the inhibitor is used up. (variants,) [s]"""
        start = self.rate(np.zeros_like(self.inhibitor), temperature)
        return np.asarray((self.inhibitor / start)[:, 0], dtype=float)


def film_time(
    resins: list[Resin], temperature: float, conversion: FloatArray, factor: float = 1.0
) -> FloatArray:
    """Time of a film at one temperature to a conversion of each variant. (variants,) [s]

    Source
    ------
    t = integral of da over the rate; a = a_end u^2 takes the root out of a^m at the start.
    tests/unit/test_quick_times.py holds it against the film's own integrator.
    """
    variants, end = Variants(resins, factor), np.minimum(conversion, 0.999)[:, None]
    slowness = 2.0 * end * POINT / np.maximum(variants.rate(end * POINT**2, temperature), 1e-30)
    return np.asarray(np.minimum(variants.induction(temperature) + slowness @ WEIGHT, LONGEST), dtype=float)


def pot_time(
    resins: list[Resin], air: float, loss: FloatArray, conversion: FloatArray, factor: float = 1.0
) -> FloatArray:
    """Time of a self-heating mass to a conversion of each variant, mixed at the air's temperature.

    Parameters
    ----------
    resins : list
    air : float
        [K]
    loss : (variants,)
        h A / (m cp) of :func:`curewatch.model.mass.pot.body`. [1/s]
    conversion : (variants,)
        [1]

    Returns
    -------
    (variants,) [s]
    """
    variants, end = Variants(resins, factor), np.minimum(conversion, 0.999)[:, None]
    leaving = loss[:, None]
    slowest = float(np.max(leaving / variants.rate(np.zeros_like(end), air) * end))
    steps = int(min(MOST_STEPS, max(STEPS, slowest)))

    def slope(u: float, warmth: FloatArray) -> tuple[FloatArray, FloatArray]:
        slowness = 2.0 * end * u / np.maximum(variants.rate(end * u * u, warmth), 1e-30)
        return 2.0 * end * u * variants.rise - leaving * (warmth - air) * slowness, slowness

    warmth, time, h = np.full_like(end, air), np.zeros_like(end), 1.0 / steps
    for step in range(steps):
        u = step * h
        t1, s1 = slope(u, warmth)
        t2, s2 = slope(u + 0.5 * h, warmth + 0.5 * h * t1)
        t3, s3 = slope(u + 0.5 * h, warmth + 0.5 * h * t2)
        t4, s4 = slope(u + h, warmth + h * t3)
        warmth = warmth + h / 6.0 * (t1 + 2.0 * (t2 + t3) + t4)
        time = time + h / 6.0 * (s1 + 2.0 * (s2 + s3) + s4)
    return np.asarray(np.minimum(variants.induction(air) + time[:, 0], LONGEST), dtype=float)


def glass_after(resins: list[Resin], schedule: Sequence[tuple[float, float]]) -> FloatArray:
    """Glass transition of each variant after (duration, temperature), (duration, temperature), …

    Each stretch is taken in steps that grow with the time since it began: near its end a film that
    turns to glass creeps with the logarithm of time. [s, K] -> (variants,) [K]
    """
    variants = Variants(resins)
    conversion = np.zeros_like(variants.inhibitor)
    waited = variants.induction(schedule[0][1])[:, None]
    for duration, temperature in schedule:
        rate = variants.still(temperature)
        left = np.maximum(duration - waited, 1.0)
        edges = left * np.concatenate([[0.0], np.geomspace(FIRST_SHARE, 1.0, GROWING)])
        for step in np.diff(edges, axis=1).T[:, :, None]:
            f1 = rate(conversion)
            f2 = rate(np.minimum(conversion + 0.5 * step * f1, 1.0))
            f3 = rate(np.minimum(conversion + 0.5 * step * f2, 1.0))
            f4 = rate(np.minimum(conversion + step * f3, 1.0))
            conversion = np.minimum(conversion + step / 6.0 * (f1 + 2.0 * (f2 + f3) + f4), 1.0)
        waited = np.zeros_like(waited)
    transition = glass.glass_transition(conversion, *variants.law[-3:])
    return np.asarray(transition[:, 0], dtype=float)


def threshold(resins: list[Resin], mark: str, temperature: float) -> FloatArray:
    """Conversion of a milestone at a temperature, for each variant. (variants,) [1]"""
    marks = [each.milestones for each in resins]
    if mark == "working_time":
        return _open(resins)
    if mark == "firm":
        networks = [each.network for each in resins]
        glassy = [float(glass.conversion_at(temperature, n.uncured, n.full, n.shape)) for n in networks]
        return np.asarray(np.maximum([each.tack_free for each in marks], glassy), dtype=float)
    if mark == "recoat_until":
        return _closing(resins, temperature)
    return np.array([float(getattr(each, mark)) for each in marks])


def _closing(resins: list[Resin], temperature: float) -> FloatArray:
    """Where a film takes no layer any more, as in :mod:`curewatch.model.film.recoat_window`, blush apart."""
    at = np.asarray(temperature)
    return np.array([float(min(closing_conversion(each, at), glass_reached(each, at))) for each in resins])


def _open(resins: list[Resin]) -> FloatArray:
    """As ``Thresholds.open``, by bisection for all at once."""
    gel, a, b, ratio = (
        np.array([getattr(each.milestones, name) for each in resins])
        for name in ("gel", "viscosity_a", "viscosity_b", "open_viscosity")
    )
    low, high = np.zeros_like(gel), gel.copy()
    for _ in range(40):
        middle = 0.5 * (low + high)
        with np.errstate(divide="ignore"):
            thin = (gel / np.maximum(gel - middle, 0.0)) ** (a + b * middle) < ratio
        low, high = np.where(thin, middle, low), np.where(thin, high, middle)
    return np.asarray(0.5 * (low + high), dtype=float)
