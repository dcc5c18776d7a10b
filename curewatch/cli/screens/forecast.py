"""The forecast that counts now, as lines of text."""

from curewatch.answers.forecast import ForecastDocument
from curewatch.clock import utc_from_iso
from curewatch.units import HOUR, kelvin_from_celsius
from curewatch.wording import Wording

STALE = 9.0  # h: services issue one every six hours, or oftener


def lines(forecast: ForecastDocument, now: float, words: Wording) -> list[str]:
    """Its span, its temperatures, whether enough are kept to learn from, and the service that is asked."""
    return [*_newest(forecast, now, words), *_service(forecast, now, words)]


def _newest(forecast: ForecastDocument, now: float, words: Wording) -> list[str]:
    if forecast.received is None or forecast.from_ is None or forecast.end is None:
        return [
            "no forecast fed",
            "feed one: curewatch forecast FILE (JSON of a weather service, or CSV)",
        ]
    first, last, fed = (utc_from_iso(each) for each in (forecast.from_, forecast.end, forecast.received))
    low, high = (
        "unknown" if edge is None else words.temperature(kelvin_from_celsius(edge))
        for edge in (forecast.lowest_c, forecast.highest_c)
    )
    span = f"{words.moment(first, now)} to {words.moment(last, now)}"
    state = "in use" if forecast.used else "run out: no longer used"
    kept = f"{forecast.kept - 1} earlier kept, over {forecast.kept_days:.0f} days"
    if forecast.kept == 1:
        kept = "none kept before it"
    return [
        f"forecast of the air outside, {state}",
        f"  {span}, {forecast.moments} moments, {low} to {high}",
        f"  fed {words.moment(fed, now)}; {kept}. From 10 days on it counts, if it would have helped",
        *understood(forecast, now),
    ]


def _service(forecast: ForecastDocument, now: float, words: Wording) -> list[str]:
    """Who is asked, what it is told, and how that went."""
    service = forecast.service
    if service is None:
        return []
    place = "no place"
    if service.latitude_degrees is not None and service.longitude_degrees is not None:
        place = f"latitude {service.latitude_degrees:.2f}, longitude {service.longitude_degrees:.2f}"
    found = [f"fetched from {service.host}, which receives {place} and your contact"]
    if service.trouble:
        found.append(f"  last trouble: {service.trouble}")
    if service.last_answer is not None:
        found.append(f"  last answer {words.moment(utc_from_iso(service.last_answer), now)}")
    if service.not_before is not None:
        again = words.moment(utc_from_iso(service.not_before), now)
        found.append(f"  {'asked now, ' if service.asked else ''}not asked again before {again}")
    return found


def understood(forecast: ForecastDocument, now: float) -> list[str]:
    """What was understood of the file: quantities and form, step, issue time, place, what was left out."""
    seen = forecast.understood
    if seen is None or forecast.issued is None:
        return []
    step = f"{seen.step_h:g} h"
    if seen.last_step_h != seen.step_h:
        step += f", at the end {seen.last_step_h:g} h"
    found = [f"understood: {' and '.join(seen.quantities)}, {seen.form}", f"  step {step}"]
    old = (now - utc_from_iso(forecast.issued)) / HOUR
    found.append(
        f"  issued {old:.0f} h ago{'. An old one errs more' if old > STALE else ''}"
        if seen.issue_stated
        else "  its issue time is not stated: its age counts from now"
    )
    if seen.latitude_degrees is not None and seen.longitude_degrees is not None:
        found.append(f"  for latitude {seen.latitude_degrees:.2f}, longitude {seen.longitude_degrees:.2f}")
    if seen.left_out:
        found.append(f"  {seen.left_out} moments left out: temperature or humidity is missing")
    return found
