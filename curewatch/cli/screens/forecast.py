"""The forecast that counts now, as lines of text."""

from curewatch.answers.forecast import ForecastDocument
from curewatch.clock import utc_from_iso
from curewatch.units import kelvin_from_celsius
from curewatch.wording import Wording


def lines(forecast: ForecastDocument, now: float, words: Wording) -> list[str]:
    """Its span, its temperatures, and what its error is taken from."""
    if forecast.issued is None or forecast.from_ is None or forecast.end is None:
        return [
            "no forecast fed",
            "feed one: curewatch forecast FILE (columns time, temperature_c, humidity)",
        ]
    first, last, fed = (utc_from_iso(each) for each in (forecast.from_, forecast.end, forecast.issued))
    low, high = (
        "unknown" if edge is None else words.temperature(kelvin_from_celsius(edge))
        for edge in (forecast.lowest_c, forecast.highest_c)
    )
    span = f"{words.moment(first, now)} to {words.moment(last, now)}"
    state = "in use" if forecast.used else "run out: no longer used"
    rest = "its error is assumed"
    if forecast.corrected:
        rest = "set right by what they got wrong, as far as they have run their course"
    return [
        f"forecast of the air outside, {state}",
        f"  {span}, {forecast.moments} moments, {low} to {high}",
        f"  fed {words.moment(fed, now)}; {forecast.kept - 1} earlier kept: {rest}",
    ]
