"""No built-in constant can change unnoticed: a table of answers, and each constant moved."""

import math
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import curewatch
from curewatch.errors import ConfigurationError
from curewatch.materials import cloth, load_resin, resin_names, sensor_part, substrate
from tests.constants import Answers, differ, kept, of_cloth, of_part, of_resin, of_substrate, told

MATERIALS = Path(curewatch.__file__).parent / "materials"
MOVED = 1.1  # what a constant is multiplied by; one of these two must be a value that the file may have
BACK = 0.93
UNFELT = {  # and why no answer can change
    "no amine, so nothing blushes": {
        "polyester-laminating": ("blush.energy", "blush.peel_ply_from", "blush.wash_from"),
        "polyester-topcoat": ("blush.energy", "blush.peel_ply_from", "blush.wash_from"),
        "vinyl-ester": ("blush.energy", "blush.peel_ply_from", "blush.wash_from"),
    },
    "wax floats up: it has no window": {
        "polyester-topcoat": (
            *("bond.best_from", "bond.best_until", "bond.closes"),
            *("bond.sheet_closes", "bond.sheet_temperature"),
        ),
    },
    "the stated day closes the window sooner": {
        "polyester-laminating": ("bond.closes",),
        "vinyl-ester": ("bond.closes",),
    },
    "it gels at a few per cent, where the exponent hardly grows": {
        "polyester-laminating": ("milestones.viscosity_b",),
        "polyester-topcoat": ("milestones.viscosity_b",),
        "vinyl-ester": ("milestones.viscosity_b",),
    },
}
VALUE = re.compile(r"^(\w+) = \{ value = (-?[\d.e+-]+)")


@pytest.mark.long
def test_every_answer_is_that_of_the_table():
    """Each answer about each resin, substrate, cloth and part; none is missing, none is new."""
    now, before = told(), kept()
    assert now.keys() == before.keys()
    assert {key: (value, before[key]) for key, value in now.items() if differ(value, before[key])} == {}


def constants(text: str) -> Iterator[tuple[int, str, str, float]]:
    """Line, section, key and value of each number of a file."""
    section = ""
    for place, line in enumerate(text.splitlines()):
        if line.startswith("["):
            section = line[1 : line.index("]")]
        if found := VALUE.match(line):
            yield place, section, found[1], float(found[2])


def moved(text: str, place: int, value: float, by: float) -> str:
    """The file with that number multiplied; 0 becomes 0.01."""
    lines = text.splitlines()
    lines[place] = VALUE.sub(rf"\1 = {{ value = {value * by if value else 0.01!r}", lines[place], count=1)
    return "\n".join(lines)


def of_this(about: str) -> Answers:
    """What the table says about one thing."""
    return {answer: value for (subject, answer), value in kept().items() if subject == about}


def changed(before: Answers, now: Answers) -> bool:
    """Whether any answer is another, or there or not there."""
    return now.keys() != before.keys() or any(differ(now[key], before[key]) for key in before)


@pytest.mark.long
@pytest.mark.parametrize("name", resin_names())
def test_each_number_of_a_resin_changes_an_answer(name: str, tmp_path: Path):
    """The control: every number of its file, alone, a tenth larger or seven per cent smaller."""
    text, before = (MATERIALS / "resins" / f"{name}.toml").read_text("utf-8"), of_this(name)
    unnoticed, tried = set[str](), 0
    for place, section, key, value in constants(text):
        for by in (MOVED, BACK):
            (tmp_path / f"{name}.toml").write_text(moved(text, place, value, by), "utf-8")
            try:
                resin = load_resin(tmp_path / f"{name}.toml")
            except ConfigurationError:
                continue  # such a value is refused: that is noticed, too
            tried += 1
            if not changed(before, of_resin(resin)):
                unnoticed.add(f"{section}.{key}")
            break
    assert tried > 30
    assert unnoticed == {each for why in UNFELT.values() for each in why.get(name, ())}


TABLES: dict[str, tuple[Any, Callable[[str], Answers]]] = {
    "substrates.toml": (substrate, lambda name: of_substrate(substrate.load_substrate(name))),
    "cloth.toml": (cloth, lambda name: of_cloth(cloth.load_cloth(name))),
    "sensor_parts.toml": (sensor_part, lambda name: of_part(sensor_part.load_sensor_part(name))),
}


@pytest.mark.parametrize("file", TABLES)
def test_each_number_of_a_table_changes_an_answer(file: str, monkeypatch: pytest.MonkeyPatch):
    """The control: substrates, cloths and classes of parts."""
    module, answers = TABLES[file]
    text, unnoticed, tried = (MATERIALS / file).read_text("utf-8"), [], 0
    for place, name, key, value in constants(text):
        data = tomllib.loads(moved(text, place, value, MOVED))
        monkeypatch.setattr(module, "_table", lambda data=data: data)
        tried += 1
        if not changed(of_this(name), answers(name)):
            unnoticed.append((name, key))
    assert tried >= 20
    assert unnoticed == []


def test_nan_is_an_answer():
    """Never is never, and is not some time."""
    assert not differ(math.nan, math.nan)
    assert differ(math.nan, 1.0)
    assert differ(1.0, 1.01)
