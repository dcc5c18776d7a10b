"""The three charts of a record: air and dew point, margin, cure of a layer."""

from collections.abc import Iterator

import numpy as np

from curewatch.advice.judge.limits import standard
from curewatch.logbook import EntryKind
from curewatch.record.account import Account
from curewatch.record.chart import ChartFlag, ChartLine, Level, RecordChart, ShadedBand, ShadedSpan, svg
from curewatch.record.layer_history import LayerHistory
from curewatch.record.words import RecordWords, shown
from curewatch.units import DAY, MINUTE, FloatArray

AIR, SKIN, DEW, OUTSIDE, CURE, GLASS = "#1d4e89", "#b4530a", "#0f766e", "#8a94a3", "#5b3a8c", "#1f2933"
WINDOW, NOTHING = "#e3eee4", "#ececec"


def air(account: Account, words: RecordWords) -> str:
    """Temperatures of air, surface, dew point and outside, with what was done."""
    time, inside = _inside(account)
    measured, read = account.measured, words.reader.temperatures
    return svg(
        RecordChart(
            title="Air, surface and dew point",
            unit=words.reader.temperature_unit,
            start=account.start,
            end=account.end,
            reader=words.reader,
            lines=[
                ChartLine(
                    "outside",
                    time,
                    read(measured.outside_temperature[inside]),
                    OUTSIDE,
                    "1 2",
                    1.0,
                ),
                ChartLine("air", time, read(measured.air_temperature[inside]), AIR, "", 1.4),
                ChartLine(
                    "surface",
                    time,
                    read(measured.surface_temperature[inside]),
                    SKIN,
                    "6 2",
                    1.4,
                ),
                ChartLine("dew point", time, read(measured.dew_point[inside]), DEW, "2 2", 1.4),
            ],
            spans=[*_windows(account), *_gaps(account)],
            flags=[*_flags(account)],
            height=240,
        )
    )


def margin(account: Account, words: RecordWords) -> str:
    """Surface less dew point, with the sensors' error and the line of 3 K."""
    time, inside = _inside(account)
    value = words.reader.differences(account.measured.margin[inside])
    error, limit = (
        float(words.reader.differences(np.array(each)))
        for each in (account.measured.margin_sd, standard().condensation_margin.value)
    )
    known = np.isfinite(value)
    return svg(
        RecordChart(
            title="Margin of the surface over the dew point",
            unit=words.reader.difference_unit,
            start=account.start,
            end=account.end,
            reader=words.reader,
            lines=[ChartLine("margin", time, value, SKIN, "", 1.3)],
            bands=[
                ShadedBand(time[part], value[part] - error, value[part] + error, SKIN)
                for part in _runs(known)
            ],
            spans=[*_gaps(account)],
            levels=[Level(limit, f"{limit:g} {words.reader.difference_unit}: coating practice")],
            height=170,
        )
    )


def conversion(account: Account, course: LayerHistory, words: RecordWords) -> str:
    """Conversion of one layer, from a slow to a fast lot, with what was seen."""
    slow, usual, fast = course.conversion
    marks = course.resin.milestones if course.resin else None
    levels = [Level(marks.gel, "gel"), Level(marks.tack_free, "tack-free")] if marks else []
    return svg(
        RecordChart(
            title=f"Conversion of layer {shown(course.layer, 20)}",
            unit="conversion",
            start=course.started,
            end=_told_by(course),
            reader=words.reader,
            lines=[ChartLine("conversion", course.time, usual, CURE, "", 1.4)],
            bands=[ShadedBand(course.time, slow, fast, CURE)],
            spans=[*_windows(account, course.layer)],
            levels=levels,
            flags=[*_seen(account, course)],
            lowest=0.0,
            highest=1.0,
            height=200,
        )
    )


def glass_transition(account: Account, course: LayerHistory, words: RecordWords) -> str:
    """Glass transition of one layer, from a slow to a fast lot, against the surface's temperature."""
    cold, middle, warm = (words.reader.temperatures(each) for each in course.glass_transition)
    return svg(
        RecordChart(
            title=f"Glass transition of layer {shown(course.layer, 20)}",
            unit=words.reader.temperature_unit,
            start=course.started,
            end=_told_by(course),
            reader=words.reader,
            lines=[
                ChartLine("glass", course.time, middle, GLASS, "", 1.4),
                ChartLine(
                    "surface", course.time, words.reader.temperatures(course.temperature), SKIN, "6 2", 1.2
                ),
            ],
            bands=[ShadedBand(course.time, cold, warm, GLASS)],
            height=165,
        )
    )


def _told_by(course: LayerHistory) -> float:
    """When the course of a layer has nothing new to tell: well after it is firm, UTC [s]."""
    firm = course.marks["firm"].late
    end = float(course.time[-1])
    return end if firm is None else min(end, course.started + max(DAY, 3 * (firm - course.started)))


def _inside(account: Account) -> tuple[FloatArray, np.ndarray]:
    inside = account.measured.time >= account.start
    return account.measured.time[inside], inside


def _runs(known: np.ndarray) -> Iterator[slice]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False])).astype(np.int8)))
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if end - begin > 1:
            yield slice(begin, end)


def _windows(account: Account, layer: str | None = None) -> Iterator[ShadedSpan]:
    for course in account.courses:
        opens, closes = (
            course.marks.get("next layer may go on"),
            course.marks.get("next layer still bonds until"),
        )
        if opens and opens.likely is not None and layer in {None, course.layer}:
            until = account.end if closes is None or closes.likely is None else closes.likely
            yield ShadedSpan(opens.likely, until, WINDOW, f"next on {shown(course.layer, 12)}")


def _gaps(account: Account) -> Iterator[ShadedSpan]:
    time, inside = _inside(account)
    for part in _runs(np.isnan(account.measured.margin[inside])):
        yield ShadedSpan(float(time[part.start]), float(time[part.stop - 1]) + MINUTE, NOTHING)


def _flags(account: Account) -> Iterator[ChartFlag]:
    for told in account.job.of(EntryKind.BATCH):
        yield ChartFlag(told.at, shown(told.payload.get("batch") or "B", 8))
    for told in account.job.of(EntryKind.LAYER):
        yield ChartFlag(told.at, shown(told.payload.get("layer") or "L", 8))
    for course in account.courses:
        gel = course.marks.get("gel")
        if gel and gel.likely is not None:
            yield ChartFlag(gel.likely, f"gel {shown(course.layer, 8)}")


def _seen(account: Account, course: LayerHistory) -> Iterator[ChartFlag]:
    for told in account.job.of(EntryKind.OBSERVATION):
        if str(told.payload.get("layer")) == course.layer and not told.payload.get("withdrawn"):
            yield ChartFlag(told.at, f"observed: {shown(told.payload.get('observed') or '?', 16)}")
