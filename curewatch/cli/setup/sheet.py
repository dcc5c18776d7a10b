"""Typing in the few numbers that a maker's sheet always has; they become a resin file of the user's own."""

import json
from pathlib import Path

from curewatch.cli.setup.talk import Talk
from curewatch.errors import CurewatchError
from curewatch.materials import load_resin, resin_names
from curewatch.materials.maker_sheet import read_maker_sheet
from curewatch.materials.resin_writer import as_toml

FOLDER = "resins"  # beside the configuration


def typed_in(talk: Talk, beside: Path) -> tuple[str, str] | None:
    """Ask for the sheet, write it and what is fitted to it; the resin's name and its folder.

    Nothing of it is needed: what the sheet does not say stays as in the archetype, with its wide band.
    """
    name = talk.ask("short name for it, in small letters", "my-resin").lower()
    base = talk.choose("it is most like", resin_names(), "epoxy-slow")
    text = "\n".join(_asked(talk, name, base)) + "\n"
    folder = beside / FOLDER
    sheet, resin = folder / f"{name}.sheet.toml", folder / f"{name}.toml"
    if sheet.exists() or resin.exists():
        talk.say(f"  {resin} or its sheet exists and stays as it is; choose another name")
        return None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        sheet.write_text(text, encoding="utf-8")
        resin.write_text(_fitted(sheet), encoding="utf-8")
    except (CurewatchError, OSError) as trouble:
        talk.say(f"  that did not make a resin: {trouble}")
        sheet.unlink(missing_ok=True)
        return None
    talk.say(f"  written: {sheet} (what you typed) and {resin} (what follows from it)")
    talk.say(
        f"  more of the sheet can be added to it: curewatch resin fit {sheet} --output {resin} --replace"
    )
    return name, FOLDER


def _fitted(sheet: Path) -> str:
    from curewatch.model.fit.sheet_fit import fit

    read = read_maker_sheet(sheet)
    base = load_resin(read.based_on)
    found = fit(read, base)
    heading = f"Fitted to {sheet.name} by `curewatch setup`; what it leaves open is that of {base.name}."
    return as_toml(found.resin, read.based_on, found.changed, heading)


def _asked(talk: Talk, name: str, base: str) -> list[str]:
    """The sheet in its own form, with what was known."""
    kind = load_resin(base).chemistry.name
    lines = [f"name = {json.dumps(name)}", f'title = "{kind} as typed in"', f'kind = "{kind}"']
    lines += [f'based_on = "{base}"', 'source = "maker\'s sheet, typed in by its user"']
    lowest = talk.number("lowest temperature it allows, °C; Enter if it does not say", None, -10, 40)
    lines += [f"lowest_temperature_c = {lowest:g}"] if lowest is not None else []
    ratio = talk.number("parts of hardener for 100 of resin by mass; Enter if none", None, 1, 150)
    lines += ["", "[mix]", f"hardener_per_100_by_mass = {ratio:g}"] if ratio is not None else []
    minutes = talk.number("pot life in minutes; Enter if it does not say", None, 1, 600)
    if minutes is not None:
        mass = talk.number("  of how many grams", 100, 5, 5000)
        lines += ["", "[[pot_life]]", f"minutes = {minutes:g}", f"mass_g = {mass or 100:g}", _at(talk, 25)]
    for key, question in (("tack_free", "tack-free"), ("sand", "can be sanded")):
        hours = talk.number(f"{question} after how many hours; Enter if it does not say", None, 0.1, 200)
        if hours is not None:
            lines += ["", f"[[{key}]]", f"hours = {hours:g}", _at(talk, 20)]
    return lines


def _at(talk: Talk, usual: float) -> str:
    return f"temperature_c = {talk.number('  at how many °C', usual, -10, 60) or usual:g}"
