"""A resin system: what the model must know of a mix, each number with its origin.

All values are SI. A resin is a frozen value; a fit or a learned lot makes a new one that names its
parent. ``kinetics`` describes one law for film, pot and laminate alike.

Polyesters and vinyl esters start with an inhibitor that eats the first radicals. It is written as
the conversion those radicals would have made, so that one number, the *progress* of the cure, runs
from ``-inhibitor`` through 0 (inhibitor used up) to 1; conversion is progress where positive.
"""

from collections.abc import Mapping
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct, field
from msgspec.structs import replace

from curewatch.errors import ConfigurationError, OutOfValidity
from curewatch.materials.chemistry import Chemistry

if TYPE_CHECKING:
    from curewatch.physics.cure_kinetics import RateLaw


class Origin(NamedTuple):
    """Where a number comes from."""

    tag: str  # published | open data | computed | common practice | from memory | assumed | sheet | learned
    source: str
    spread: float | None = None  # one standard deviation, in the unit of the file
    spread_unit: str = ""


class DoseOutOfRange(OutOfValidity):
    """A dose of peroxide or accelerator with which the resin must not be mixed."""

    def __init__(self, what: str, percent: float, allowed: tuple[float, float], resin: str) -> None:
        low, high = allowed
        super().__init__(what, percent, f"{low:g}..{high:g} %", resin)
        trouble = "no dose"
        if percent < low:
            trouble = "too little: it may stay soft for good"
        elif percent > high:
            trouble = "too much: it may never cure through, and it heats and shrinks more"
        told = f"{what} of {percent:g} % is {trouble}. Allowed for {resin}: {low:g} to {high:g} %"
        self.args = (f"{told}. Choose a dose in that range, or warm or cool the work instead",)


class Kinetics(Struct, frozen=True):
    """Constants of the rate law (:class:`curewatch.physics.cure_kinetics.RateLaw`) and the inhibitor."""

    k1: float  # [1/s]
    k2: float  # [1/s]
    energy_1: float  # [J/mol]
    energy_2: float  # [J/mol]
    m: float
    n: float
    diffusion: float  # kd0: of diffusion where the glass transition is as warm as the film [1/s]
    inhibitor: float = 0.0  # conversion that the inhibitor's share of radicals would have made [1]

    def faster(self, factor: float) -> "Kinetics":
        """All rates so many times as fast: a lot or a dose is as much faster in its glass. [1]"""
        rates = (factor * each for each in (self.k1, self.k2, self.diffusion))
        return replace(self, **dict(zip(("k1", "k2", "diffusion"), rates, strict=True)))


class Network(Struct, frozen=True):
    """Glass transition against conversion (DiBenedetto)."""

    uncured: float  # [K]
    full: float  # [K]
    shape: float  # lambda [1]
    stated: float | None = None  # the highest that the maker's sheet states [K]


class Thresholds(Struct, frozen=True):
    """Conversions at which the work changes its nature."""

    gel: float
    recoat_from: float
    tack_free: float
    open_viscosity: float  # working time ends when the viscosity has risen this many times [1]
    viscosity_a: float  # Castro–Macosko A
    viscosity_b: float  # Castro–Macosko B
    sand: float | None = None  # not sanded sooner, by the maker's word or as usual [s]
    sand_temperature: float | None = None  # at this temperature [K]
    touch: float | None = None  # not called tack-free sooner, by the maker's word [s]
    touch_temperature: float | None = None  # at this temperature [K]

    @property
    def open(self) -> float:
        """Conversion at which the working time ends. [1]"""
        from curewatch.physics.gelation import conversion_at_viscosity

        return conversion_at_viscosity(self.open_viscosity, self.gel, self.viscosity_a, self.viscosity_b)


class Thermal(Struct, frozen=True):
    """Heat of the mix."""

    reaction_heat: float  # [J/kg]
    heat_capacity: float  # at 25 degC [J/(kg K)]
    density: float  # [kg/m3]
    conductivity: float  # [W/(m K)]
    heat_capacity_rise: float = 0.0  # of the capacity at 25 degC, for each kelvin [1/K]


class Mix(Struct, frozen=True):
    """How resin and hardener go together."""

    hardener_mass: float  # mass of hardener for one of resin [1]
    resin_density: float  # [kg/m3]
    hardener_density: float  # [kg/m3]
    tolerance: float  # relative error of the ratio that the sheet allows [1]


class Dose(Struct, frozen=True):
    """Peroxide and accelerator, per cent by mass of resin."""

    peroxide_low: float
    peroxide_normal: float
    peroxide_high: float
    peroxide_order: float  # rate ~ peroxide to this power [1]
    cobalt_low: float
    cobalt_normal: float
    cobalt_high: float
    gel_a: float  # of t_gel = a + b/[Co] [s]
    gel_b: float  # [s %]


class DoseUsed(NamedTuple):
    """A dose of peroxide, and whether somebody gave it."""

    peroxide_percent: float | None  # by mass of resin; None where the ratio is fixed
    peroxide_assumed: bool


class BlushNature(Struct, frozen=True):
    """How prone the hardener is to amine blush."""

    amine_factor: float  # 1 for an ordinary aliphatic amine, 0 for none [1]
    energy: float  # of carbamation [J/mol]
    peel_ply_from: float  # exposure: time of a fresh mix at 20 degC and 80 % [s]
    wash_from: float  # the same [s]
    rest: float | None = None  # that the sheet asks for after mixing, before it is spread [s]


class Bond(Struct, frozen=True):
    """When a next layer still bonds chemically, in conversion, or as the sheet states it."""

    best_from: float
    best_until: float
    closes: float
    sheet_closes: float | None = None  # stated window from mixing [s]
    sheet_temperature: float | None = None  # at this temperature [K]


class SurfaceNature(Struct, frozen=True):
    """What the free surface does in air."""

    air_inhibited: bool = False  # stays tacky in air unless covered or waxed
    wax: bool = False  # wax floats up: cures tack-free, must be abraded before the next layer


class ResinLimits(Struct, frozen=True):
    """Where the resin may be used at all."""

    lowest_temperature: float  # [K]
    highest_temperature: float  # [K]
    highest_humidity: float  # [1]


class Price(Struct, frozen=True):
    """What the user pays, if they said."""

    per_kilogram: float
    currency: str = ""


class Covariance(Struct, frozen=True):
    """What a fit left uncertain: parameters by dotted key, and their joint covariance.

    Rates (``kinetics.k1`` …), times and ``inhibitor`` vary in natural logarithm; all other
    parameters in their SI unit.
    """

    keys: tuple[str, ...] = ()
    matrix: tuple[tuple[float, ...], ...] = ()


class Resin(Struct, frozen=True):
    """One mix as the model sees it."""

    name: str
    title: str
    chemistry: Chemistry
    note: str
    kinetics: Kinetics
    network: Network
    milestones: Thresholds
    thermal: Thermal
    blush: BlushNature
    bond: Bond
    limits: ResinLimits
    rate_sd: float  # of the lot's rate factor, in natural logarithm [1]
    surface: SurfaceNature = field(default_factory=SurfaceNature)
    mix: Mix | None = None  # where the chemistry has a fixed ratio
    dose: Dose | None = None  # where it is dosed
    price: Price | None = None
    covariance: Covariance = field(default_factory=Covariance)
    parent: str = ""  # the resin this one was fitted or learned from
    version: int = 1
    origins: Mapping[str, Origin] = field(default_factory=dict)  # no part of what it is

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Resin) and _mix(self) == _mix(other)

    def __hash__(self) -> int:
        return hash(_mix(self))

    def law(self, factor: float = 1.0) -> "RateLaw":
        """The rate law of this mix, of a lot or dose that makes it ``factor`` times as fast. [1]"""
        from curewatch.physics.cure_kinetics import RateLaw

        k, network = self.kinetics if factor == 1.0 else self.kinetics.faster(factor), self.network
        return RateLaw(
            k.k1, k.k2, k.energy_1, k.energy_2, k.m, k.n, k.diffusion,
            network.uncured, network.full, network.shape,
        )  # fmt: skip

    def dose_used(self, peroxide_percent: float | None = None) -> DoseUsed:
        """The dose given, or the normal one; None where the ratio is fixed. [per cent by mass of resin]"""
        if self.dose is None:
            return DoseUsed(None, peroxide_assumed=False)
        if peroxide_percent is None:
            return DoseUsed(self.dose.peroxide_normal, peroxide_assumed=True)
        return DoseUsed(peroxide_percent, peroxide_assumed=False)

    def dose_factor(
        self, peroxide_percent: float | None = None, cobalt_percent: float | None = None
    ) -> float:
        """How much faster this dose cures than the normal one. [per cent by mass of resin] -> [1]

        Raises
        ------
        DoseOutOfRange
            Too little or too much peroxide or accelerator; or a dose where the ratio is
            fixed: it is never changed to change the speed.
        """
        if self.dose is None:
            if peroxide_percent is not None or cobalt_percent is not None:
                raise OutOfValidity(
                    "peroxide or cobalt in per cent",
                    float(peroxide_percent if peroxide_percent is not None else cobalt_percent or 0.0),
                    f"no dose: {self.chemistry.name} keeps its mix ratio; choose another hardener instead",
                    self.name,
                )
            return 1.0
        from curewatch.physics.gelation import gel_time_of_cobalt

        dose = self.dose
        peroxide = dose.peroxide_normal if peroxide_percent is None else peroxide_percent
        cobalt = dose.cobalt_normal if cobalt_percent is None else cobalt_percent
        self._require("peroxide", peroxide, dose.peroxide_low, dose.peroxide_high)
        self._require("cobalt", cobalt, dose.cobalt_low, dose.cobalt_high)
        normal = float(gel_time_of_cobalt(dose.cobalt_normal, dose.gel_a, dose.gel_b))
        chosen = float(gel_time_of_cobalt(cobalt, dose.gel_a, dose.gel_b))
        return float((peroxide / dose.peroxide_normal) ** dose.peroxide_order * normal / chosen)

    def configured_dose(self, percent: float | None, file: Path | None = None) -> float | None:
        """A dose that a configuration's file states, where this resin takes one. [% by mass of resin]

        Raises
        ------
        ConfigurationError
            A dose outside this resin's own range.
        """
        if percent is None or self.dose is None:
            return None
        try:
            self.dose_factor(percent)
        except DoseOutOfRange as refused:
            allowed = f"{self.dose.peroxide_low:g} to {self.dose.peroxide_high:g} % for {self.name}"
            found, key = f"{percent:g} % of peroxide", "resin.peroxide_percent"
            raise ConfigurationError(found, allowed, file=file, key=key) from refused
        return percent

    def dosed(self, peroxide_percent: float | None = None, cobalt_percent: float | None = None) -> "Resin":
        """The same resin mixed with this dose, its normal one from then on; raises as :meth:`dose_factor`.

        ``peroxide_percent``, ``cobalt_percent`` [% by mass of resin].
        """
        factor = self.dose_factor(peroxide_percent, cobalt_percent)
        if self.dose is None:
            return self
        dose = replace(
            self.dose,
            peroxide_normal=self.dose.peroxide_normal if peroxide_percent is None else peroxide_percent,
            cobalt_normal=self.dose.cobalt_normal if cobalt_percent is None else cobalt_percent,
        )
        return replace(self, kinetics=self.kinetics.faster(factor), dose=dose)

    def _require(self, what: str, percent: float, low: float, high: float) -> None:
        if not low <= percent <= high:
            raise DoseOutOfRange(what, percent, (low, high), self.name)


_mix = attrgetter(*(name for name in Resin.__struct_fields__ if name != "origins"))
