"""What each form of the job log asks: one row a field, read by one function in options and questions."""

import re
from collections.abc import Callable
from typing import Any

from curewatch.cli.forms import Field, one_of, words
from curewatch.cli.typed import batch_mass_from_text, mass_from_text, temperature_from_text
from curewatch.errors import UsageError
from curewatch.logbook import EntryKind
from curewatch.materials import resin_names
from curewatch.materials.substrate import substrate_names
from curewatch.wording import Wording


def _number(unit: str, lowest: float, highest: float, scale: float = 1.0) -> Callable[[str, str], float]:
    def read(text: str, option: str) -> float:
        number = re.fullmatch(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*[a-z%]*\s*", text.lower())
        value = float(number[1].replace(",", ".")) if number else -1.0
        if not lowest <= value <= highest:
            raise UsageError(f"{option} {text!r}; allowed: {lowest:g} to {highest:g} {unit}".rstrip())
        return value * scale

    return read


def _passed(text: str, option: str) -> bool:
    return one_of("passed", "failed")(text, option) == "passed"


def _listed(text: str, option: str) -> list[str]:
    """Words parted by commas."""
    return [part.strip() for part in words(text, option).split(",") if part.strip()]


def _batches(text: str, option: str) -> list[str]:
    """Names of batches; a mass in their place is a slip that can be told."""
    found = [name.upper() for name in _listed(text, option)]
    strange = [name for name in found if not re.fullmatch(r"B[1-9][0-9]*", name)]
    if strange:
        raise UsageError(
            f"{option} {strange[0].lower()!r} is not the name of a batch; write B1; a mass is --mass 150 g"
        )
    return list(dict.fromkeys(found))


def _count(text: str, option: str) -> int:
    if not re.fullmatch(r"\s*[1-9][0-9]?\s*", text):
        raise UsageError(f"{option} {text!r}; allowed: a whole number from 1 to 99")
    return int(text)


def _heavy(kilogram: Any, words: Wording) -> str:
    return words.weighed(float(kilogram))


def _warm(kelvin: Any, words: Wording) -> str:
    return words.temperature(float(kelvin))


def _millimetres(metre: Any, _: Wording) -> str:
    return f"{float(metre) * 1000:g}"


def _joined(several: Any, _: Wording) -> str:
    return ", ".join(several)


def _resin(text: str, option: str) -> str:
    """A built-in resin system or the user's own file: looked up when it is used."""
    said = text.strip()
    known = resin_names()
    if said in known or said.endswith(".toml"):
        return said
    raise UsageError(f"{option} {text!r}; allowed: {', '.join(known)}, or a .toml file of your own")


def _mass(text: str, option: str) -> float:
    return mass_from_text(text, option)


def _batch_mass(text: str, option: str) -> float:
    return batch_mass_from_text(text, option)


BY = Field("by", "Who", words, carried=True)
TEXT = Field("text", "Remark", words)
LAYER = Field("layer", "Layer (last one if empty)", words)


def of_batch(added: str) -> tuple[Field, ...]:
    """What is still asked of a batch whose resin is known: ``added`` is hardener or peroxide, never both."""
    other = {"hardener": "peroxide", "peroxide": "hardener"}[added]
    return tuple(each for each in FORMS[EntryKind.BATCH][1:] if not each.key.startswith(other))


FORMS: dict[str, tuple[Field, ...]] = {
    EntryKind.JOB_OPEN: (
        Field("title", "What is done, e.g. new rudder cheek", words, needed=True),
        Field("boat", "Boat", words),
        Field("what", "Part and material", words),
        Field("resin", "Resin system", _resin, name="resin"),
        Field("substrate", "Substrate", one_of(*substrate_names())),
        Field(
            "thickness",
            "Thickness of the substrate in mm",
            _number("mm", 0.1, 500, 1e-3),
            say=_millimetres,
        ),
        Field("rules", "Rule sets, parted by commas", _listed, say=_joined),
        BY,
    ),
    EntryKind.BATCH: (
        Field("resin", "Resin system", _resin, carried=True, name="resin"),
        Field("resin_mass", "Resin as weighed, e.g. 200 g", _mass, needed=True, say=_heavy),
        Field("hardener_mass", "Hardener as weighed, e.g. 44 g", _mass, needed=True, say=_heavy),
        Field("peroxide_mass", "Peroxide as weighed, e.g. 4 g", _mass, needed=True, say=_heavy),
        Field("resin_lot", "Lot number of the resin", words, carried=True),
        Field("hardener_lot", "Lot number of the hardener", words, carried=True),
        Field("peroxide_lot", "Lot number of the peroxide", words, carried=True),
        Field("pot_temperature", "Temperature in the pot, e.g. 18 C", temperature_from_text, say=_warm),
        BY,
        TEXT,
    ),
    EntryKind.LAYER: (
        Field(
            "batches",
            "Batches used, as written on the cups: B1, B2",
            _batches,
            say=_joined,
            name="batch",
            many=True,
        ),
        Field("layers", "How many layers of cloth", _count),
        Field("cloth", "Cloth, e.g. biaxial 450 g/m2", words),
        Field(
            "batch_mass",
            "Mixed in one pot, e.g. 150 g (that of the batches if empty)",
            _batch_mass,
            say=_heavy,
            name="mass",
        ),
        Field(
            "resin",
            "Resin system, if another than that of the batch or the shelf",
            _resin,
            name="resin",
            asked=False,
        ),
        Field(
            "peroxide_percent",
            "Polyester: peroxide in per cent by mass",
            _number("%", 0.1, 10),
            name="peroxide",
            asked=False,
        ),
        Field("lot", "Lot number of the resin, if another", words, asked=False),
        Field("note", "A few words, kept with it", words, name="text"),
        BY,
    ),
    EntryKind.POT_EMPTY: (LAYER, BY, TEXT),
    EntryKind.PEEL_PLY: (
        Field("action", "Peel ply on or off", one_of("on", "off"), needed=True),
        LAYER,
        BY,
        TEXT,
    ),
    EntryKind.WASH: (
        Field("action", "wash, abrade, or both", one_of("wash", "abrade", "both"), needed=True),
        LAYER,
        BY,
        TEXT,
    ),
    EntryKind.OBSERVATION: (
        Field(
            "observed",
            "What was observed: kicked, gelled, tack-free, firm",
            one_of("kicked", "gelled", "tack-free", "firm"),
            needed=True,
        ),
        Field("lot", "Lot number of the resin", words),
        BY,
        TEXT,
    ),  # told by `observe`, which asks what and who
    EntryKind.QUALITY: (
        Field(
            "check",
            "Which check: barcol, coin tap, peel coupon",
            one_of("barcol", "coin tap", "peel coupon"),
            needed=True,
        ),
        Field("value", "Barcol reading", _number("", 0, 100)),
        Field("load", "Peel coupon: load on the lever, e.g. 2 kg", _mass, say=_heavy),
        Field(
            "arm",
            "Peel coupon: lever arm in mm",
            _number("mm", 1, 5000, 1e-3),
            say=_millimetres,
        ),
        Field("passed", "passed or failed", _passed, say=lambda passed, _: "passed" if passed else "failed"),
        LAYER,
        BY,
        TEXT,
    ),
    EntryKind.NOTE: (Field("text", "Note", words, needed=True), BY),
    EntryKind.PHOTO: (Field("text", "What it shows", words), BY),
    EntryKind.JOB_CLOSE: (Field("outcome", "How it ended", words), BY),
}
