"""What follows from each built-in constant, as a table: ``python -m tests.constants`` writes it anew.

A generic resin, a substrate, a cloth, a class of parts: what the program answers for it. The table is
``tests/unit/rules/constants.csv``. It says what was answered when somebody last read it, not what is true:
that is the business of ``tests/published``.
"""

import csv
import math
import sys
from pathlib import Path

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge.limits import for_resin
from curewatch.advice.plan import mixing
from curewatch.errors import OutOfValidity
from curewatch.materials import Resin, load_resin, resin_names
from curewatch.materials.chemistry import CHEMISTRIES
from curewatch.materials.cloth import Cloth, cloth_kinds, load_cloth
from curewatch.materials.sensor_part import SensorPart, load_sensor_part, sensor_part_names
from curewatch.materials.substrate import Substrate, load_substrate, substrate_names
from curewatch.model.film.blush import outcome as blush_class
from curewatch.model.film.blush import rate as blush_rate
from curewatch.model.film.film import constant, cure
from curewatch.model.film.lots import rate_factors
from curewatch.model.film.milestones import milestones, sanding_wait
from curewatch.model.film.recoat_window import recoat_window
from curewatch.model.mass.pot import pot
from curewatch.units import HOUR, ZERO_CELSIUS

TABLE = Path(__file__).parent / "unit" / "rules" / "constants.csv"
CLOSE = 0.001  # relative: what rounding and another machine may change

Answers = dict[str, float]


def of_film(resin: Resin, celsius: float) -> Answers:
    """Marks, window and end of one film at one temperature for a fortnight."""
    history = constant(celsius + ZERO_CELSIUS, 14 * 24 * HOUR)
    film = cure(resin, history)
    marks, window = milestones(resin, film), recoat_window(resin, film)
    said = {
        name: float(getattr(marks, name))
        for name in ("working_time", "recoat_from", "gel", "tack_free", "firm")
    }
    said |= {
        f"window {name}": float(getattr(window, name))
        for name in ("opens", "best_from", "best_until", "closes")
    }
    said["sand"] = sanding_wait(resin, history.time, history.temperature)
    said["glass transition"] = float(film.glass_transition[-1]) - ZERO_CELSIUS
    return {f"{celsius:g} degC, {name}": value for name, value in said.items()}


def of_pot(resin: Resin) -> Answers:
    """A cup, and more of it: life, peak and its time."""
    said: Answers = {}
    for mass in (0.15, 1.0):
        found = pot(resin, mass, 20 + ZERO_CELSIUS)
        said |= {
            f"{mass * 1000:g} g, {name}": float(getattr(found, name))
            for name in ("pot_life", "peak_temperature", "peak_time", "biot")
        }
    return said


def of_mix(resin: Resin) -> Answers:
    """A batch on the scale, and the doses that are borne."""
    proportion = mixing.of_resin(resin)
    cup = mixing.batch(proportion, 1.0, scale_step=1e-4)
    said = {
        name: float(getattr(cup, name))
        for name in ("added", "resin_volume", "added_volume", "scale_lowest", "scale_highest")
    }
    said["smallest"] = mixing.smallest_batch(proportion, 1e-3)
    if resin.dose is None:
        return said
    said |= {
        f"{share:g} of the normal {what}": _factor(resin, what, share)
        for share in (0.8, 0.95, 1.05, 1.2)
        for what in ("peroxide", "cobalt")
    }
    ends = {
        "peroxide": (resin.dose.peroxide_low, resin.dose.peroxide_high),
        "cobalt": (resin.dose.cobalt_low, resin.dose.cobalt_high),
    }
    return said | {
        f"{what}, {end}": value
        for what, pair in ends.items()
        for end, value in zip(("least", "most"), pair, strict=True)
        if _borne(resin, what, value) and not _borne(resin, what, value * (0.99 if end == "least" else 1.01))
    }


def _factor(resin: Resin, what: str, share: float) -> float:
    assert resin.dose is not None
    percent = share * float(getattr(resin.dose, f"{what}_normal"))
    return resin.dose_factor(**{f"{what}_percent": percent}) if _borne(resin, what, percent) else math.nan


def _borne(resin: Resin, what: str, percent: float) -> bool:
    try:
        resin.dose_factor(**{f"{what}_percent": percent})
    except OutOfValidity:
        return False
    return True


def of_surface(resin: Resin) -> Answers:
    """How fast it blushes, from when that counts, and where it may be used."""
    said = {
        f"blush at {celsius:g} degC": float(blush_rate(resin, celsius + ZERO_CELSIUS, 0.9))
        for celsius in (8, 28)
    }
    classes = [blush_class(resin, float(exposure)) for exposure in np.arange(0, 20 * HOUR, 60.0)]
    said |= {f"exposure called {name}": float(classes.index(name)) for name in dict.fromkeys(classes)}
    limits = for_resin(resin, rules="datasheet")
    for name in ("temperature_lowest", "temperature_highest", "humidity_highest"):
        said[name] = getattr(limits, name).value - (0.0 if name.startswith("humidity") else ZERO_CELSIUS)
    said["tacky in air"], said["waxed"] = float(resin.surface.air_inhibited), float(resin.surface.wax)
    said["slow lot"], said["fast lot"] = (float(rate_factors(resin, 10)[place]) for place in (0, -1))
    return said


def of_resin(resin: Resin) -> Answers:
    """Everything of one resin."""
    films = {key: value for celsius in (3.0, 20.0, 38.0) for key, value in of_film(resin, celsius).items()}
    return films | of_pot(resin) | of_mix(resin) | of_surface(resin)


def of_substrate(substrate: Substrate) -> Answers:
    """How slowly its surface follows, and how well it carries and holds heat."""
    thin = replace(substrate, thickness=0.5 * substrate.thickness)
    return {
        "time constant": substrate.time_constant,
        "of half the thickness": thin.time_constant,
        "conductance": substrate.conductivity / substrate.thickness,
        "heat of 1 m2": substrate.density * substrate.heat_capacity * substrate.thickness,
        "heat of 1 kg": substrate.heat_capacity,
    }


def of_cloth(cloth: Cloth) -> Answers:
    """Resin, thickness and time of one layer."""
    return {
        "resin": cloth.resin_per_area,
        "thickness": cloth.thickness(1100.0),
        "areal mass": cloth.areal_mass,
        "wet-out": cloth.wet_out_time(CHEMISTRIES["polyester"]),
    }


def of_part(part: SensorPart) -> Answers:
    """What its readings may be off by."""
    named = (
        "temperature_sd",
        "temperature_worst",
        "relative_humidity_sd",
        "relative_humidity_worst",
        "humidity_drift",
    )
    return {name: float(value) for name in named if (value := getattr(part, name)) is not None}


def told() -> dict[tuple[str, str], float]:
    """Every answer, by what it is about and its name."""
    every = [(name, of_resin(load_resin(name))) for name in resin_names()]
    every += [(name, of_substrate(load_substrate(name))) for name in substrate_names()]
    every += [(name, of_cloth(load_cloth(name))) for name in cloth_kinds()]
    every += [(name, of_part(load_sensor_part(name))) for name in sensor_part_names()]
    return {(about, name): value for about, answers in every for name, value in answers.items()}


def kept() -> dict[tuple[str, str], float]:
    """The table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {(row["about"], row["answer"]): float(row["value"]) for row in csv.DictReader(file)}


def differ(one: float, other: float) -> bool:
    """Whether two answers are not the same; never (nan) is one as well."""
    return not (
        math.isclose(one, other, rel_tol=CLOSE, abs_tol=1e-9) or (math.isnan(one) and math.isnan(other))
    )


def write() -> None:
    """Make the table anew."""
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(("about", "answer", "value"))
        rows.writerows((*key, f"{value:.6g}") for key, value in told().items())


if __name__ == "__main__":
    write()
    sys.stdout.write(f"{TABLE}\n")
