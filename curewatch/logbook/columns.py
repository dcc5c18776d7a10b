"""The one table of what a reading can carry, and the forms of a block that follow from it.

Theory of operation
-------------------
A block says in its face which *form* its readings have (``chain``). A form is a number: form n carries
every quantity of :data:`QUANTITIES` that has come in with form n or before. Rows, packing, lines, series,
exports and verification take their columns from here. To add a quantity: one line at the end of the table
with the next form, and its field in ``readings.Reading``. Blocks written before keep their form. They are
read and verified as they are, and have nothing in the new column.

Law: what a form has never changes, so a block can be checked for as long as it is kept.
"""

import struct
from collections.abc import Iterable
from functools import cached_property
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from curewatch.errors import OutOfValidity
from curewatch.later import Later
from curewatch.readings import Reading
from curewatch.units import FloatArray

if TYPE_CHECKING:
    import numpy as np
else:
    np = Later("numpy")  # entries are read without it

NOTHING = -(2**31)  # stands for "no such quantity" in its column


class Quantity(NamedTuple):
    """One column. Kept as four bytes: ``value * scale - zero``, a whole number."""

    name: str  # of the field in Reading and Series, and in SenML
    unit: str  # SI
    heading: str  # in CSV and Parquet; the unit shown is in it
    senml: str  # the unit shown, as RFC 8428 or RFC 8798 writes it
    scale: float  # kept numbers per SI unit
    zero: int  # kept number of 0 in SI, negative
    decimals: int  # the unit shown is 10**decimals kept numbers
    lowest: float  # that can be kept [unit]
    highest: float  # [unit]
    form: int  # the first that carries it
    hourly: bool = False  # whether a summary of each hour is kept

    def kept(self, value: float | None) -> int:
        """The whole number that is kept of a value in SI.

        Raises
        ------
        OutOfValidity
            It is not finite or outside the range: the plausibility check should have rejected it.
        """
        if value is None:
            return NOTHING
        if not self.lowest <= value <= self.highest:
            allowed = f"{self.lowest:g} to {self.highest:g} {self.unit}"
            raise OutOfValidity(
                self.name.replace("_", " "), value, allowed, "the logbook's table of quantities"
            )
        return round(value * self.scale) - self.zero

    def value(self, kept: int) -> float | None:
        """The value in SI."""
        return None if kept == NOTHING else (kept + self.zero) / self.scale

    def values(self, kept: "np.ndarray[Any, np.dtype[np.int32]]") -> FloatArray:
        """The values in SI, ``nan`` where there is none."""
        return np.where(kept == NOTHING, np.nan, (kept.astype(np.int64) + self.zero) / self.scale)


QUANTITIES = (
    Quantity("temperature", "K", "temperature_c", "Cel", 1e3, 273_150, 3, 0.0, 2000.0, 1, hourly=True),
    Quantity("relative_humidity", "1", "humidity_percent", "%RH", 1e5, 0, 3, -1.0, 100.0, 1, hourly=True),
    Quantity("carbon_dioxide", "1", "carbon_dioxide_ppm", "ppm", 1e7, 0, 1, 0.0, 100.0, 1),
    Quantity("battery", "1", "battery_percent", "%EL", 1e5, 0, 3, -10_000.0, 10_000.0, 1),
    Quantity("pressure", "Pa", "pressure_hpa", "hPa", 10.0, 0, 3, 3e4, 1.2e5, 2, hourly=True),
)

FIXED = (
    ("sensor", "<u2"),  # number of the sensor in this logbook
    ("time", "<i8"),  # UTC, measured [ms since 1970]
    ("received", "<i8"),  # UTC, reached the edge [ms since 1970]
    ("flags", "<u2"),
    ("sequence", "<i8"),
)


class Form:
    """How the readings of a block lie. The quantities stand last: an older line is a shorter line."""

    def __init__(self, number: int, quantities: Iterable[Quantity]) -> None:
        self.number = number
        self.quantities = tuple(one for one in quantities if one.form <= number)
        self.names = (*(name for name, _ in FIXED), *(one.name for one in self.quantities))
        self.hourly = tuple(place for place, one in enumerate(self.quantities) if one.hourly)
        self.width = len(self.names)
        self.heading = ",".join(
            ["block", *(name for name, _ in FIXED), *(q.heading for q in self.quantities)]
        )
        self.letters = "HqqHq" + "i" * len(self.quantities)  # of a row, as ``struct`` writes them
        self.size = struct.calcsize(f"<{self.letters}")  # bytes of a row
        self._values_of = attrgetter(*(one.name for one in self.quantities))
        self._scales = [(one.lowest, one.highest, one.scale, one.zero, one) for one in self.quantities]

    def kept(self, reading: Reading) -> list[int]:
        """What is kept of its quantities; raises as :meth:`Quantity.kept`, which says the same of one."""
        return [
            NOTHING
            if value is None
            else round(value * scale) - zero
            if lowest <= value <= highest
            else one.kept(value)
            for value, (lowest, highest, scale, zero, one) in zip(
                self._values_of(reading), self._scales, strict=True
            )
        ]

    @cached_property
    def row(self) -> "np.dtype[np.void]":
        """One reading in memory."""
        return np.dtype([*FIXED, *((one.name, "<i4") for one in self.quantities)])


class Forms:
    """Every form that this table of quantities has."""

    def __init__(self, quantities: tuple[Quantity, ...], reading: type[Reading] = Reading) -> None:
        without = [one.name for one in quantities if one.name not in reading._fields]
        if without:
            raise ValueError(f"{reading.__name__} has no field {', '.join(without)}; give it one")
        self.reading = reading
        self.quantities = quantities
        self._known = {number: Form(number, quantities) for number in range(1, quantities[-1].form + 1)}
        self.newest = self._known[quantities[-1].form]

    def form(self, number: int) -> Form:
        """The form with this number.

        Raises
        ------
        ValueError
            There is none in this table.
        """
        if number not in self._known:
            raise ValueError(f"form {number}; this program reads 1 to {self.newest.number}")
        return self._known[number]


FORMS = Forms(QUANTITIES)


def newest() -> Form:
    """The form of what is written now."""
    return FORMS.newest


def form(number: int) -> Form:
    """The form with this number; ValueError if there is none."""
    return FORMS.form(number)
