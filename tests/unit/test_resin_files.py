"""Resin systems come from files in which every number has a unit and an origin."""

from importlib import resources
from pathlib import Path

import pytest

from curewatch.errors import ConfigurationError, OutOfValidity, UsageError
from curewatch.materials import DoseOutOfRange, load_resin, resin_names
from curewatch.materials.quantities import QUANTITIES

ARCHETYPES = {
    "epoxy-slow",
    "epoxy-fast",
    "epoxy-laminating",
    "epoxy-low-blush",
    "polyester-laminating",
    "polyester-topcoat",
    "vinyl-ester",
}


def text_of(name: str) -> str:
    return (resources.files("curewatch.materials") / "resins" / f"{name}.toml").read_text("utf-8")


def test_the_seven_archetypes_are_there_and_say_that_they_are_archetypes() -> None:
    """Every built-in system loads and asks to be replaced by the maker's sheet."""
    assert set(resin_names()) == ARCHETYPES
    for name in resin_names():
        resin = load_resin(name)
        assert resin.name == name
        assert "generic archetype: replace by your maker's sheet" in resin.note


@pytest.mark.parametrize("name", sorted(ARCHETYPES))
def test_every_number_of_a_system_has_an_origin(name: str) -> None:
    """No number of a built-in system is without tag and source."""
    resin = load_resin(name)
    for key in QUANTITIES:
        section, _, leaf = key.partition(".")
        holder = getattr(resin, section, None)
        if section == "uncertainty" or (holder is not None and getattr(holder, leaf) is not None):
            if key == "kinetics.inhibitor" and resin.kinetics.inhibitor == 0.0:
                continue
            assert resin.origins[key].tag, key
            assert resin.origins[key].source, key


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('value = 58.5, unit = "kJ/mol"', 'value = 58.5, unit = "J/mol"', "20000 to 120000 J/mol"),
        ('value = 58.5, unit = "kJ/mol"', 'value = "hot", unit = "kJ/mol"', "a number"),
        ('value = 58.5, unit = "kJ/mol"', 'value = nan, unit = "kJ/mol"', "a number"),
        ('unit = "kJ/mol"', 'unit = "furlong"', "'J/mol' or 'kJ/mol'"),
        ('tag = "published"', 'tag = "heard it"', "'published' or"),
        ("energy_1 =", "energie_1 =", "energy_1"),
        ('kind = "epoxy"', 'kind = "epoksy"', "'epoxy' or 'polyester'"),
        ("[limits]", "[limitations]", "kinetics"),
        ("[kinetics]", "[kinetics", "TOML"),
    ],
)
def test_a_wrong_file_is_refused_by_file_line_and_key(tmp_path: Path, old: str, new: str, says: str) -> None:
    """The message names the file and the line and says what would be right."""
    path = tmp_path / "mine.toml"
    path.write_text(text_of("epoxy-slow").replace(old, new, 1), "utf-8")
    with pytest.raises(ConfigurationError) as rejected:
        load_resin(path)
    message = str(rejected.value)
    assert str(path) in message
    assert says in message
    assert rejected.value.line is not None


def test_a_missing_number_is_named(tmp_path: Path) -> None:
    """A file without gel conversion says which key it misses, and in which section's line."""
    lines = [line for line in text_of("epoxy-slow").splitlines() if not line.startswith("gel =")]
    path = tmp_path / "mine.toml"
    path.write_text("\n".join(lines), "utf-8")
    with pytest.raises(ConfigurationError, match=r"milestones\.gel: found nothing"):
        load_resin(path)


def test_a_users_file_may_say_only_what_differs(tmp_path: Path) -> None:
    """based_on takes everything else from the parent, and the parent is remembered."""
    (tmp_path / "shed-mix.toml").write_text(
        'name = "shed-mix"\ntitle = "Demo mix"\nnote = "demo"\nbased_on = "epoxy-slow"\n'
        '[kinetics]\nk2 = { value = 1.2, unit = "1/h", tag = "assumed", source = "demo" }\n',
        "utf-8",
    )
    resin, parent = load_resin("shed-mix", tmp_path), load_resin("epoxy-slow")
    assert resin.kinetics.k2 == pytest.approx(1.2 / 3600)
    assert resin.kinetics.k1 == parent.kinetics.k1
    assert resin.parent == "epoxy-slow"
    assert "shed-mix" in resin_names(tmp_path)


def test_a_file_of_the_program_is_read_once_and_a_users_file_each_time(tmp_path: Path) -> None:
    """A user's file wins over one of the program with its name, from the moment it is there."""
    own = tmp_path / "epoxy-slow.toml"
    assert load_resin("epoxy-slow", tmp_path) is load_resin("epoxy-slow")
    for title in ("Mine", "Mine, corrected"):
        own.write_text(f'name = "epoxy-slow"\nbased_on = "epoxy-fast"\ntitle = "{title}"\nnote = "own"\n')
        assert load_resin("epoxy-slow", tmp_path).title == title
    own.unlink()
    assert load_resin("epoxy-slow", tmp_path).title == load_resin("epoxy-slow").title


def test_no_file_of_the_program_rests_on_another() -> None:
    """Else a user's folder could change it, and it might not be kept."""
    assert not [name for name in ARCHETYPES if "based_on" in text_of(name)]


def test_an_unknown_name_offers_the_nearest() -> None:
    """A slip of the pen in a name is answered with the likely one."""
    with pytest.raises(UsageError, match="Did you mean epoxy-slow"):
        load_resin("epoxy-slwo")


def test_too_little_and_too_much_peroxide_are_both_told() -> None:
    """Each message says what is wrong, and the allowed range."""
    resin = load_resin("polyester-laminating")
    with pytest.raises(DoseOutOfRange, match=r"too little.*1 to 3 %"):
        resin.dose_factor(0.4)
    with pytest.raises(DoseOutOfRange, match=r"too much.*1 to 3 %"):
        resin.dose_factor(4.5)
    assert resin.dose_factor(3.0) > resin.dose_factor() == 1.0 > resin.dose_factor(1.0)


def test_a_dosed_system_carries_its_dose_in_its_rates() -> None:
    """What was mixed is the new normal: its rates moved by the dose factor, its own factor is one."""
    resin = load_resin("polyester-laminating")
    mixed = resin.dosed(3.0, 0.01)
    assert mixed.kinetics.k2 == pytest.approx(resin.kinetics.k2 * resin.dose_factor(3.0, 0.01))
    assert mixed.dose_factor() == 1.0
    assert load_resin("epoxy-slow").dosed() == load_resin("epoxy-slow")


def test_an_epoxy_takes_no_dose() -> None:
    """The ratio of an epoxy is never offered as a way to change its speed."""
    with pytest.raises(OutOfValidity, match="keeps its mix ratio"):
        load_resin("epoxy-fast").dose_factor(2.0)


def test_files_based_on_each_other_in_a_circle_are_refused(tmp_path: Path) -> None:
    """One file based on itself, or two on each other: told with file, line and key, no endless search."""
    text = 'name = "{0}"\ntitle = "Demo"\nnote = "demo"\nbased_on = "{1}.toml"\n'
    for name, base in (("self", "self"), ("one", "other"), ("other", "one")):
        (tmp_path / f"{name}.toml").write_text(text.format(name, base), encoding="utf-8")
    for name in ("self", "one"):
        with pytest.raises(ConfigurationError, match=r"line 4, key based_on.*based on this file again"):
            load_resin(tmp_path / f"{name}.toml")
