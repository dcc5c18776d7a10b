"""The form for a maker's sheet: what it takes, and what it refuses with file, line, key, found, allowed."""

from pathlib import Path

import pytest

from curewatch.errors import ConfigurationError
from curewatch.materials.maker_sheet import MakerSheet, base_of, form_text, read_maker_sheet

HEAD = 'name = "demo"\ntitle = "Demo"\nkind = "epoxy"\n'
POT = "[[pot_life]]\nminutes = 40\nmass_g = 100\ntemperature_c = 25\n"


def read(folder: Path, text: str) -> MakerSheet:
    file = folder / "sheet.toml"
    file.write_text(text, encoding="utf-8")
    return read_maker_sheet(file)


def test_the_form_itself_is_a_sheet(tmp_path: Path) -> None:
    """The printed form can be read as it stands, and every statement of it arrives in SI."""
    found = read(tmp_path, form_text())
    assert len(found.statements) == 7
    assert len(found.transitions) == 2
    first = found.statements[0]
    assert (first.mark, first.mass, first.temperature) == ("gel", 0.1, 298.15)
    assert 38 * 60 < first.time < 46 * 60
    ends = found.recoat_closes
    assert ends is not None
    assert (ends.mark, ends.time, ends.temperature, ends.line) == ("recoat_until", 32400.0, 293.15, 55)
    assert found.mix is not None
    assert found.mix.hardener_mass == pytest.approx(0.24)


def test_one_statement_is_a_sheet(tmp_path: Path) -> None:
    """A pot life alone is enough; what of the mix is not stated is said to be assumed."""
    found = read(tmp_path, HEAD + POT)
    assert len(found.statements) == 1
    assert found.mix_assumed == ("the whole mix",)


def test_a_volume_ratio_alone_becomes_a_mass_ratio(tmp_path: Path) -> None:
    """100:30 by volume with densities 1.2 and 1.0 is 100:25 by mass."""
    mix = "[mix]\nhardener_per_100_by_volume = 30\nresin_density_g_cm3 = 1.2\nhardener_density_g_cm3 = 1.0\n"
    found = read(tmp_path, HEAD + POT + mix)
    assert found.mix is not None
    assert found.mix.hardener_mass == pytest.approx(0.25)


MIX = "[mix]\nhardener_per_100_by_mass = {mass}\nhardener_per_100_by_volume = {volume}\n"
DENSITIES = "resin_density_g_cm3 = 1.15\nhardener_density_g_cm3 = 0.98\n"
REFUSED = {
    "no statement": (HEAD, "no statement about time", None, "pot_life"),
    "unknown key": (HEAD + POT + "colour = 1\n", "key 'colour'", 8, "pot_life.colour"),
    "no mass": (
        HEAD + "[[pot_life]]\nminutes = 40\ntemperature_c = 25\n",
        "found nothing. Use a number, 1 to 20000",
        4,
        "pot_life.mass_g",
    ),
    "kelvin for celsius": (HEAD + POT.replace("25", "298"), "298", 7, "pot_life.temperature_c"),
    "both units": (HEAD + POT + "hours = 1\n", "minutes and hours", 5, "pot_life.minutes"),
    "pair the wrong way round": (
        HEAD + POT.replace("40", "[50, 40]"),
        "the shorter time first",
        5,
        "pot_life.minutes",
    ),
    "mass and volume disagree": (
        HEAD + POT + MIX.format(mass=24, volume=50) + DENSITIES,
        "42.6 by mass, beside 24 by mass",
        10,
        "mix.hardener_per_100_by_volume",
    ),
    "equivalents disagree": (
        HEAD
        + POT
        + "[mix]\nhardener_per_100_by_mass = 50\namine_hydrogen_weight = 46\nepoxy_equivalent_weight = 190\n",
        "equivalent weights ask for 24.2",
        10,
        "mix.amine_hydrogen_weight",
    ),
    "gel before the working time": (
        HEAD
        + "[[gel_time]]\nhours = 1\ntemperature_c = 20\n[[working_time]]\nhours = 2\ntemperature_c = 20\n",
        "before working time",
        4,
        None,
    ),
    "a larger cup that lasts longer": (
        HEAD + POT + POT.replace("100", "500").replace("40", "60"),
        "a larger mass that lasts longer",
        8,
        None,
    ),
    "a dose in an epoxy": (
        HEAD + POT + "peroxide_percent = 2\n",
        "epoxy keeps its mix ratio",
        8,
        "pot_life.peroxide_percent",
    ),
    "recoat that closes before it opens": (
        HEAD + "[[recoat]]\nfrom_hours = 5\nuntil_hours = 4\ntemperature_c = 20\n",
        "not after 5 h",
        6,
        "recoat.until_hours",
    ),
    "a schedule that is none": (
        HEAD + "[[glass_transition]]\ncelsius = 60\nafter = 24\n",
        "hours = 24, temperature_c = 20",
        6,
        "glass_transition.after",
    ),
    "a name with a space": (HEAD.replace('"demo"', '"De mo"') + POT, "small letters", 1, "name"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_true_is_refused_with_its_place(tmp_path: Path, case: str) -> None:
    """File, line, key, what was found and what is allowed."""
    text, said, line, key = REFUSED[case]
    with pytest.raises(ConfigurationError) as rejected:
        read(tmp_path, text)
    assert said in str(rejected.value)
    assert "sheet.toml" in str(rejected.value)
    assert (rejected.value.line, rejected.value.key) == (line, key)


def test_an_unknown_base_is_refused_by_line(tmp_path: Path) -> None:
    """A slip in ``based_on`` names file, line and key, the nearest name and all that there are."""
    file = tmp_path / "sheet.toml"
    file.write_text(HEAD + 'based_on = "epoxy-sloww"\n' + POT, encoding="utf-8")
    with pytest.raises(ConfigurationError) as rejected:
        base_of(read_maker_sheet(file))
    said = str(rejected.value)
    assert "sheet.toml, line 4, key based_on" in said
    assert "Did you mean epoxy-slow?" in said
    assert "Use epoxy-fast" in said


def test_a_base_beside_the_sheet_is_found_from_anywhere(tmp_path: Path) -> None:
    """A relative file is looked for beside the sheet that names it."""
    (tmp_path / "mine.toml").write_text(
        'name = "mine"\ntitle = "Mine"\nnote = "demo"\nbased_on = "epoxy-fast"\n', encoding="utf-8"
    )
    file = tmp_path / "sheet.toml"
    file.write_text(HEAD + 'based_on = "mine.toml"\n' + POT, encoding="utf-8")
    assert base_of(read_maker_sheet(file)).name == "mine"
