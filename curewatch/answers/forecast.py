"""The document of `forecast`: the newest forecast of the air outside, and how many are kept."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

from msgspec import field

from curewatch.answers.document import Shape, Utc, says
from curewatch.clock import iso_utc
from curewatch.units import celsius_from_kelvin

if TYPE_CHECKING:
    from curewatch.model.air.forecast import Forecast


class ForecastDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch forecast`."""

    kept: Annotated[int, says("How many are kept")]
    used: Annotated[bool, says("Whether the newest counts now")]
    corrected: Annotated[bool, says("Whether enough are kept to learn from what they got wrong")]
    issued: Annotated[Utc | None, says("When it was fed (ISO 8601, UTC)")]
    from_: Annotated[Utc | None, says("First moment (ISO 8601, UTC)")] = field(name="from")
    end: Annotated[Utc | None, says("Last moment (ISO 8601, UTC)")]
    moments: Annotated[int, says("How many")]
    lowest_c: Annotated[float | None, says("Coldest moment")]
    highest_c: Annotated[float | None, says("Warmest moment")]


def forecast_document(kept: "Sequence[Forecast]", now: float) -> ForecastDocument:
    """The newest of the forecasts that are kept, oldest first; ``now`` in UTC [s]."""
    from curewatch.model.air.forecast import FEWEST_EARLIER, usable

    newest = kept[-1] if kept else None
    return ForecastDocument(
        kept=len(kept),
        used=newest is not None and usable(newest, now),
        corrected=len(kept) > FEWEST_EARLIER,
        issued=None if newest is None else iso_utc(newest.issued),
        from_=None if newest is None else iso_utc(float(newest.time[0])),
        end=None if newest is None else iso_utc(float(newest.time[-1])),
        moments=0 if newest is None else len(newest.time),
        lowest_c=None if newest is None else round(celsius_from_kelvin(float(newest.temperature.min())), 2),
        highest_c=None if newest is None else round(celsius_from_kelvin(float(newest.temperature.max())), 2),
    )
