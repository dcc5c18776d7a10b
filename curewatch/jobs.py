"""The work at the bench as values everyone shares: a layer laid, a batch mixed, something seen.

They are what the logbook stores as entries and what the model and the advice read. Times are UTC
seconds; masses kilograms; temperatures kelvin.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer in progress: what the countdowns are about."""

    layer: str  # short name, unique in the logbook: L1, L2, …
    started: float  # UTC, when the resin was mixed [s]
    resin: str  # name of the resin system
    batch_mass: float | None = None  # mixed mass in one pot [kg]
    thickness: float = 0.8e-3  # of the wet laminate or film [m]
    peroxide_percent: float | None = None  # polyester and vinyl ester only, per cent by mass of resin
    peroxide_assumed: bool = False  # nobody gave that dose: it is the resin's normal one
    surface: str = "hull"  # sensor role or name that stands for the surface
    job: str | None = None
    lot: str | None = None  # resin lot: learning is kept per lot
    note: str = ""
    given_afterwards: bool = False  # "20 min ago": the time was told, not stamped
    pot_emptied: float | None = None  # UTC, when somebody said that nothing is left in its pot [s]


def layer_as_plain(layer: Layer) -> dict[str, Any]:
    """The payload of a logbook entry of kind ``layer``; what is not said is left out."""
    return {key: value for key, value in asdict(layer).items() if value is not None}


def layer_from_plain(plain: Mapping[str, Any]) -> Layer:
    """The layer that such a payload says; keys it does not know are passed over.

    Raises
    ------
    KeyError, TypeError, ValueError
        It is not such a payload.
    """
    known = {each.name: plain[each.name] for each in fields(Layer) if each.name in plain}
    known |= {key: str(plain[key]) for key in ("layer", "resin")} | {"started": float(plain["started"])}
    return Layer(**known)
