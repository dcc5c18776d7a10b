"""The work at the bench as values everyone shares: a layer laid, a batch mixed, something seen.

They are what the logbook stores as entries and what the model and the advice read. Times are UTC
seconds; masses kilograms; temperatures kelvin.
"""

import unicodedata
from collections.abc import Mapping
from enum import StrEnum
from typing import Any, NamedTuple

from msgspec import Struct
from msgspec.structs import asdict, fields

PART_LONGEST = 40  # characters: it stands in every alert and on every row


def look_alike(name: str) -> str:
    """Why a name could be taken for another one that looks the same; "" if it cannot."""
    scripts = {unicodedata.name(letter, "?").split()[0] for letter in name if letter.isalpha()}
    if len(scripts) > 1:
        return f"letters of {' and '.join(sorted(scripts)).title()} in one name"
    if unicodedata.normalize("NFC", name) != name:
        return "letters and their marks apart"
    if any(unicodedata.category(letter) in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} for letter in name):
        return "a character that nobody sees"
    return ""


def part_of(title: str) -> str:
    """The part that a job is about where nobody named one: its title, as much of it as fits."""
    return " ".join(title.split())[:PART_LONGEST].strip()


class FaceBelow(StrEnum):
    """What lies below, as a person says it."""

    TIMBER = "bare-timber"
    PRIMED = "primed-timber"  # with a primer that cures with moisture
    FOAM = "foam"
    POLYESTER = "polyester"  # or vinyl ester or gelcoat, cured
    EPOXY = "epoxy"  # cured, also as a seal on timber
    TIE_COAT = "tie-coat"
    LAMINATE = "old-laminate"  # of a resin that nobody told
    METAL = "metal"


class Layer(Struct, frozen=True):
    """One layer in progress: what the countdowns are about."""

    layer: str  # short name, unique in the logbook: L1, L2, …
    started: float  # UTC, when the resin was mixed [s]
    resin: str  # name of the resin system
    batch_mass: float | None = None  # mixed mass in one pot [kg]
    thickness: float = 0.8e-3  # of the wet laminate or film [m]
    fibre: float | None = None  # share of it that is fibre, by mass; the usual one if nobody said [1]
    substrate: str = ""  # that it lies on; as configured if nobody said
    substrate_thickness: float | None = None  # [m]
    insulated: bool | None = None  # no heat leaves by the substrate's back; as configured if nobody said
    peroxide_percent: float | None = None  # polyester and vinyl ester only, per cent by mass of resin
    peroxide_assumed: bool = False  # nobody gave that dose: it is the resin's normal one
    surface: str = "hull"  # sensor role or name that stands for the surface
    job: str | None = None
    part: str = ""  # of the work: rudder cheek
    lot: str | None = None  # resin lot: learning is kept per lot
    face: str = ""  # that it was laid on: bare-timber, epoxy …; empty if nobody told
    face_own: bool = False  # that face is the layer before it, of the same part
    moisture: float | None = None  # of that face by a meter; none if not measured [1]
    probe: str = ""  # sensor in it; empty for none
    cup: str = ""  # sensor in a cup of its batch; empty for none
    cup_mass: float | None = None  # in that cup; that of the batch if none [kg]
    note: str = ""
    given_afterwards: bool = False  # "20 min ago": the time was told, not stamped
    pot_emptied: float | None = None  # UTC, when somebody said that nothing is left in its pot [s]
    peel_ply_on: float | None = None  # UTC, when somebody said so, and not since that it came off [s]
    washed: float | None = None  # UTC, when somebody said so [s]
    abraded: float | None = None  # UTC, when somebody said so [s]
    covered: float | None = None  # UTC, when the next layer of its part was laid on it [s]

    @property
    def named(self) -> str:
        """Job, part and layer, as they are said: ``J1 rudder cheek, L2``."""
        place = OpenPart(self.job or "", self.part).named
        return f"{place}, {self.layer}" if place else self.layer


class OpenPart(NamedTuple):
    """A part of the work that nobody has said is over."""

    job: str  # empty where no job was opened
    part: str
    resin: str = ""  # of its last layer; empty before the first

    @property
    def named(self) -> str:
        """Job and part, as they are said: ``J1 rudder cheek``."""
        return " ".join(each for each in (self.job, self.part) if each)


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
