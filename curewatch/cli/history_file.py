"""A temperature history that a person or a logger wrote: a CSV of time and temperature.

The first row may name the columns; the name carries the unit: ``time`` (ISO 8601 stamps, or seconds),
``time_s``, ``time_min``, ``time_h``; ``temperature`` or ``temperature_c``, ``temperature_f``,
``temperature_k``. Other columns are left alone. Without names, the first two columns are ISO stamps
or seconds, and degC. A log of a cup may have a column ``air``, ``air_c``, ``air_f`` or ``air_k``.
Lines that begin with # are remarks.
"""

import csv
import io
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np

from curewatch.cli.typed import both_scales
from curewatch.clock import utc_from_iso
from curewatch.errors import UsageError, reason
from curewatch.model.film.film import History
from curewatch.model.fit.evidence import CupLog
from curewatch.units import DAY, HOUR, MINUTE, kelvin_from_celsius, kelvin_from_fahrenheit
from curewatch.wording import counted

MOST_BYTES = 64 * 1024 * 1024
LONGEST = 400 * 24 * HOUR  # s
LOWEST, HIGHEST = 243.15, 423.15  # K: -30..150 degC; what a shed or a post-cure can be


def _stamp(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return utc_from_iso(text)


TIMES: dict[str, Callable[[str], float]] = {
    "time": _stamp,
    "time_s": float,
    "time_min": lambda text: float(text) * MINUTE,
    "time_h": lambda text: float(text) * HOUR,
}
TEMPERATURES: dict[str, Callable[[str], float]] = {
    "temperature": lambda text: kelvin_from_celsius(float(text)),
    "temperature_c": lambda text: kelvin_from_celsius(float(text)),
    "temperature_f": lambda text: kelvin_from_fahrenheit(float(text)),
    "temperature_k": float,
}


AIRS = {name.replace("temperature", "air"): read for name, read in TEMPERATURES.items()}


def read_history(path: Path, highest: float = HIGHEST) -> History:
    """The history in a file, its time counted from its first row, up to a ``highest`` temperature [K].

    Raises
    ------
    UsageError
        Names the file and the line, what was found and what is allowed.
    """
    return _read(path, highest, of_air=False).history


def read_cup(path: Path, highest: float) -> CupLog:
    """The same with when it began, where its times are stamps, and the air beside it, where that is told."""
    return _read(path, highest, of_air=True)


def _read(path: Path, highest: float, *, of_air: bool) -> CupLog:
    rows = [
        (number, [cell.strip() for cell in row])
        for number, row in enumerate(csv.reader(io.StringIO(_text(path))), 1)
        if row and any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
    ]
    if not rows:
        raise UsageError(f"{path}: found no rows. Use a CSV of time and temperature")
    when, columns, first = _columns(path, rows[0][1])
    columns = columns if of_air else columns[:1]
    time: list[float] = []
    kelvins: list[list[float]] = []
    for number, row in rows[first:]:
        at = _value(path, number, row, when)
        if time and at <= time[-1]:
            raise UsageError(
                f"{path}, line {number}: found a time not later than the one before. Use rising times"
            )
        time.append(at)
        kelvins.append([_temperature(path, number, row, each, highest) for each in columns])
    if len(time) < 2:
        raise UsageError(f"{path}: found {counted(len(time), 'row')} of values. Use two or more")
    if time[-1] - time[0] > LONGEST:
        raise UsageError(f"{path}: found {(time[-1] - time[0]) / DAY:.0f} days. Use at most 400")
    stamped = when[1] is _stamp and not _is_number(rows[first][1][when[0]])
    histories = [History(np.array(time) - time[0], np.array(each)) for each in zip(*kelvins, strict=True)]
    return CupLog(histories[0], time[0] if stamped else None, histories[1] if len(histories) > 1 else None)


def _temperature(path: Path, number: int, row: list[str], column: "Column", highest: float) -> float:
    kelvin = _value(path, number, row, column)
    if not LOWEST <= kelvin <= highest:
        raise UsageError(
            f"{path}, line {number}: {row[column[0]]!r} is outside "
            f"{both_scales(-30, round(highest - 273.15))}; "
            "is the unit right?"
        )
    return kelvin


def cut(history: History, duration: float) -> History:
    """The first part of a history. [s]

    Raises
    ------
    UsageError
        It ends before that: the hours that nobody measured are not made up.
    """
    end = float(history.time[-1])
    if duration > end + 1.0:
        raise UsageError(
            f"--hours: found {duration / HOUR:.4g}, beyond the history. Use at most {end / HOUR:.4g} h"
        )
    keep = history.time < duration - 1e-6
    last = float(np.interp(duration, history.time, history.temperature))
    return History(np.append(history.time[keep], duration), np.append(history.temperature[keep], last))


Column = tuple[int, Callable[[str], float]]


def _columns(path: Path, head: list[str]) -> tuple[Column, list[Column], int]:
    """Of the times, of the temperatures (that of the air last), and how many rows name them."""
    names = [cell.lower() for cell in head]
    if _is_value(names[0]):
        return (0, TIMES["time"]), [(1, TEMPERATURES["temperature"])], 0
    time = next((name for name in names if name in TIMES), None)
    warm = next((name for name in names if name in TEMPERATURES), None)
    if time is None or warm is None:
        raise UsageError(
            f"{path}, line 1: found columns {', '.join(names)!r}. Use one of {', '.join(TIMES)} "
            f"and one of {', '.join(TEMPERATURES)}"
        )
    air = next((name for name in names if name in AIRS), None)
    told = [(names.index(warm), TEMPERATURES[warm])]
    told += [] if air is None else [(names.index(air), AIRS[air])]
    return (names.index(time), TIMES[time]), told, 1


def _value(path: Path, number: int, row: list[str], column: Column) -> float:
    place, read = column
    try:
        value = read(row[place])
    except IndexError:
        raise UsageError(
            f"{path}, line {number}: found {counted(len(row), 'column')}. Use at least {place + 1}"
        ) from None
    except ValueError:
        raise UsageError(
            f"{path}, line {number}: found {row[place]!r}. Use an ISO stamp or a plain number"
        ) from None
    if not math.isfinite(value):
        raise UsageError(f"{path}, line {number}: found {row[place]!r}. Use a finite number")
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _is_value(text: str) -> bool:
    try:
        _stamp(text)
    except ValueError:
        return False
    return True


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise UsageError(f"{path}: found more than {MOST_BYTES // 1024**2} MB. Use a smaller file")
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise UsageError(f"{path}: found no such file. Use a CSV of time and temperature") from None
    except UnicodeDecodeError:
        raise UsageError(
            f"{path}: found bytes that are not UTF-8. Use a CSV of time and temperature"
        ) from None
    except OSError as trouble:
        raise UsageError(f"{path}: {reason(trouble)}") from None
