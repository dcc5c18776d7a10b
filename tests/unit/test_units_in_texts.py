"""A number gets its unit in one place: no other text is glued together from a number and its unit."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import curewatch

ROOT = Path(curewatch.__file__).parent
UNITS = r" ?(?:°C|°F|degC|K|g|kg|oz)(?![\w/³(])"
GLUED = re.compile(UNITS)
PERHAPS = re.compile(rf"[}}\"']{UNITS}|%H:%M")  # in the text of a module: without it nothing is glued
THE_PLACE = {"wording.py"}
# What may: file -> why it needs no reader's units.
FREE = {
    "advice/judge/checks.py": "the source of an assumed limit; Wording.retold tells it",
    "advice/plan/mixing.py": "a refusal of what was typed",
    "cli/commands/air.py": "a hint about the two scales",
    "cli/setup/pointing.py": "a value of a message, in the unit that the person is asked about",
    "cli/screens/levers.py": "kilograms of water to take out",
    "cli/typed.py": "what is allowed, in both scales",
    "worklog/quality.py": "a refusal of what was typed",
    "worklog/telling.py": "a refusal of what was typed",
    "materials/maker_sheet.py": "a maker's statement; Wording.retold tells it",
    "shed/forecasts.py": "a refusal of a forecast, in the unit that its file is to have",
    "physics/saturated_salts.py": "a refusal of an equation, in SI",
}


def glued(source: str) -> Iterator[str]:
    """Texts in which a unit, or an hour, follows a number that was put in."""
    if not PERHAPS.search(source):
        return
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.JoinedStr):
            for before, part in zip(node.values, [*node.values[1:], None], strict=True):
                number = isinstance(before, ast.FormattedValue)
                text = part.value if isinstance(part, ast.Constant) else ""
                if number and (GLUED.match(str(text)) or "%H:%M" in ast.unparse(before)):
                    yield ast.unparse(node)


def test_the_looking_finds_what_it_looks_for() -> None:
    """A temperature, a difference, a mass and an hour are found; a unit of something else is not."""
    for text in ("{t:.1f} °C", "{m} K above", "{m:g} g of resin", "{at:%H:%M} local"):
        assert list(glued(f'x = f"{text}"')), text
    for text in ("{a:g} g/m²", "{x:.2f} g/m³", "{w} kW", "{k} kinds", "{h} hours"):
        assert not list(glued(f'x = f"{text}"')), text


def test_no_text_has_a_unit_of_its_own() -> None:
    """Everything else goes through Wording, or leaves its numbers open in a phrase."""
    found = {
        str(path.relative_to(ROOT)): texts
        for path in sorted(ROOT.rglob("*.py"))
        if path.name not in THE_PLACE and (texts := list(glued(path.read_text(encoding="utf-8"))))
    }
    assert found.keys() - FREE.keys() == set(), found
    assert FREE.keys() - found.keys() == set(), "named as free, and nothing is found there"
