"""The shed between outside and inside: how fast it follows, what the sun and a heater add, how it breathes.

*Theory of operation.* One store of heat behind one resistance, one room of vapour behind one leak:

    tau dT/dt = T_outside + offset + sun gain s(t) + P / H - T    H: heat loss [W/K], tau H: stored [J/K]
    1/n  de/dt = e_outside + surplus - e                          n: air changes [1/s]

Both are exact filters of what drives them; ``shed_fit`` finds their constants in a recording. Timber, dust
sheets and damp ground give and take vapour: n is an *effective* rate, slower than air alone would be.
"""

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from curewatch.errors import OutOfValidity
from curewatch.model.air.past import Past
from curewatch.model.air.shed_fit import NOONS, fitted
from curewatch.units import DAY, HOUR, FloatArray

LONGEST_PAST = 21 * DAY  # more averages over seasons of sun and damp
SHORTEST_PAST = 36 * HOUR
WIDEST_GAP = 3 * HOUR

DEFAULT_VOLUME = 60.0  # m3, 5 x 4 x 3 m; ASSUMED
# A tin roof and single-skin walls: 1 / (0.13 + 0.04) m2K/W of ISO 6946 is 5.9; a floor loses less. ASSUMED.
HEAT_LOSS_PER_AREA = 4.0  # W/(m2 K)
HEAT_LOSS_DOUBT = 0.5  # one standard deviation of its logarithm; ASSUMED


class Shed(Struct, frozen=True):
    """One shed as it is known, with how sure that is (one standard deviation each)."""

    time_constant: float  # how slowly the inside follows [s]
    time_constant_sd: float
    offset: float  # inside warmer than outside on average, without sun [K]
    sun_gain: float  # what full sun adds in the end [K]
    noon: float  # UTC hour at which the sun adds most
    air_changes: float  # effective, see above [1/s]
    air_changes_sd: float
    vapour_surplus: float  # inside damper than outside on average [Pa]
    volume: float  # of its air [m3]
    heat_loss: float  # power that holds it one kelvin warmer [W/K]
    heat_loss_sd: float
    temperature_sd: float  # of what this model leaves unexplained inside [K]
    vapour_pressure_sd: float  # likewise [Pa]
    history_hours: float  # of pairs it was identified from
    basis: str  # in words

    @property
    def heat_capacity(self) -> float:
        """Heat that one kelvin stores in air, walls and what follows them. [J/K]"""
        return self.time_constant * self.heat_loss


def assumed(volume: float = DEFAULT_VOLUME) -> Shed:
    """A tin-roofed shed nobody has measured: follows within hours, breathes twice an hour.

    ``volume`` [m³].
    """
    envelope = 6.0 * volume ** (2 / 3) * 1.05  # of a box somewhat longer than high
    heat_loss = HEAT_LOSS_PER_AREA * envelope
    return Shed(
        time_constant=3 * HOUR,
        time_constant_sd=2 * HOUR,
        offset=0.5,
        sun_gain=0.0,
        noon=12.0,
        air_changes=2.0 / HOUR,
        air_changes_sd=1.5 / HOUR,
        vapour_surplus=0.0,
        volume=volume,
        heat_loss=heat_loss,
        heat_loss_sd=HEAT_LOSS_DOUBT * heat_loss,
        temperature_sd=1.5,
        vapour_pressure_sd=80.0,
        history_hours=0.0,
        basis="an assumed tin-roofed shed: no pairs of outside and inside readings yet",
    )


def identify(past: Past, heater_power: FloatArray | None = None, volume: float = DEFAULT_VOLUME) -> Shed:
    """The shed that best turns the outside readings into the inside ones.

    Parameters
    ----------
    past : Past
        Inside and outside on one regular grid of an hour or finer; gaps up to 3 h are bridged, and the
        longest stretch without a wider one counts.
    heater_power : ndarray, shape (n,), optional
        What heated the shed at each moment; without it the heat loss stays assumed. [W]
    volume : float
        Of the shed's air. [m3]

    Returns
    -------
    Shed
        The assumed shed, saying so, where less than 36 h of pairs are known.

    Raises
    ------
    OutOfValidity
        A volume no shed has, or heater powers of another length than the past.

    Source
    ------
    Output-error fit of a first-order model, see the module; weights exp(-n/2 ln RSS) with the number of
    independent residuals n reduced by their autocorrelation.
    """
    if not 1.0 <= volume <= 1e5:
        raise OutOfValidity("volume", volume, "1 to 100000 m3", "a shed")
    if heater_power is not None and len(heater_power) != len(past.time):
        raise OutOfValidity("heater powers", len(heater_power), f"{len(past.time)}, one a moment", "the past")
    shed = assumed(volume)
    thermal = _whole_stretch(past.time, past.air_temperature, past.outside_temperature)
    if thermal is None:
        return shed
    power = None if heater_power is None else np.asarray(heater_power, dtype=np.float64)[thermal]
    shed = _with_heat(shed, past, thermal, power)
    moist = _whole_stretch(past.time, past.vapour_pressure, past.outside_vapour_pressure)
    return shed if moist is None else _with_moisture(shed, past, moist)


def sun(time: FloatArray, noon: float) -> FloatArray:
    """Half a sine of twelve hours about noon: the sun as far as it is known without a place. [1] (n,)"""
    return np.asarray(np.maximum(0.0, np.cos(2 * np.pi * (time / HOUR - noon) / 24)))


def _with_heat(shed: Shed, past: Past, stretch: FloatArray, power: FloatArray | None) -> Shed:
    time = past.time[stretch]
    inside, outside = (
        _filled(time, series[stretch]) for series in (past.air_temperature, past.outside_temperature)
    )
    drives = [np.stack([sun(time, noon) for noon in NOONS])] + ([] if power is None else [power[None]])
    fit = fitted(time, inside, outside, np.concatenate(drives))
    hours = float(time[-1] - time[0]) / HOUR
    shed = replace(
        shed,
        time_constant=fit.time_constant,
        time_constant_sd=fit.spread * fit.time_constant,
        offset=fit.offset,
        sun_gain=float(fit.gains[0]),
        noon=fit.noon,
        temperature_sd=fit.unexplained,
        history_hours=hours,
        basis=f"this shed, identified from {hours:.0f} h of readings inside and outside",
    )
    if power is not None and fit.gains[1] > 0:
        heat_loss = 1 / float(fit.gains[1])
        spread = fit.heater_spread * heat_loss  # of a reciprocal, to first order
        shed = replace(
            shed, heat_loss=heat_loss, heat_loss_sd=heat_loss * float(np.hypot(spread, fit.spread))
        )
    return shed


def _with_moisture(shed: Shed, past: Past, stretch: FloatArray) -> Shed:
    time = past.time[stretch]
    inside, outside = (
        _filled(time, series[stretch]) for series in (past.vapour_pressure, past.outside_vapour_pressure)
    )
    fit = fitted(time, inside, outside, np.empty((0, len(time))))
    rate = 1 / fit.time_constant
    return replace(
        shed,
        air_changes=rate,
        air_changes_sd=fit.spread * rate,
        vapour_surplus=fit.offset,
        vapour_pressure_sd=fit.unexplained,
    )


def _whole_stretch(time: FloatArray, inside: FloatArray, outside: FloatArray) -> FloatArray | None:
    """Places of the longest recent stretch in which both are known without a wide gap."""
    if len(time) == 0:
        return None
    known = np.flatnonzero(np.isfinite(inside) & np.isfinite(outside) & (time >= time[-1] - LONGEST_PAST))
    if len(known) < 24:
        return None
    breaks = np.flatnonzero(np.diff(time[known]) > WIDEST_GAP)
    runs = np.split(known, breaks + 1)
    longest = max(runs, key=lambda run: time[run[-1]] - time[run[0]])
    if time[longest[-1]] - time[longest[0]] < SHORTEST_PAST:
        return None
    return np.arange(longest[0], longest[-1] + 1)


def _filled(time: FloatArray, series: FloatArray) -> FloatArray:
    known = np.isfinite(series)
    return np.asarray(np.interp(time, time[known], series[known]))
