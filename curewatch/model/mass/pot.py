"""The mixed mass in its cup or tray, which heats itself until it kicks.

Theory of operation. Progress and temperature go together: the reaction heats the mass, the mass
gives heat to the air, and warmth speeds the reaction. The mass is cut into shells, from a hot middle
to the cooled surface, however small it is: one temperature for all of it errs late, to the unsafe side. A
cup as high as it is wide has the same volume over surface as a sphere of its diameter, so its shells
are those of that sphere, of a resin that conducts as much less as makes the middle as hot as the cylinder's.
Trays are slabs open on both faces.

Law kept: the heat made is the heat stored plus the heat given off; no reaction heat, no rise.
"""

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.milestones import crossing
from curewatch.model.mass.heated_row import march, reaction
from curewatch.model.mass.runge_kutta import Accepted, Pair, march_members, march_pair, refine
from curewatch.physics.cure_kinetics import require_temperature
from curewatch.physics.heat_balance import STILL_AIR, adiabatic_rise, biot, shells, upright_cylinder
from curewatch.units import HOUR, FloatArray

Shape = Literal["cup", "tray", "roller-tray"]
SHAPES: tuple[Shape, ...] = ("cup", "tray", "roller-tray")
DEPTH: dict[str, float] = {"tray": 0.015, "roller-tray": 0.005}  # m, ASSUMED: usual depth of a poured tray
# Middle of an evenly heated sphere over that of the cylinder around it, R^2/6 over 0.2007 R^2: by the series
# solution of the cylinder. tests/published/test_pot_cylinder.py
MIDDLE = 0.83
CELLS = 8
TOLERANCE = (2e-5, 5e-4)  # of progress [1] and temperature [K] a step; 0.02 K lost 2 % of a cool tray's heat
TOLERANCE_INHIBITED = (1e-6, 5e-4)  # the little that is left at the end of induction decides when it gels
FIRST_STEP = 5.0  # s
HOT = (
    333.15  # K, of the peak: from memory, skin burns in seconds, and a cup so warm may run on until it smokes
)


class Body(NamedTuple):
    """The mass as heat sees it."""

    transfer: float  # to the air [W/(m2 K)]
    loss: float  # h A / (m cp) [1/s]
    biot: float
    conductivity: float  # of the shells [W/(m K)]
    radius: float  # middle to surface [m]
    geometry: int  # 0 slab, 2 sphere


class Pot(NamedTuple):
    """What a mixed mass does; times are nan where it does not come to that within the duration."""

    time: FloatArray  # (n,) [s]
    temperature: FloatArray  # (n,), mean of the mass [K]
    middle: FloatArray  # (n,), where a thermometer in the cup sits [K]
    conversion: FloatArray  # (n,), mean of the mass [1]
    working_life: float  # until it is twice as thick [s]
    pot_life: float  # until it gels where it is furthest: it has kicked [s]
    peak_temperature: float  # mean of the mass [K]
    peak_time: float  # [s]
    biot: float

    @property
    def overheats(self) -> bool:
        """Whether its heat is a danger: the one threshold of every caution about a pot."""
        return self.peak_temperature >= HOT


class Pots(NamedTuple):
    """The same for many pots at once, shape (members,)."""

    working_life: FloatArray  # [s]
    pot_life: FloatArray  # [s]
    peak_temperature: FloatArray  # [K]


class _Mass(NamedTuple):
    resin: Resin
    form: Body
    air: float  # [K]
    factor: float

    @property
    def rise(self) -> float:
        """Adiabatic rise of full conversion. [K]"""
        return adiabatic_rise(self.resin.thermal.reaction_heat, self.resin.thermal.heat_capacity)


class _Track(NamedTuple):
    time: FloatArray
    mean: FloatArray  # temperature of the whole mass [K]
    middle: FloatArray  # temperature in the middle [K]
    conversion: FloatArray  # of the whole mass [1]
    working_life: float  # [s]
    pot_life: float  # [s]


def body(resin: Resin, mass: float, shape: Shape = "cup", transfer: float = STILL_AIR) -> Body:
    """How a mass of this shape gives off its heat. [kg, W/(m2 K)]"""
    if not 1e-4 <= mass <= 50.0:
        raise OutOfValidity("mass in kg", mass, "0.0001..50 kg", "a pot")
    thermal = resin.thermal
    volume = mass / thermal.density
    if shape == "cup":
        diameter, area = upright_cylinder(volume)
        radius, geometry = diameter / 2.0, 2
    elif shape in DEPTH:
        side = math.sqrt(volume / DEPTH[shape])
        area = 2.0 * side**2 + 4.0 * side * DEPTH[shape]
        radius, geometry = volume / area, 0
    else:
        raise OutOfValidity("number of the shape", float("nan"), " or ".join(SHAPES), "a pot")
    return Body(
        transfer,
        transfer * area / (mass * thermal.heat_capacity),
        biot(transfer, volume / area, thermal.conductivity),
        thermal.conductivity * (MIDDLE if shape == "cup" else 1.0),
        radius,
        geometry,
    )


def pot(
    resin: Resin,
    mass: float,
    air_temperature: float,
    *,
    shape: Shape = "cup",
    mix_temperature: float | None = None,
    duration: float = 6 * HOUR,
    rate_factor: float = 1.0,
    peroxide_percent: float | None = None,
    transfer: float = STILL_AIR,
    grid: bool = True,
) -> Pot:
    """Temperature and cure of one mixed mass.

    Parameters
    ----------
    resin : Resin
    mass : float
        Mixed. [kg]
    air_temperature : float
        [K]
    shape : "cup", "tray" or "roller-tray"
    mix_temperature : float, optional
        Of the mass at the start; that of the air if not given. [K]
    duration : float
        [s]
    rate_factor, peroxide_percent
        As for a film.
    transfer : float
        To the air; 0 is adiabatic. [W/(m2 K)]
    grid : bool
        Shells; without, one temperature stands for the whole mass: late, and only good for ratios.

    Returns
    -------
    Pot

    Raises
    ------
    OutOfValidity
        A mass, temperature or shape that the model does not hold for.

    Source
    ------
    m cp dT/dt = m dH da/dt - h A (T - Tair) with the kinetics of the film;
    tests/published/tables/pot_and_film.csv, and solve_ivp at rtol 1e-10 in tests/unit/test_pot.py
    """
    form = body(resin, mass, shape, transfer)
    begin = air_temperature if mix_temperature is None else mix_temperature
    require_temperature(np.array([begin, air_temperature]))
    factor = rate_factor * resin.dose_factor(peroxide_percent)
    thing = _Mass(resin, form, air_temperature, factor)
    track = (_shells if grid else _one_temperature)(thing, (-resin.kinetics.inhibitor, begin), duration)
    peak = int(np.argmax(track.mean))
    return Pot(
        time=track.time,
        temperature=track.mean,
        middle=track.middle,
        conversion=track.conversion,
        working_life=track.working_life,
        pot_life=track.pot_life,
        peak_temperature=float(track.mean[peak]),
        peak_time=float(track.time[peak]),
        biot=form.biot,
    )


def pots(
    resin: Resin,
    mass: ArrayLike,
    air_temperature: ArrayLike,
    *,
    shape: Shape = "cup",
    duration: float = 6 * HOUR,
    rate_factor: ArrayLike = 1.0,
    peroxide_percent: float | None = None,
    transfer: float = STILL_AIR,
) -> Pots:
    """Many pots at once, each as one temperature: for scans over mass, air and lot.

    Parameters
    ----------
    mass, air_temperature, rate_factor : array_like, broadcast to (members,)
        [kg], [K], [1]
    others
        As for :func:`pot`.
    """
    masses, air, factor = np.broadcast_arrays(
        np.atleast_1d(np.asarray(mass, float)),
        np.asarray(air_temperature, float),
        np.asarray(rate_factor, float),
    )
    require_temperature(air)
    factor = factor * resin.dose_factor(peroxide_percent)
    loss = np.array([body(resin, float(each), shape, transfer).loss for each in masses])
    rise = adiabatic_rise(resin.thermal.reaction_heat, resin.thermal.heat_capacity)
    law = resin.law().at(np.exp)

    def rate(state: FloatArray, alive: NDArray[np.intp]) -> FloatArray:
        warmth = state[1] + rise * np.maximum(state[0], 0.0)
        return np.stack(
            [factor[alive] * law(np.clip(state[0], 0.0, 1.0), warmth), loss[alive] * (air[alive] - warmth)]
        )

    start = np.stack([np.full(air.shape, -resin.kinetics.inhibitor), air])
    marks = np.array([resin.milestones.open, resin.milestones.gel])
    times, peak = np.full((2, air.size), np.nan), air.copy()
    for step in march_members(rate, start, duration, _tolerance(resin), FIRST_STEP):
        for mark, threshold in enumerate(marks):
            passed = (step.before[0] < threshold) & (step.after[0] >= threshold)
            if passed.any():
                share_of_step = _share(_inner(step, passed)[0], threshold)
                times[mark, step.member[passed]] = step.begin[passed] + step.length[passed] * share_of_step
        slopes = step.slope_before, step.slope_after
        rising, falling = (each[1] + rise * each[0] > 0.0 for each in slopes)
        turned = rising & ~falling
        if turned.any():
            progress, lost = _inner(step, turned)
            warmest = (lost + rise * np.maximum(progress, 0.0)).max(axis=0)
            peak[step.member[turned]] = np.maximum(peak[step.member[turned]], warmest)
    return Pots(times[0], times[1], peak)


def _tolerance(resin: Resin) -> Pair:
    return TOLERANCE_INHIBITED if resin.kinetics.inhibitor else TOLERANCE


def _inner(step: Accepted, chosen: NDArray[np.bool_]) -> FloatArray:
    """Nine points within the step of each chosen member: (2, 9, chosen)."""
    ends = (step.before, step.after, step.slope_before, step.slope_after)
    share = np.linspace(0.0, 1.0, 9)[:, None]
    return refine(share, step.length[chosen], tuple(end[:, None, chosen] for end in ends))


def _share(inner: FloatArray, threshold: float) -> FloatArray:
    """Share of a step at which each column of nine points passes a threshold."""
    index = np.argmax(inner >= threshold, axis=0)
    column = np.arange(inner.shape[1])
    low, high = inner[index - 1, column], inner[index, column]
    return np.asarray((index - 1 + (threshold - low) / (high - low)) / (inner.shape[0] - 1), dtype=float)


def _one_temperature(thing: _Mass, start: Pair, duration: float) -> _Track:
    rise, loss, air = thing.rise, thing.form.loss, thing.air
    speed_of = thing.resin.law(thing.factor).at(math.exp)

    def rate(progress: float, lost: float) -> Pair:
        warmth = lost + rise * progress if progress > 0.0 else lost
        return speed_of(min(max(progress, 0.0), 1.0), warmth), loss * (air - warmth)

    time, state, slope = march_pair(rate, start, duration, _tolerance(thing.resin), FIRST_STEP)
    share = np.arange(8)[:, None] / 8.0
    length = np.diff(time)
    ends = (state[:, None, :-1], state[:, None, 1:], slope[:, None, :-1], slope[:, None, 1:])
    fine = refine(share, length, ends)
    progress, lost = (np.append(fine[part].T.ravel(), state[part, -1]) for part in (0, 1))
    conversion = np.maximum(progress, 0.0)
    temperature = lost + rise * conversion
    moments = np.append((time[:-1] + share * length).T.ravel(), time[-1])
    marks = (crossing(moments, conversion, mark) for mark in _marks(thing))
    return _Track(moments, temperature, temperature, conversion, *marks)


def _shells(thing: _Mass, start: Pair, duration: float) -> _Track:
    thermal, form = thing.resin.thermal, thing.form
    chain = shells(
        form.radius,
        CELLS,
        form.geometry,
        heat_capacity=thermal.density * thermal.heat_capacity,
        conductivity=form.conductivity,
        transfer=form.transfer,
    )
    around = np.array([thing.air, thing.air])
    state = (np.full(CELLS, start[0]), np.full(CELLS, start[1]))
    slab = march(
        reaction(thing.resin, thing.factor, thing.rise), chain, state, lambda _: around, (0.0, duration)
    )
    share, conversion = chain.capacity / chain.capacity.sum(), np.maximum(slab.progress, 0.0)
    return _Track(
        slab.time,
        slab.temperature @ share,
        slab.temperature[:, 0],
        conversion @ share,
        *(slab.passed(mark, np.max) for mark in _marks(thing)),
    )


def _marks(thing: _Mass) -> tuple[float, float]:
    """Conversion at the end of working life and of pot life. [1]"""
    return thing.resin.milestones.open, thing.resin.milestones.gel
