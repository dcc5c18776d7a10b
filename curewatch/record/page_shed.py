"""On paper: what the shed went through, and how the layers cured in it."""

from collections.abc import Iterator

import numpy as np

from curewatch.answers.document import spoken
from curewatch.logbook import EntryKind
from curewatch.record import charts
from curewatch.record.account import Account
from curewatch.record.layer_history import MARKS, NEAR_WARMEST, LayerHistory
from curewatch.record.page import PageTable, Picture, table
from curewatch.record.words import RecordWords, between, shown
from curewatch.wording import duration

BRIDGED = "bridged in a straight line; at an end, as at the nearest reading"


def climate(account: Account, words: RecordWords) -> Iterator[str | PageTable | Picture]:
    """Charts of air, surface, dew point and margin, and their extremes."""
    measured = account.measured
    inside = measured.time >= account.start
    if not any(
        np.isfinite(column[inside]).any()
        for column in (measured.air_temperature, measured.surface_temperature)
    ):
        yield "No reading was recorded during this job. What the shed went through is not known."
        return
    yield from _pictures(account, words)
    head = ("", "Lowest", "at", "Mean", "Highest", "at", "Unknown, min")
    yield table(head, (22, 12, 15, 12, 12, 15, 12), list(_extremes(account, words)))


def _pictures(account: Account, words: RecordWords) -> Iterator[Picture]:
    temperatures, margin, humidity = (each.encode() for each in charts.shed(account, words))
    yield Picture(
        "air.svg",
        temperatures,
        "Air, surface and dew point temperature over the job",
        "Air, surface and dew point. B and L mark batches and layers. Shaded: every limit of these "
        "three charts held, as measured; grey: nothing was recorded. The limits are those of coating "
        "practice and of the sheets of the resins that were laid.",
    )
    yield Picture(
        "margin.svg",
        margin,
        "Margin of the surface over the dew point, with the error of the sensors",
        "Margin of the surface over the dew point. The band about each line is one standard deviation "
        f"of the sensors: here {words.reader.difference(account.measured.margin_sd)}.",
    )
    yield Picture(
        "humidity.svg",
        humidity,
        "Relative humidity of the air over the job, with the error of the sensor",
        "Relative humidity of the air.",
    )


def _extremes(account: Account, words: RecordWords) -> Iterator[tuple[str, ...]]:
    """A row for each quantity of which something is known."""
    measured = account.measured
    inside = measured.time >= account.start
    for title, column, show in (
        ("Air", measured.air_temperature, words.temperature),
        (
            "Surface" + (" (estimated)" if measured.surface_estimated else ""),
            measured.surface_temperature,
            words.temperature,
        ),
        ("Dew point", measured.dew_point, words.temperature),
        ("Outside", measured.outside_temperature, words.temperature),
        ("Relative humidity", measured.relative_humidity, lambda value: f"{value * 100:.1f} %"),
        ("Margin over dew point", measured.margin, words.reader.difference),
    ):
        value, time = column[inside], measured.time[inside]
        known = np.isfinite(value)
        if known.any():
            low, high = int(np.nanargmin(value)), int(np.nanargmax(value))
            yield (
                title,
                show(float(value[low])),
                words.moment(float(time[low])),
                show(float(np.nanmean(value))),
                show(float(value[high])),
                words.moment(float(time[high])),
                f"{int((~known).sum()):,}",
            )


def cure(account: Account, words: RecordWords) -> Iterator[str | PageTable | Picture]:
    """How each layer cured, by the model, beside what was observed."""
    if not account.courses:
        yield "No layer was written down."
        return
    yield (
        "Reckoned from the recorded surface temperature with the resin system's cure law. 8 in 10 lots lie "
        "within the times and values beside the likely one. It is a model, not a measurement of the laminate."
    )
    for number, course in enumerate(account.courses, 1):
        name = shown(course.layer, 20)
        if course.resin is None:
            yield f"Layer {name}: its cure could not be reckoned: {shown(course.trouble, 200)}."
            continue
        yield Picture(
            f"cure-{number}.svg",
            charts.conversion(account, course, words).encode(),
            f"Conversion of layer {name} from a slow to a fast lot",
            f"Layer {name}: conversion, from a slow to a fast lot. Shaded: when the next layer could go on.",
        )
        yield Picture(
            f"glass-{number}.svg",
            charts.glass_transition(account, course, words).encode(),
            f"Glass transition and surface temperature of layer {name}",
            f"Layer {name}: glass transition, from a slow to a fast lot, against the surface's temperature.",
        )
        if course.resin.parent.startswith(f"{course.resin.name} version"):
            yield f"Layer {name}: the resin as the observations of its lot have shown it to be."
        yield _marks(account, course, words)


def _marks(account: Account, course: LayerHistory, words: RecordWords) -> PageTable:
    observed = {
        str(one.payload.get("observed")): words.moment(float(one.payload.get("at", one.at)))
        for one in account.job.of(EntryKind.OBSERVATION)
        if str(one.payload.get("layer")) == course.layer and not one.payload.get("withdrawn")
    }
    called = {"gel": "gelled"}
    rows = [
        (
            MARKS[name].capitalize(),
            words.moment(mark.likely),
            words.band(mark.early, mark.late),
            observed.get(called.get(name, name), "–"),
        )
        for name, mark in course.marks.items()
    ]
    low, usual, high = (float(each[-1]) for each in course.conversion)
    cold, middle, warm = (float(each[-1]) for each in course.glass_transition)
    rows.append(("Conversion at the end", f"{usual:.2f}", between(f"{low:.2f}", f"{high:.2f}"), ""))
    spread = between(words.temperature(cold), words.temperature(warm))
    rows.append(("Glass transition at the end", words.temperature(middle), spread, ""))
    rows.append(("Amine blush, by the model", spoken(course.blush) or "not known", "", ""))
    if course.closed_by:
        rows.append(("The window was closed by", course.closed_by, "", ""))
    if course.layer_on:
        rows.append(("Followed as", course.layer_on, "with its own heat", ""))
    if course.warmest is not None:
        found = course.warmest
        by = f"by probe {shown(found.probe, 20)} in it" if found.probe else "by its surface"
        held = f"{duration(found.held)} within {words.reader.difference(NEAR_WARMEST)} of it, {by}"
        rows.append(("Warmest", words.temperature(found.temperature), held, words.moment(found.at)))
    if course.unmeasured:
        rows.append(("Not measured", f"{course.unmeasured} min", BRIDGED, ""))
    return table(
        (f"Layer {shown(course.layer, 20)}", "Likely", "Of 8 in 10 lots", "Observed"), (28, 20, 36, 16), rows
    )
