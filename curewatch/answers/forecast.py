"""The document of `forecast`: the newest forecast of the air outside, and how many are kept."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Protocol

from msgspec import field

from curewatch.answers.document import Shape, Utc, says
from curewatch.clock import iso_utc
from curewatch.units import DAY, HOUR, celsius_from_kelvin

if TYPE_CHECKING:
    from curewatch.configuration import ForecastTable
    from curewatch.model.air.forecast import Forecast
    from curewatch.shed.forecasts import Fed


class UnderstoodDocument(Shape, frozen=True, kw_only=True):
    """What was understood of the file that was fed."""

    form: Annotated[str, says("Its form, in words")]
    quantities: Annotated[list[str], says("What it foretells")]
    step_h: Annotated[float, says("From one moment to the next, at the beginning")]
    last_step_h: Annotated[float, says("The same at its end")]
    issue_stated: Annotated[bool, says("Whether its issue time is stated; else its age counts from now")]
    left_out: Annotated[int, says("Moments that lack temperature or humidity and are left out")]
    latitude_degrees: Annotated[float | None, says("Of the place that it is stated for, degrees north")]
    longitude_degrees: Annotated[float | None, says("Of the place that it is stated for, degrees east")]


class ServiceDocument(Shape, frozen=True, kw_only=True):
    """The weather service that is configured, and how it went."""

    host: Annotated[str, says("Who is asked")]
    latitude_degrees: Annotated[float | None, says("As it is sent, degrees north, 2 decimals")]
    longitude_degrees: Annotated[float | None, says("As it is sent, degrees east, 2 decimals")]
    asked: Annotated[bool, says("Whether it was asked just now")]
    last_asked: Annotated[Utc | None, says("When it was last asked (ISO 8601, UTC)")]
    last_answer: Annotated[Utc | None, says("When it last answered well (ISO 8601, UTC)")]
    not_before: Annotated[Utc | None, says("It is not asked again before (ISO 8601, UTC)")]
    trouble: Annotated[str, says("Of the last answer, or empty")]


class ForecastDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch forecast`."""

    kept: Annotated[int, says("How many are kept")]
    used: Annotated[bool, says("Whether the newest counts now")]
    kept_days: Annotated[
        float, says("Over how many days; from ten on it counts, where kept ones have helped")
    ]
    issued: Annotated[Utc | None, says("When it was issued (ISO 8601, UTC)")]
    received: Annotated[Utc | None, says("When it was fed (ISO 8601, UTC)")]
    from_: Annotated[Utc | None, says("First moment (ISO 8601, UTC)")] = field(name="from")
    end: Annotated[Utc | None, says("Last moment (ISO 8601, UTC)")]
    moments: Annotated[int, says("How many")]
    lowest_c: Annotated[float | None, says("Coldest moment")]
    highest_c: Annotated[float | None, says("Warmest moment")]
    understood: Annotated[UnderstoodDocument | None, says("Of what was fed or fetched just now")]
    service: Annotated[ServiceDocument | None, says("Where forecasts are fetched; null if nowhere")]


class Asked(Protocol):
    """What is known of a service."""

    @property
    def asked(self) -> float | None: ...  # UTC [s]
    @property
    def fetched(self) -> float | None: ...  # UTC [s]
    @property
    def not_before(self) -> float: ...  # UTC [s]
    @property
    def trouble(self) -> str: ...


def service_part(
    service: "ForecastTable", host: str, memory: Asked, *, asked: bool = False
) -> ServiceDocument:
    """The service as configured, and what is known of it."""
    north, east = service.place or (None, None)
    return ServiceDocument(
        host=host,
        latitude_degrees=north,
        longitude_degrees=east,
        asked=asked,
        last_asked=_utc(memory.asked),
        last_answer=_utc(memory.fetched),
        not_before=_utc(memory.not_before or None),
        trouble=memory.trouble,
    )


def _utc(moment: float | None) -> str | None:
    return None if moment is None else iso_utc(moment)


def forecast_document(
    kept: "Sequence[Forecast]",
    now: float,
    fed: "Fed | None" = None,
    service: ServiceDocument | None = None,
) -> ForecastDocument:
    """The newest of the forecasts that are kept, oldest first, and what was fed; ``now`` in UTC [s]."""
    from curewatch.model.air.forecast import usable

    newest = kept[-1] if kept else None
    return ForecastDocument(
        kept=len(kept),
        used=newest is not None and usable(newest, now),
        kept_days=_days(kept, now),
        issued=None if newest is None else iso_utc(newest.issued),
        received=None if newest is None else iso_utc(newest.received),
        from_=None if newest is None else iso_utc(float(newest.time[0])),
        end=None if newest is None else iso_utc(float(newest.time[-1])),
        moments=0 if newest is None else len(newest.time),
        lowest_c=None if newest is None else round(celsius_from_kelvin(float(newest.temperature.min())), 2),
        highest_c=None if newest is None else round(celsius_from_kelvin(float(newest.temperature.max())), 2),
        understood=None if fed is None else _understood(fed),
        service=service,
    )


def _understood(fed: "Fed") -> UnderstoodDocument:
    time = fed.forecast.time
    north, east = fed.place or (None, None)
    return UnderstoodDocument(
        form=fed.form,
        quantities=["air temperature", "relative humidity"],
        step_h=round(float(time[1] - time[0]) / HOUR, 2),
        last_step_h=round(float(time[-1] - time[-2]) / HOUR, 2),
        issue_stated=fed.issue_stated,
        left_out=fed.left_out,
        latitude_degrees=north,
        longitude_degrees=east,
    )


def _days(kept: "Sequence[Forecast]", now: float) -> float:
    """Over how many days these were fed; one may have come just after ``now`` was read. [UTC s] -> [d]"""
    return max(0.0, round((now - kept[0].received) / DAY, 1)) if kept else 0.0
