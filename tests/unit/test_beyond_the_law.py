"""Thickness, mass, dose or temperature outside the law's range: which, what is allowed, nothing computed."""

import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import numpy as np
import pytest
import typer.main

import curewatch.cli.main as program
from curewatch.cli.main import run
from curewatch.cli.typed import CURED_AT
from curewatch.configuration import load
from curewatch.errors import ConfigurationError, UsageError
from curewatch.logbook import Logbook
from curewatch.materials import load_resin, resin_names
from curewatch.materials.maker_sheet import read_maker_sheet
from curewatch.model.film.film import constant, cure
from curewatch.units import DAY
from curewatch.wording import plain_wording
from curewatch.worklog.opening import OPENING

FILE = '[shed]\nzone = "Europe/Lisbon"\n[logbook]\npath = "shed.sqlite"\n'
CURED, SHED, AIR = "-30 to 150 °C", "-30 to 50 °C", "-40 to 60 °C"
POT, LAMINATE, DOSE, CLOTH = "1 g to 20 kg", "0.1 to 100 mm", "1 to 3 %", "20 to 3000 g/m²"
SEEN, WET, HOLE = "-60 to 250 °C", "1 to 100 %", "up to 20000 mm"
POLYESTER = "--resin polyester-laminating"
LAYUP, CHOOSE = "layup round --length 120 --thickness 6", "choose --on polyester --thickness 8"
BATCH = "job batch --resin epoxy-fast --resin-mass 200 --hardener-mass 44"
# what is typed, with {} for the value; values beyond; which is named; what is allowed
TABLE: tuple[tuple[str, str, str, str], ...] = (
    ("cure --temperature {}", "900 151 -55", "--temperature", CURED),
    ("cure --temperature 20 --mass {}", "100kg 0.1g", "--mass", POT),
    ("cure --temperature 20 --thickness {}", "500 0 0.05", "--thickness", "0.1 to 50 mm"),
    ("cure --temperature 20 --humidity {}", "900 0 nan", "--humidity", WET),
    (f"cure --temperature 20 {POLYESTER} --peroxide {{}}", "9 0.1 0 nan", "peroxide", DOSE),
    (f"cure --temperature 20 {POLYESTER} --cobalt {{}}", "5 0 nan", "cobalt", "0.003 to 0.1 %"),
    ("resin compare --humidity 60 --temperature {}", "900 60 -90", "--temperature", SHED),
    ("resin compare --humidity 60 --temperature 12 --surface {}", "900 -90", "--surface", SHED),
    ("resin compare --temperature 12 --humidity {}", "900 0 nan", "--humidity", WET),
    ("cure --temperature {}", "nan", "--temperature", "no temperature"),
    ("tonight --mass {}", "nan 0", "--mass", "no mass"),
    ("choose --on polyester --thickness {}", "nan", "--thickness", "no length"),
    ("air {} 50", "900 -90", "air temperature", AIR),
    ("air 12 {}", "900 0 nan", "relative humidity", WET),
    ("air 12 50 --surface {}", "900 -90", "surface temperature", AIR),
    ("tonight --mass {}", "900kg", "--mass", POT),
    ("tonight --layers {}", "900 0", "--layers", "1 to 40"),
    ("tonight --moisture {}", "900 0 nan", "--moisture", WET),
    (f"tonight {POLYESTER} --peroxide {{}}", "9 0 nan", "peroxide", DOSE),
    ("windows --layers {}", "900 0", "--layers", "1 to 40"),
    ("layup round --length 120 --thickness {}", "900 0", "--thickness", LAMINATE),
    ("layup round --thickness 6 --length {}", "900000 0", "length", HOLE),
    ("layup oval --thickness 6 --length 120 --width {}", "900m", "width", HOLE),
    (f"{LAYUP} --areal {{}}", "90000 0", "cloth", CLOTH),
    (f"{LAYUP} --overlap {{}}", "9000", "--overlap", "0 to 1000 mm"),
    (f"{LAYUP} --pace {{}}", "0 -4 nan", "--pace", "0.5 to 600"),
    (f"{LAYUP} --scale {{}}", "0 nan", "--scale", "0.01 or more"),
    (f"{LAYUP} --moisture {{}}", "900 0", "--moisture", WET),
    (f"{LAYUP} {POLYESTER} --peroxide {{}}", "9 0.01 nan", "peroxide", DOSE),
    ("choose --on polyester --thickness {}", "900 0", "--thickness", LAMINATE),
    (f"{CHOOSE} --shape round --length {{}}", "900000 0", "length", HOLE),
    (f"{CHOOSE} --shape oval --length 120 --width {{}}", "900m", "width", HOLE),
    ("layer --mass {}", "900kg 0.1g", "--mass", POT),
    ("layer --layers {}", "900 0", "--layers", "1 to 99"),
    ("layer --layers {}", "99", "--layers", "0.1 to 50 mm"),
    ("layer --cloth 'biaxial {} g/m2'", "90000 3", "cloth", CLOTH),
    ("layer --fibre-share {}", "99 0 nan", "--fibre-share", "5 to 90 %"),
    ("layer --moisture {}", "900 -2 nan", "--moisture", WET),
    (f"layer {POLYESTER} --peroxide {{}}", "9", "peroxide", DOSE),
    (f"layer {POLYESTER} --peroxide {{}}", "0 90 nan", "--peroxide", "0.1 to 10 %"),
    ("layer --probe-mass {}", "900kg", "--probe-mass", POT),
    ("observe kicked --mass {}", "900kg 0.1g", "--mass", POT),
    ("observe gelled --temperature {}", "900 -90", "--temperature", CURED),
    ("job open --title x --thickness {}", "900 0.2 0", "--thickness", "0.5 to 500 mm"),
    ("job batch --resin epoxy-fast --hardener-mass 44 --resin-mass {}", "90kg 0.1g", "--resin-mass", POT),
    (
        "job batch --resin epoxy-fast --resin-mass 200 --hardener-mass {}",
        "44kg",
        "--hardener-mass",
        "20 kg",
    ),
    (f"job batch {POLYESTER} --resin-mass 200 --peroxide-mass {{}}", "44kg", "--peroxide-mass", "20 kg"),
    (f"job batch {POLYESTER} --resin-mass 200 --peroxide-mass {{}}", "60 0.1", "peroxide", "1.0 to 3.0"),
    (f"{BATCH} --pot-temperature {{}}", "900 -90", "--pot-temperature", SEEN),
    (f"{BATCH} --probe-mass {{}}", "900kg", "--probe-mass", POT),
    ("job correct 1 --reason x --set thickness={}", "900 0.2 0", "--set thickness", "0.5 to 500 mm"),
)
CASES = [(typed.format(value), *said) for typed, values, *said in TABLE for value in values.split()]
ALIKE = {"temperature", "surface", "humidity", "thickness", "mass", "resin-mass", "hardener-mass"} | {
    "peroxide-mass", "probe-mass", "pot-temperature", "peroxide", "cobalt", "layers", "cloth", "areal",
    "overlap", "pace", "scale", "moisture", "fibre-share",
}  # fmt: skip
# a kind of cloth by name; the step of a scale, not a mass that cures
NO_QUANTITY = {("layup", "--cloth"), ("job batch", "--scale")}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shed with one open job."""
    made = tmp_path_factory.mktemp("beyond")
    (made / "curewatch.toml").write_text(FILE, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(made)
        with pytest.raises(SystemExit, match="0"):
            run(["job", "open", "--title", "rudder cheek"])
    return made


def kept(folder: Path) -> int:
    """How many entries the logbook has."""
    with Logbook(folder / "shed.sqlite") as logbook:
        return len(list(logbook.entries()))


@pytest.mark.long
def test_what_lies_beyond_is_said_and_nothing_is_computed(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was found and what is allowed, no answer, and nothing kept."""
    monkeypatch.chdir(folder)
    before, wrong = kept(folder), []
    capsys.readouterr()
    for typed, which, allowed in CASES:
        with pytest.raises(SystemExit) as end:
            run(shlex.split(typed))
        out, said = capsys.readouterr()
        said = said.replace("\N{MINUS SIGN}", "-")
        lines = said.strip().splitlines()
        if end.value.code not in {1, 2} or out or len(lines) > 2 or which not in said or allowed not in said:
            wrong.append((typed, end.value.code, out[:80], said))
    assert not wrong, "\n".join(map(str, wrong))
    assert kept(folder) == before


def commands(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    """Every command with its name as typed."""
    context = click.Context(command)
    inner = getattr(command, "list_commands", lambda _: [])(context)
    if not inner:
        yield name.strip(), command
    for each in inner:
        yield from commands(command.get_command(context, each), f"{name} {each}")  # type: ignore[attr-defined]


def test_every_option_that_takes_such_a_quantity_stands_in_the_table() -> None:
    """A new command that takes one must say what is allowed."""
    told = [typed for typed, *_ in TABLE]
    root = typer.main.get_command(program.application)
    missing = [
        (name, option)
        for name, command in commands(root, "")
        for parameter in command.params
        for option in parameter.opts
        if option.startswith("--")
        and option[2:] in ALIKE
        and (name, option) not in NO_QUANTITY
        and not any(
            typed.startswith(name) and f"{option} {{}}" in typed.replace("'biaxial ", "") for typed in told
        )
    ]
    assert missing == []


@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        ("shed.thickness_mm = 900", "500"),
        ("resin.film_mm = 90", "50"),
        ("resin.film_mm = 0.05", "0.1"),
        ("resin.batch_mass_g = 90000", "20,000"),
        ("resin.peroxide_percent = 900", "100"),
    ],
)
def test_a_configuration_with_such_a_value_is_refused(line: str, allowed: str, tmp_path: Path) -> None:
    """By key, with the range."""
    table, _, said = line.partition(".")
    file = tmp_path / "curewatch.toml"
    file.write_text(f"[{table}]\n{said}\n" + ("" if table == "shed" else "[shed]\n"), encoding="utf-8")
    with pytest.raises(ConfigurationError, match=allowed) as refused:
        load(file)
    assert said.partition(" =")[0] in str(refused.value)


@pytest.mark.parametrize(
    ("fault", "key"),
    [
        ("[[gel_time]]\nhours = 3\ntemperature_c = 900\n", "temperature_c"),
        ("[[pot_life]]\nminutes = 20\nmass_g = 900000\ntemperature_c = 25\n", "mass_g"),
        ("[[gel_time]]\nhours = 3\ntemperature_c = 20\nperoxide_percent = 9\n", "peroxide_percent"),
    ],
)
def test_a_makers_sheet_with_such_a_value_is_refused(fault: str, key: str, tmp_path: Path) -> None:
    """By key, with the range, before anything is fitted."""
    file = tmp_path / "sheet.toml"
    kind = "polyester" if key == "peroxide_percent" else "epoxy"
    file.write_text(f'name = "x"\ntitle = "X"\nkind = "{kind}"\n{fault}', encoding="utf-8")
    with pytest.raises(ConfigurationError, match=r"Use|allowed") as refused:
        read_maker_sheet(file)
    assert key in str(refused.value)


def test_the_page_opens_no_job_of_such_a_thickness() -> None:
    """A phone asks with the terminal's own fields."""
    field = next(each for each in OPENING if each.key == "thickness")
    for value in ("900", "0", "nan"):
        with pytest.raises(UsageError, match=r"0\.5 to 500 mm|no length"):
            field.value(value, plain_wording(), field.question)


@pytest.mark.parametrize("name", resin_names())
def test_up_to_what_is_allowed_a_film_is_computed(name: str) -> None:
    """From one end of the allowed temperatures to the other, for a slow, a usual and a fast lot."""
    resin = load_resin(name)
    for celsius in (CURED_AT[0], 60.0, 90.0, 120.0, CURED_AT[1]):
        for lot in (0.5, 1.0, 2.0):
            done = cure(resin, constant(celsius + 273.15, 2 * DAY), rate_factor=lot).conversion
            assert done.dtype == float
            assert done[-1] <= 1.0
            assert np.all(np.diff(done) >= -1e-9)
