"""The chart of `watch`: surface and dew point, recorded and expected, as numbers."""

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, Utc, celsius, says
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.units import FloatArray

    Curve = tuple[FloatArray, FloatArray, FloatArray]
Degrees = list[float | None]


class ChartCurveDocument(Shape, frozen=True, kw_only=True):
    """One temperature; past values are the same in all three, null is a gap."""

    low_c: Annotated[Degrees, says("Lower edge: 8 in 10 lie between low and high")]
    middle_c: Annotated[Degrees, says("The middle")]
    high_c: Annotated[Degrees, says("Upper edge")]


class ChartWindowDocument(Shape, frozen=True, kw_only=True):
    """When a layer may be laminated on."""

    layer: Annotated[str, says("Its name")]
    opens: Annotated[Utc, says("From when it likely may (ISO 8601, UTC)")]
    closes: Annotated[Utc, says("Until when it surely still bonds (ISO 8601, UTC)")]


class ChartDocument(Shape, frozen=True, kw_only=True):
    """The last and the coming hours."""

    time: Annotated[list[Utc], says("Of each point of the curves (ISO 8601, UTC)")]
    surface: Annotated[ChartCurveDocument, says("The surface, or the air where no probe spoke")]
    dew_point: Annotated[ChartCurveDocument, says("The dew point of the air")]
    windows: Annotated[list[ChartWindowDocument], says("Of the running layers")]


def chart_part(
    time: "FloatArray", surface: "Curve", dew_point: "Curve", windows: Iterable[tuple[str, float, float]]
) -> ChartDocument:
    """Curves of low, middle and high [K] over the same times [UTC s]; windows by layer [UTC s]."""
    return ChartDocument(
        time=[iso_utc(float(each)) for each in time],
        surface=_curve(surface),
        dew_point=_curve(dew_point),
        windows=[
            ChartWindowDocument(layer=layer, opens=iso_utc(opens), closes=iso_utc(closes))
            for layer, opens, closes in windows
        ],
    )


def _curve(curve: "Curve") -> ChartCurveDocument:
    low, middle, high = (_degrees(edge) for edge in curve)
    return ChartCurveDocument(low_c=low, middle_c=middle, high_c=high)


def _degrees(kelvin: "FloatArray") -> Degrees:
    return [celsius(each, 3) if math.isfinite(each) else None for each in kelvin.tolist()]
