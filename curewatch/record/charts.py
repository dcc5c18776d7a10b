"""The charts of a record: what the shed was like, and the cure of a layer."""

from collections.abc import Iterator

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge.limits import Limits, for_resin, standard
from curewatch.logbook import EntryKind
from curewatch.model.air.surface import UNPROBED_SD
from curewatch.record.account import Account
from curewatch.record.chart import ChartFlag, ChartLine, Level, RecordChart, ShadedBand, ShadedSpan, svg
from curewatch.record.layer_history import LayerHistory
from curewatch.record.shed_panels import HOLDS, NOTHING, SKIN, Backdrop, Band, ShedBands, panels, runs
from curewatch.record.words import RecordWords, shown
from curewatch.units import DAY, MINUTE, FloatArray

CURE, GLASS = "#5b3a8c", "#1f2933"


def shed(account: Account, words: RecordWords) -> tuple[str, ...]:
    """Temperatures, margin and humidity of the shed, with the sensors' error and what was done."""
    time, inside = _inside(account)
    measured, limits = account.measured, limits_of(account)
    air_sd, margin_sd = measured.temperature_sd, measured.margin_sd
    skin_sd = UNPROBED_SD if measured.surface_estimated else air_sd
    dew_point_sd = max(0.0, margin_sd**2 - skin_sd**2) ** 0.5  # margin is surface less dew point
    bands = ShedBands(
        time,
        air=_erring(measured.air_temperature[inside], air_sd),
        surface=_erring(measured.surface_temperature[inside], skin_sd),
        dew_point=_erring(measured.dew_point[inside], dew_point_sd),
        margin=_erring(measured.margin[inside], margin_sd),
        humidity=_erring(measured.relative_humidity[inside], measured.humidity_sd),
        outside=measured.outside_temperature[inside],
    )
    spans = [*_holding(bands, limits), *_gaps(account)]
    behind = Backdrop(account.start, account.end, words.reader, spans, [*_flags(account)])
    return tuple(map(svg, panels(bands, limits, behind)))


def limits_of(account: Account) -> Limits:
    """The narrowest limits of the resins that were laid."""
    resins = {course.resin.name: course.resin for course in account.courses if course.resin}
    each = [for_resin(resin) for resin in resins.values()] or [standard()]
    return replace(
        each[0],
        temperature_lowest=max((one.temperature_lowest for one in each), key=lambda one: one.value),
        temperature_highest=min((one.temperature_highest for one in each), key=lambda one: one.value),
        humidity_highest=min((one.humidity_highest for one in each), key=lambda one: one.value),
    )


def _erring(value: FloatArray, sd: float) -> Band:
    return value - sd, value, value + sd


def _holding(shed: ShedBands, limits: Limits) -> Iterator[ShadedSpan]:
    """Stretches in which every limit held as measured; an unknown minute holds nothing."""
    coldest, warmest = np.fmin(shed.air[1], shed.surface[1]), np.fmax(shed.air[1], shed.surface[1])
    with np.errstate(invalid="ignore"):
        held = (
            (shed.margin[1] >= limits.condensation_margin.value)
            & (shed.humidity[1] <= limits.humidity_highest.value)
            & (coldest >= limits.temperature_lowest.value)
            & (warmest <= limits.temperature_highest.value)
        )
    for part in runs(held):
        yield ShadedSpan(float(shed.time[part.start]), float(shed.time[part.stop - 1]), HOLDS)


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


def _windows(account: Account, layer: str) -> Iterator[ShadedSpan]:
    for course in account.courses:
        opens, closes = (
            course.marks.get("laminate-from"),
            course.marks.get("laminate-before"),
        )
        if opens and opens.likely is not None and layer == course.layer:
            until = account.end if closes is None or closes.likely is None else closes.likely
            yield ShadedSpan(opens.likely, until, HOLDS, f"next on {shown(course.layer, 12)}")


def _gaps(account: Account) -> Iterator[ShadedSpan]:
    time, inside = _inside(account)
    for part in runs(np.isnan(account.measured.margin[inside])):
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
