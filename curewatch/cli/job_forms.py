"""What each form of the job log asks: one row a field, read by one function in options and questions."""

import re
from collections.abc import Callable
from datetime import date
from typing import Any

from curewatch.cli.typed import (
    added_mass_from_text,
    batch_mass_from_text,
    face_from_text,
    mass_from_text,
    moisture_from_text,
    span_from_text,
    temperature_from_text,
)
from curewatch.errors import UsageError
from curewatch.jobs import PART_LONGEST
from curewatch.logbook import EntryKind
from curewatch.wording import Wording
from curewatch.worklog.fields import BY, Field, joined, length_between, listed, millimetres, one_of, words
from curewatch.worklog.opening import OPENING, resin_typed

MOST_READINGS = 100  # of one check


def _number(unit: str, lowest: float, highest: float, scale: float = 1.0) -> Callable[[str, str], float]:
    def read(text: str, option: str) -> float:
        number = re.fullmatch(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*[a-z%]*\s*", text.lower())
        value = float(number[1].replace(",", ".")) if number else -1.0
        if not lowest <= value <= highest:
            raise UsageError(f"{option}: found {text!r}. Use {lowest:g} to {highest:g} {unit}".rstrip())
        return value * scale

    return read


def _passed(text: str, option: str) -> bool:
    return one_of("passed", "failed")(text, option) == "passed"


def _in_percent(value: Any, words: Wording) -> str:
    return f"{100 * float(value):g} %"


def _part(text: str, option: str) -> str:
    """A part's name: it stands in every alert, so it is short."""
    said = words(text, option)
    if len(said) > PART_LONGEST:
        raise UsageError(f"{option}: found {len(said)} characters. Use at most {PART_LONGEST}")
    return said


def _batches(text: str, option: str) -> list[str]:
    """Names of batches; a mass in their place is a slip that can be told."""
    found = [name.upper() for name in listed(text, option)]
    strange = [name for name in found if not re.fullmatch(r"B[1-9][0-9]*", name)]
    if strange:
        raise UsageError(
            f"{option}: found {strange[0].lower()!r}. Use a batch's name, B1; a mass is --mass 150 g"
        )
    return list(dict.fromkeys(found))


def _one_batch(text: str, option: str) -> str:
    found = _batches(text, option)
    if len(found) != 1:
        raise UsageError(f"{option}: found {text!r}. Use one name: B1")
    return found[0]


def _count(text: str, option: str) -> int:
    if not re.fullmatch(r"\s*[1-9][0-9]?\s*", text):
        raise UsageError(f"{option}: found {text!r}. Use a whole number from 1 to 99")
    return int(text)


def _heavy(kilogram: Any, words: Wording) -> str:
    return words.weighed(float(kilogram))


def _warm(kelvin: Any, words: Wording) -> str:
    return words.temperature(float(kelvin))


def _mass(text: str, option: str) -> float:
    return mass_from_text(text, option)


def _span(text: str, option: str) -> float:
    return span_from_text(text, option)


def _batch_mass(text: str, option: str) -> float:
    return batch_mass_from_text(text, option)


def _day(text: str, option: str) -> str:
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError as trouble:
        raise UsageError(f"{option}: found {text!r}. Use a day such as 2027-05-31") from trouble


def _readings(text: str, option: str) -> list[float]:
    """Numbers parted by commas, or by blanks where the comma is decimal: ``41,43,40``, ``3,1 3,2``."""
    read, said = _number("", 0, 1000), text.strip(" ,;")
    if "." not in said and re.search(r"\d,\d", said) and re.search(r",\s", said):
        raise UsageError(
            f"{option}: found {text!r}, with commas of two kinds. Part readings by blanks: 41 43 40"
        )
    if re.fullmatch(r"\d\d+,\d\d+", said):
        either = f"{said.replace(',', '.')} or {said.replace(',', ' and ')}"
        raise UsageError(f"{option}: found {text!r}, which may be {either}. Part readings by blanks: 41 43")
    parting = "." in said or (said.count(",") > 1 and not re.search(r"[;\s]", said))
    parts = r"[,;\s]+" if parting else r"[;\s]+|,\s+"  # else a comma is decimal
    found = [read(each, option) for each in re.split(parts, said) if each]
    if len(found) > MOST_READINGS:
        raise UsageError(f"{option}: found {len(found)} readings. Use at most {MOST_READINGS}")
    return found


def _spoken(value: Any, _: Wording) -> str:
    return ", ".join(f"{each:g}" for each in value)


TEXT = Field("text", "Remark", words)
LAYER = Field("layer", "Layer (last one if empty)", words)


def of_batch(added: str) -> tuple[Field, ...]:
    """What is still asked of a batch whose resin is known: ``added`` is hardener or peroxide, never both."""
    other = {"hardener": "peroxide", "peroxide": "hardener"}[added]
    return tuple(each for each in FORMS[EntryKind.BATCH][1:] if not each.key.startswith(other))


FORMS: dict[str, tuple[Field, ...]] = {
    EntryKind.JOB_OPEN: OPENING,
    EntryKind.BATCH: (
        Field("resin", "Resin system", resin_typed, carried=True, name="resin"),
        Field(
            "resin_mass",
            "Resin as weighed, e.g. 200 g",
            _batch_mass,
            needed=True,
            say=_heavy,
            bare=batch_mass_from_text,
        ),
        Field(
            "hardener_mass",
            "Hardener as weighed, e.g. 44 g",
            added_mass_from_text,
            needed=True,
            say=_heavy,
            bare=added_mass_from_text,
        ),
        Field(
            "peroxide_mass",
            "Peroxide as weighed, e.g. 4 g",
            added_mass_from_text,
            needed=True,
            say=_heavy,
            bare=added_mass_from_text,
        ),
        Field("resin_lot", "Lot number of the resin", words, carried=True),
        Field("hardener_lot", "Lot number of the hardener", words, carried=True),
        Field("peroxide_lot", "Lot number of the peroxide", words, carried=True),
        *(
            field
            for added in ("resin", "hardener", "peroxide")
            for field in (
                Field(
                    f"{added}_product", f"Maker and product of the {added}", words, carried=True, asked=False
                ),
                Field(
                    f"{added}_expiry",
                    f"Its lot expires, e.g. 2027-05-31 ({added})",
                    _day,
                    carried=True,
                    asked=False,
                ),
            )
        ),
        Field("weighed_on", "Scale, and when it was last checked", words, carried=True, asked=False),
        Field(
            "pot_temperature",
            "Temperature in the pot, e.g. 18 C",
            temperature_from_text,
            say=_warm,
            bare=temperature_from_text,
        ),
        Field("probe", "Sensor in a cup of it, one with the role cup", words, asked=False),
        Field(
            "probe_mass",
            "Mixed in that cup; all of the batch if empty",
            _batch_mass,
            say=_heavy,
            bare=batch_mass_from_text,
            asked=False,
        ),
        BY,
        TEXT,
    ),
    EntryKind.LAYER: (
        Field("part", "Part of the work, e.g. rudder cheek", _part),
        Field(
            "batches",
            "Batches used, as written on the cups: B1, B2",
            _batches,
            say=joined,
            name="batch",
            many=True,
        ),
        Field("layers", "How many layers of cloth", _count),
        Field("cloth", "Cloth, e.g. biaxial 450 g/m2", words),
        Field("orientation", "Order and orientation of the cloth, e.g. 0/90, 45, 0/90", words, asked=False),
        Field("cloth_lot", "Lot number of the cloth", words, asked=False),
        Field(
            "fibre_share", "Fibre in the laminate in per cent by mass", _number("%", 5, 90, 0.01), asked=False
        ),
        Field(
            "batch_mass",
            "Mixed in one pot, e.g. 150 g (that of the batches if empty)",
            _batch_mass,
            say=_heavy,
            name="mass",
            bare=batch_mass_from_text,
        ),
        Field(
            "resin",
            "Resin system, if another than that of the batch or the shelf",
            resin_typed,
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
        Field(
            "probe",
            "Sensor in the layer, or in a cup of its mix (its role: layer or cup)",
            words,
            asked=False,
        ),
        Field(
            "probe_mass",
            "Mixed in that cup; all of the batch if empty",
            _batch_mass,
            say=_heavy,
            bare=batch_mass_from_text,
            asked=False,
        ),
        Field(
            "face",
            "What lies below: bare-timber, primed-timber, epoxy …",
            face_from_text,
            name="on",
            asked=False,
        ),
        Field(
            "moisture",
            "Of the timber below, by a meter, in %",
            moisture_from_text,
            say=_in_percent,
            asked=False,
        ),
        Field("note", "A few words, kept with it", words, name="text"),
        BY,
    ),
    EntryKind.POT_EMPTY: (
        Field("batch", "Batch that was not laid: B1", _one_batch),
        Field("layer", "Layer (the one open pot if empty)", words),
        BY,
        TEXT,
    ),
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
    EntryKind.PRIMER: (
        Field("part", "Part of the work, e.g. rudder cheek", _part),
        Field("product", "Which primer", words, carried=True),
        Field("product_lot", "Its lot number", words, carried=True),
        Field("tacky_after", "Tacky after, as its sheet states (20 min if empty)", _span),
        Field("open_for", "No longer tacky after, as its sheet states", _span),
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
            "Which check: barcol, coin tap, peel coupon, thickness",
            one_of("barcol", "coin tap", "peel coupon", "thickness"),
            needed=True,
        ),
        Field("value", "Barcol reading", _number("", 0, 100)),
        Field("readings", "Readings, e.g. 41, 43, 40; thickness in mm", _readings, say=_spoken, asked=False),
        Field("required", "Value that is required", _number("", 0, 1000), asked=False),
        Field("instrument", "Instrument, and when it was last checked", words, asked=False),
        Field("load", "Peel coupon: load on the lever, e.g. 2 kg", _mass, say=_heavy, bare=mass_from_text),
        Field(
            "arm",
            "Peel coupon: lever arm in mm",
            length_between(1e-3, 5.0),
            say=millimetres,
        ),
        Field("passed", "passed or failed", _passed, say=lambda passed, _: "passed" if passed else "failed"),
        LAYER,
        BY,
        TEXT,
    ),
    EntryKind.DEVIATION: (
        Field("deviation", "What was otherwise than planned", words, needed=True),
        Field("decision", "What was decided", words, needed=True),
        Field("decided_by", "Who decided it", words, needed=True),
        BY,
    ),
    EntryKind.SIGN_OFF: (
        Field("role", "done, or checked", one_of("done", "checked"), needed=True, name="as"),
        Field("by", "Who signs", words, needed=True),
        TEXT,
    ),
    EntryKind.NOTE: (Field("text", "Note", words, needed=True), BY),
    EntryKind.PHOTO: (Field("text", "What it shows", words), BY),
    EntryKind.JOB_REOPEN: (Field("reason", "Why it is opened again", words, needed=True), BY),
    EntryKind.JOB_CLOSE: (Field("outcome", "How it ended", words), BY),
}
