"""What a logbook holds as pandas frames, for notebooks and for exports.

A column has its unit in its name, and times are UTC. ``frame.attrs["units"]`` gives the unit of each
column that has one. A frame holds the whole stretch in memory, about 70 bytes a reading and its sensor's
name; so CSV and SenML are written block by block without one, and Parquet a frame for 50,000 readings.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from curewatch.advice.alert import alerts as alert_events
from curewatch.extras import require
from curewatch.jobs import Layer
from curewatch.logbook import LogbookStore, columns, rows
from curewatch.logbook.columns import Quantity
from curewatch.physics.moist_air import dew_point, vapour_pressure
from curewatch.readings import Flag, undated
from curewatch.shed import layer_log
from curewatch.units import FloatArray, celsius_from_kelvin, gram_from_kilogram, kelvin_from_celsius

if TYPE_CHECKING:
    import pandas as pd
else:
    pd = require("pandas", "frames", "frames of a logbook")

UNITS = {"Cel": "degC", "%RH": "%", "%EL": "%"}  # as SenML writes a unit -> as a person does
MARGIN_UNITS = {"surface_temperature_c": "degC", "dew_point_c": "degC", "margin_k": "K"}
JOINED = 900.0  # s; an older report of the air says nothing of now, as the default of `reading_age_minutes`
LAYER_UNITS = {"batch_mass_g": "g", "thickness_mm": "mm", "peroxide_percent": "%"}


def readings(
    logbook: LogbookStore, start: float | None = None, end: float | None = None, sensor: str | None = None
) -> pd.DataFrame:
    """Every reading with start <= time < end (UTC [s]) in the order it was appended."""
    found = [rows.empty(), *(block.rows for block in logbook.blocks(start, end, sensor))]
    return reading_frame(np.concatenate(found), logbook.names())


def reading_frame(found: rows.Rows, names: dict[int, str]) -> pd.DataFrame:
    """These rows of a logbook; ``names`` are its sensors' names by number."""
    quantities = columns.newest().quantities
    table: dict[str, Any] = {
        "sensor": pd.Series([names[number] for number in found["sensor"].tolist()], dtype="str"),
        "time": _utc(found["time"]),
        "received": _utc(found["received"]),
        "flags": found["flags"].copy(),
        "sequence": pd.array(found["sequence"], dtype="Int64"),
        **{one.heading: _shown(one, one.values(found[one.name])) for one in quantities},
    }
    table["sequence"][found["sequence"] == rows.NO_SEQUENCE] = pd.NA
    return _with_units(pd.DataFrame(table), reading_units())


def reading_units() -> dict[str, str]:
    """The unit of each column of a reading that has one."""
    return {one.heading: UNITS.get(one.senml, one.senml) for one in columns.newest().quantities}


def margin(
    logbook: LogbookStore, air: str, surface: str, start: float | None = None, end: float | None = None
) -> pd.DataFrame:
    """How far the surface stood above the dew point of the air, at each report of the surface's sensor.

    ``air`` and ``surface`` are names of sensors. Each report is joined with the last one of the air, of at
    most 15 minutes before; where there is none, the margin is missing. Left out is what has no sure time.
    """
    below, above = (_sure(readings(logbook, start, end, name)) for name in (surface, air))
    table: pd.DataFrame = pd.merge_asof(
        below[["time", "temperature_c"]].rename(columns={"temperature_c": "surface_temperature_c"}),
        above[["time", "temperature_c", "humidity_percent"]].dropna(),
        on="time",
        tolerance=pd.Timedelta(JOINED, unit="s"),
    )
    table["dew_point_c"] = np.nan
    known = table["humidity_percent"].notna()
    warm, damp = (table.loc[known, name].to_numpy(float) for name in ("temperature_c", "humidity_percent"))
    table.loc[known, "dew_point_c"] = celsius_from_kelvin(
        dew_point(vapour_pressure(kelvin_from_celsius(warm), damp / 100.0))
    )
    table["margin_k"] = table["surface_temperature_c"] - table["dew_point_c"]
    return _with_units(table, reading_units() | MARGIN_UNITS)


def _sure(found: pd.DataFrame) -> pd.DataFrame:
    """In order of time, without what has a doubtful time."""
    flags = found["flags"].to_numpy()
    sure: pd.DataFrame = found.loc[~undated(flags) & (flags & int(Flag.CLOCK_DOUBT) == 0)]
    return sure.sort_values("time", kind="stable")


def hours(logbook: LogbookStore, start: float | None = None, end: float | None = None) -> pd.DataFrame:
    """One row a sensor and hour that has readings: how many, mean, lowest and highest of each quantity."""
    parts, units = [], {}
    for sensor in logbook.sensors():
        found = logbook.hourly(sensor, start, end)
        table: dict[str, Any] = {"sensor": sensor, "time": _utc(np.round(found.time * 1e3).astype(np.int64))}
        for one in columns.newest().quantities:
            if one.name in found.quantities:
                kept = found.quantities[one.name]
                table[f"readings_of_{one.name}"] = kept.readings
                for word, values in (("mean", kept.mean), ("lowest", kept.lowest), ("highest", kept.highest)):
                    table[f"{word}_{one.heading}"] = _shown(one, values)
                    units[f"{word}_{one.heading}"] = UNITS.get(one.senml, one.senml)
        parts.append(pd.DataFrame(table))
    return _with_units(pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(), units)


def layers(logbook: LogbookStore) -> pd.DataFrame:
    """Every layer ever begun, as corrected since, with when it was closed."""
    entries = logbook.entries(layer_log.KINDS)
    closed = {str(each.payload.get("layer")): each.at for each in entries if each.kind == "layer-closed"}
    begun = layer_log.begun(each for each in entries if each.kind != "layer-closed").values()
    table = pd.DataFrame([_layer(each) for each in begun], columns=list(_layer(Layer("", 0.0, ""))))
    moments = ("started", "pot_emptied")
    table = table.assign(**{name: _moments(table[name].tolist()) for name in moments})
    table.insert(2, "closed", _moments([closed.get(each.layer) for each in begun]))
    return _with_units(table, LAYER_UNITS)


def _layer(layer: Layer) -> dict[str, Any]:
    mass = layer.batch_mass
    return {
        "layer": layer.layer,
        "started": layer.started,
        "pot_emptied": layer.pot_emptied,
        "job": layer.job,
        "resin": layer.resin,
        "lot": layer.lot,
        "batch_mass_g": np.nan if mass is None else gram_from_kilogram(mass),
        "thickness_mm": layer.thickness * 1e3,
        "peroxide_percent": layer.peroxide_percent,
        "surface": layer.surface,
        "note": layer.note,
    }


def alerts(logbook: LogbookStore, start: float | None = None, end: float | None = None) -> pd.DataFrame:
    """Every event of an alert: raised, changed, acknowledged, cleared."""
    entries = logbook.entries("alert", start=start, end=end)
    events = list(alert_events.events_told(each.payload for each in entries))
    told = [alert_events.event_as_plain(event) for event in events]
    names = ("happening", "alert", "subject", "text", "advised", "meaning")
    table = pd.DataFrame({name: [each.get(name) for each in told] for name in names})
    table.insert(0, "at", _moments([event.at for event in events]))
    table["due"] = _moments([event.due for event in events])
    return _with_units(table, {})


def _shown(quantity: Quantity, values: FloatArray) -> FloatArray:
    """In the unit of the column's heading, from SI, rounded to what is kept."""
    kept = np.asarray(values * quantity.scale - quantity.zero)
    return np.asarray(np.round(kept, 3) / 10**quantity.decimals, dtype=float)


def _utc(milliseconds: Any) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(milliseconds.astype("M8[ms]")).tz_localize("UTC")


def _moments(seconds: Sequence[float | None]) -> pd.DatetimeIndex:
    """UTC seconds as stamps; what is missing is NaT."""
    known = np.array([np.nan if each is None else each for each in seconds], dtype=float)
    stamps = np.full(len(known), np.datetime64("NaT", "ms"))
    there = np.isfinite(known)
    stamps[there] = np.round(known[there] * 1e3).astype(np.int64).astype("M8[ms]")
    return pd.DatetimeIndex(stamps).tz_localize("UTC")


def _with_units(frame: pd.DataFrame, units: dict[str, str]) -> pd.DataFrame:
    frame.attrs["units"] = {name: unit for name, unit in units.items() if name in frame.columns}
    return frame
