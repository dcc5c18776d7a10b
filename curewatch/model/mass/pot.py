"""The mixed mass in its cup or tray, which heats itself until it kicks.

Theory of operation. Progress and temperature go together: the reaction heats the mass, the mass
gives heat to the air, and warmth speeds the reaction. The mass is cut into shells, from a hot middle
to the cooled surface, however small it is: one temperature for all of it errs late, to the unsafe side. A
cup as high as it is wide has the same volume over surface as a sphere of its diameter, so its shells
are those of that sphere, of a resin that conducts as much less as makes it as much warmer inside as the
cylinder is, on the mean and in the middle.
Trays are slabs open on both faces.

Heat capacity rises with temperature, and the surface cools by its own draught and by radiation. Without both
a peak is nearly that of a mass which loses nothing, whatever its size.

Law kept: the heat made is the heat stored plus the heat given off; no reaction heat, no rise.
"""

import math
from typing import Literal, NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film.milestones import crossing
from curewatch.model.mass.heated_row import Regime, march, reaction
from curewatch.model.mass.runge_kutta import Pair, march_pair, refine
from curewatch.physics.constants import REFERENCE_TEMPERATURE
from curewatch.physics.cure_kinetics import require_temperature
from curewatch.physics.heat_balance import (
    CONVECTION,
    STILL_AIR,
    Chain,
    RisingCapacity,
    adiabatic_rise,
    biot,
    shells,
    transfer_to_air,
    upright_cylinder,
)
from curewatch.units import DAY, HOUR, FloatArray

Shape = Literal["cup", "tray", "roller-tray"]
SHAPES: tuple[Shape, ...] = ("cup", "tray", "roller-tray")
DEPTH: dict[str, float] = {"tray": 0.015, "roller-tray": 0.005}  # m, ASSUMED: usual depth of a poured tray
# Mean above the surface of a sphere that is heated evenly and loses heat evenly, G R^2/15k, over that of the
# cylinder around it, 5 G R^2/54k: both are as warm as -G r^2/6k. tests/published/test_pot_cylinder.py
INWARD = 0.72
CELLS = 8
# Of progress [1] and temperature [K] a step: the little that is left of an inhibitor at the end of induction
# decides when a mass gels, and 0.02 K lost 2 % of a cool tray's heat.
TOLERANCE = (1e-6, 5e-4)
FIRST_STEP = 5.0  # s
WATCHED = DAY  # s that a batch is followed for: in the cold a slow one kicks, and gets hot, after 6 to 20 h
USED = 6 * HOUR  # s after which nobody spreads from a pot: it matters by its heat alone (assumed)
LONGEST = 1920.0  # s, a step of shells while they cool
LEAST_STORED, MOST_STORED, STORED_STEP = -100.0, 900.0, 2.0  # K, the table of what a surface gives off
LONGEST_SPAN, SURFACE_STEP = 250.0, 1.0  # K either side of the air, of the surfaces that it is made from
HOT = (
    333.15  # K, of the peak: from memory, skin burns in seconds, and a cup so warm may run on until it smokes
)


class Body(NamedTuple):
    """The mass as heat sees it."""

    insulated: bool
    loss: float  # h A / (m cp) where one transfer stands for all [1/s]
    biot: float
    conductivity: float  # of the shells [W/(m K)]
    radius: float  # middle to surface [m]
    geometry: int  # 0 slab, 2 sphere
    width: float  # along which its draught rises or spreads [m]


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

    @property
    def kicks(self) -> float:
        """Until it kicks; infinite where it never does, or so late that it only gels, and cool. [s]"""
        return self.pot_life if self.pot_life <= (WATCHED if self.overheats else USED) else math.inf


class _Mass(NamedTuple):
    resin: Resin
    form: Body
    air: float  # [K]
    factor: float
    until: float = math.inf  # conversion to which shells are followed [1]

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


def body(resin: Resin, mass: float, shape: Shape = "cup", *, insulated: bool = False) -> Body:
    """How a mass of this shape gives off its heat. [kg]

    Raises
    ------
    OutOfValidity
        The mass or the shape is none that a pot has.
    """
    if not 1e-4 <= mass <= 50.0:
        raise OutOfValidity("mass in kg", mass, "0.0001..50 kg", "a pot")
    thermal = resin.thermal
    volume = mass / thermal.density
    if shape == "cup":
        width, area = upright_cylinder(volume)
        radius, geometry = width / 2.0, 2
    elif shape in DEPTH:
        width = math.sqrt(volume / DEPTH[shape])
        area = 2.0 * width**2 + 4.0 * width * DEPTH[shape]
        radius, geometry = volume / area, 0
    else:
        raise OutOfValidity("number of the shape", float("nan"), " or ".join(SHAPES), "a pot")
    transfer = 0.0 if insulated else STILL_AIR
    return Body(
        insulated,
        transfer * area / (mass * thermal.heat_capacity),
        biot(transfer, volume / area, thermal.conductivity),
        thermal.conductivity * (INWARD if shape == "cup" else 1.0),
        radius,
        geometry,
        width,
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
    insulated: bool = False,
    grid: bool = True,
    to_gel: bool = False,
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
    insulated : bool
        Nothing is given to the air.
    grid : bool
        Shells; without, one temperature, one heat capacity and one transfer to the air stand for the whole
        mass: late, too hot, and only good for ratios of lives.
    to_gel : bool
        Shells are followed no further than until they gel: for who asks for no peak.

    Returns
    -------
    Pot

    Raises
    ------
    OutOfValidity
        A mass, temperature or shape that the model does not hold for.

    Source
    ------
    m cp(T) dT/dt = m dH da/dt - q(T) A with the kinetics of the film, conduction between shells, and q of
    :func:`curewatch.physics.heat_balance.transfer_to_air`. A cylinder in two dimensions, written
    apart, and the shells themselves by SciPy: tests/published/test_pot_cylinder.py, test_cure_integrated.py
    """
    form = body(resin, mass, shape, insulated=insulated)
    begin = air_temperature if mix_temperature is None else mix_temperature
    require_temperature(np.array([begin, air_temperature]))
    factor = rate_factor * resin.dose_factor(peroxide_percent)
    thing = _Mass(resin, form, air_temperature, factor, resin.milestones.gel if to_gel else math.inf)
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


def _one_temperature(thing: _Mass, start: Pair, duration: float) -> _Track:
    rise, loss, air = thing.rise, thing.form.loss, thing.air
    speed_of = thing.resin.law(thing.factor).at(math.exp)

    def rate(progress: float, lost: float) -> Pair:
        cured = max(progress, 0.0)
        warmth = lost + rise * cured
        return speed_of(min(cured, 1.0), warmth), loss * (air - warmth)

    time, state, slope = march_pair(rate, start, duration, TOLERANCE, FIRST_STEP)
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
    thermal, form, air = thing.resin.thermal, thing.form, thing.air
    warming = 1.0 + thermal.heat_capacity_rise * (air - REFERENCE_TEMPERATURE)
    chain = shells(
        form.radius,
        CELLS,
        form.geometry,
        heat_capacity=thermal.density * thermal.heat_capacity * warming,
        conductivity=form.conductivity,
        transfer=0.0 if form.insulated else STILL_AIR,
    )
    capacity = RisingCapacity.of(air, thermal.heat_capacity_rise / warming)
    rise, kicked = thing.rise / warming, thing.resin.milestones.gel
    reacting = reaction(thing.resin, thing.factor, rise)._replace(
        capacity=capacity, besides=_Surface(chain, form, capacity), gel=kicked, longest=LONGEST
    )
    around, regime = np.array([air, air]), Regime(reacting, chain, CELLS)
    state = (np.full(CELLS, start[0]), np.full(CELLS, start[1]))
    slab = march(lambda *_: regime, state, lambda _: around, (0.0, duration), thing.until)
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


class _Surface:
    """What moves beyond the chain, which carries what is stored as if it were the temperature.

    The chain has the air's heat capacity and one transfer.
    """

    def __init__(self, chain: Chain, form: Body, capacity: RisingCapacity) -> None:
        self._capacity, self._air = capacity, float(capacity.anchor)
        between = np.diag(chain.link, 1) + np.diag(chain.link, -1)
        between -= np.diag(between.sum(axis=1))
        self._between = (between / chain.capacity[:, None]).T.copy()
        self._beyond = self._tabulated(chain, form).tolist()  # by what the last shell has stored [K/s]

    def _tabulated(self, chain: Chain, form: Body) -> FloatArray:
        """What leaves the last shell beyond the chain."""
        stored = self._air + np.arange(LEAST_STORED, MOST_STORED, STORED_STEP)
        if form.insulated:
            return np.zeros_like(stored)
        warmer = np.arange(-LONGEST_SPAN, LONGEST_SPAN, SURFACE_STEP)
        given = warmer * transfer_to_air(
            warmer, np.full_like(warmer, self._air), CONVECTION / form.width**0.25
        )
        # Through half a shell.
        inside = self._air + warmer + given * form.radius / (2.0 * CELLS * form.conductivity)
        leaves = np.interp(stored, self._capacity.stored(inside), given) * form.radius**form.geometry
        return np.asarray((chain.ends[1] * (stored - self._air) - leaves) / chain.capacity[-1])

    def __call__(self, stored: FloatArray, temperature: FloatArray) -> FloatArray:
        """[K, K] -> [K/s]"""
        found = (temperature - stored).dot(self._between)
        place = (stored.item(-1) - self._air - LEAST_STORED) / STORED_STEP
        index = min(max(int(place), 0), len(self._beyond) - 2)
        here, there = self._beyond[index], self._beyond[index + 1]
        found[-1] += here + (place - index) * (there - here)
        return np.asarray(found)
