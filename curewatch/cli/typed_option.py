"""Numbers of options as people type them: ``12,5``, ``80 %``, ``3/8 in``, ``2 days``.

The option's metavar says in which unit it is handed on, and which one a bare number has.
"""

import math
import re
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import click
from click.types import FloatParamType

from curewatch.errors import UsageError
from curewatch.wording import number_of

_NUMBER = re.compile(r"([-+]?[0-9]+(?:[.,][0-9]+)?)\s*(\S.*)")
_OUNCE_A_YARD = 33.905747  # g/m² of one ounce a square yard, by the definitions of both
# metavar -> units that may follow, and how many of the option's own each is
_FACTORS: dict[str, dict[str, float]] = {
    "PERCENT": {"%": 1.0, "percent": 1.0, "per cent": 1.0},
    "PPM": {"ppm": 1.0},
    "G": {"g": 1.0, "kg": 1000.0, "oz": 28.349523125},
    "G/M2": {"g/m2": 1.0, "g/m²": 1.0, "gsm": 1.0, "oz/yd2": _OUNCE_A_YARD, "oz/yd²": _OUNCE_A_YARD},
    "MIN/M2": {"min/m2": 1.0, "min/m²": 1.0},
}
_SPANS = {"H": 3600.0, "HOURS": 3600.0, "MINUTES": 60.0, "SECONDS": 1.0}  # seconds of one


class TypedNumber(click.ParamType[Any]):
    """Reads a number with or without its unit; the range is that of the type it stands for."""

    name = "float"

    def __init__(self, inner: FloatParamType, metavar: str) -> None:
        self.inner = inner
        self._metavar = metavar

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if isinstance(value, str):
            option = param.opts[0] if param is not None and param.opts else "a number"
            try:
                value = number_from_text(value, option, self._metavar)
            except UsageError as trouble:
                raise click.UsageError(str(trouble), ctx) from trouble
        if isinstance(self.inner, click.FloatRange) and math.isnan(value):  # below and above nothing
            self.fail("nan is not in the range.", param, ctx)
        return self.inner.convert(value, param, ctx)


def number_from_text(text: str, option: str, metavar: str) -> float:
    """The number in the unit of its option.

    Raises
    ------
    UsageError
        It is no number, or its unit is another.
    """
    with suppress(ValueError):
        return number_of(text.strip(), text, option)
    found = _NUMBER.fullmatch(text.strip())
    reader = _reader(metavar, option)
    if reader is not None:
        return reader(text)
    factors = _FACTORS.get(metavar, {})
    if found is not None and found[2].lower() in factors:
        return number_of(found[1], text, option) * factors[found[2].lower()]
    units = f" with or without {next(iter(factors))}" if factors else ""
    raise UsageError(f"{option}: found {text!r}. Use a number{units}: 12 or 1,5")


def _reader(metavar: str, option: str) -> Callable[[str], float] | None:
    """For a length or a span, which have readers of their own."""
    from curewatch.cli.typed import span_from_text
    from curewatch.worklog.fields import length_from_text

    if metavar == "MM":
        return lambda text: 1000.0 * length_from_text(text, option)
    if metavar in _SPANS:
        return lambda text: span_from_text(text, option) / _SPANS[metavar]
    return None
