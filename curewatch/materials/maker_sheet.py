"""The form into which a person types what a maker's sheet says, and how it is read.

The form is ours; ``sheets/example.toml`` shows every key. Numbers carry their unit in the key's name
(``temperature_c``, ``mass_g``, ``minutes`` or ``hours``); a time may be a pair, ``minutes = [40, 50]``.
Each statement becomes a :class:`Statement` in SI. What cannot be true is refused with file, line,
key, what was found and what is allowed: a ratio whose mass, volume and densities disagree; a gel
before the working time; a larger cup that lasts longer.
"""

import math
import re
from importlib import resources
from pathlib import Path
from typing import Any, Literal, NamedTuple

from msgspec import Struct

from curewatch.errors import ConfigurationError
from curewatch.materials.chemistry import CHEMISTRIES, Chemistry
from curewatch.materials.resin import Mix, Resin
from curewatch.materials.resin_files import load_resin, parent_of
from curewatch.materials.sheet_mix import read_mix
from curewatch.materials.sheet_table import SheetTable, is_number
from curewatch.materials.sourced_toml import Sheet, read_sheet
from curewatch.units import ZERO_CELSIUS

# section -> (milestone it speaks of, one standard deviation of what sheets say, in logarithm: assumed)
SECTIONS: dict[str, tuple[str, float]] = {
    "pot_life": ("gel", 0.12),
    "working_time": ("working_time", 0.18),
    "gel_time": ("gel", 0.15),
    "tack_free": ("tack_free", 0.18),
    "sand": ("firm", 0.10),
    "recoat": ("recoat_from", 0.12),
}
FLOORS = ("firm", "recoat_from")  # the resin may be sooner there; the maker's time is kept
POT_MARKS = {"kicks": "gel", "twice as thick": "working_time"}
ORDER = ("working_time", "recoat_from", "gel", "tack_free", "firm")  # at one temperature, as a film
TITLES = {
    "working_time": "working time",
    "recoat_from": "recoat from",
    "recoat_until": "recoat until",
    "gel": "gel",
    "tack_free": "tack-free",
    "firm": "time to sand",
}
STATEMENT_KEYS = ("minutes", "hours", "temperature_c", "spread_percent", "peroxide_percent")
POT_KEYS = ("mass_g", "shape", "insulated", "criterion")
RECOAT_KEYS = ("from_hours", "until_hours", "temperature_c", "spread_percent")
TRANSITION_KEYS = ("celsius", "after", "method", "spread_k")
TOP = (
    "name", "title", "kind", "based_on", "source", "wax", "blush", "rest_minutes", "lowest_temperature_c",
    "highest_temperature_c", "highest_humidity_percent", "reaction_heat_kj_per_kg", "mix",
    "glass_transition", *SECTIONS,
)  # fmt: skip
AMINE = {"none": 0.1, "low": 0.25, "usual": 1.0}  # what a sheet's word makes of the amine factor: assumed


class Method(NamedTuple):
    """How a glass transition was read, against calorimetry, in which the model speaks."""

    higher: float  # [K]
    sd: float  # of that [K]


# DMTA reads 10 +- 5 K above calorimetry (Ferdous 2015, abstract); a sheet that does not say is half way
METHODS = {"calorimetry": Method(0.0, 0.0), "dmta": Method(10.0, 5.0), "not stated": Method(5.0, 5.0)}


class Statement(Struct, frozen=True):
    """One thing that the sheet says of time."""

    mark: str  # working_time | recoat_from | recoat_until | gel | tack_free | firm
    time: float  # [s]
    sd: float  # one standard deviation of its natural logarithm [1]
    temperature: float  # of film, or of air and mix [K]
    mass: float | None = None  # of a pot; none is a film [kg]
    shape: Literal["cup", "tray", "roller-tray"] = "cup"
    insulated: bool = False
    peroxide_percent: float | None = None
    line: int | None = None

    @property
    def floor(self) -> bool:
        """Whether the maker only says that it is not sooner: a sanding or a recoat time."""
        return self.mass is None and self.mark in FLOORS

    @property
    def title(self) -> str:
        """What a person calls it."""
        where = f"{self.temperature - ZERO_CELSIUS:g} °C"
        if self.mass is None:
            return f"{TITLES[self.mark]}, film, {where}"
        said = "kicks" if self.mark == "gel" else "twice as thick"
        return f"{said}, {self.mass * 1000:g} g, {where}"


class Transition(Struct, frozen=True):
    """A glass transition that the sheet states, and after what schedule."""

    temperature: float  # by calorimetry [K]
    sd: float  # [K]
    schedule: tuple[tuple[float, float], ...]  # (duration [s], temperature [K])
    line: int | None = None

    @property
    def title(self) -> str:
        """What a person calls it."""
        steps = [f"{time / 3600:g} h at {kelvin - ZERO_CELSIUS:g} °C" for time, kelvin in self.schedule]
        return f"Tg after {', '.join(steps)}"


class MakerSheet(Struct, frozen=True):
    """All that a sheet says, in SI."""

    path: Path
    name: str
    title: str
    chemistry: Chemistry
    based_on: str
    source: str
    wax: bool | None
    amine_factor: float | None
    lowest_temperature: float | None
    highest_temperature: float | None
    highest_humidity: float | None
    rest: float | None  # after mixing, before it is spread [s]
    reaction_heat: float | None  # [J/kg]
    mix: Mix | None
    mix_assumed: tuple[str, ...]  # what of the mix was not stated
    recoat_closes: Statement | None  # the end of the stated window
    sand: tuple[tuple[float, float], ...]  # not sanded sooner: the longest of each pair [s], at [K]
    statements: tuple[Statement, ...]
    transitions: tuple[Transition, ...]


def read_maker_sheet(path: Path) -> MakerSheet:
    """Read and check a sheet.

    Raises
    ------
    ConfigurationError
        With file, line, key, what was found and what is allowed.
    """
    return _Reader(read_sheet(path)).sheet()


def base_of(sheet: MakerSheet, folder: Path | str | None = None) -> Resin:
    """The archetype that fills what a sheet leaves open.

    Raises
    ------
    ConfigurationError
        The sheet names one that there is not; with file and line.
    """
    file = read_sheet(sheet.path)
    return parent_of(file, folder) if "based_on" in file.data else load_resin(sheet.based_on, folder)


class _Reader:
    """One file being read; keeps nothing after."""

    def __init__(self, sheet: Sheet) -> None:
        self.file = sheet
        self.top = SheetTable(sheet, "", 0)

    def sheet(self) -> MakerSheet:
        file = self.file
        file.require_known("", file.data, TOP)
        chemistry = CHEMISTRIES[file.words("kind", CHEMISTRIES)]
        statements = self._ordered([each for name in SECTIONS for each in self._statements(name, chemistry)])
        transitions = tuple(
            self._transition(entry, place) for entry, place in self._entries("glass_transition")
        )
        if not statements and not transitions:
            raise file.refuse(
                "pot_life", "no statement about time", "at least one of: " + ", ".join(SECTIONS)
            )
        mix, assumed = read_mix(file, chemistry)
        blush = file.words("blush", AMINE) if "blush" in file.data else None
        heat = self.top.perhaps(file.data, "reaction_heat_kj_per_kg", 50.0, 700.0)
        humidity = self.top.perhaps(file.data, "highest_humidity_percent", 30.0, 100.0)
        rest = self.top.perhaps(file.data, "rest_minutes", 0.0, 120.0)
        return MakerSheet(
            path=file.path,
            name=self._name(),
            title=file.words("title"),
            chemistry=chemistry,
            based_on=file.words("based_on") if "based_on" in file.data else chemistry.archetype,
            source=file.words("source") if "source" in file.data else file.path.name,
            wax=file.switch("wax") if "wax" in file.data else None,
            amine_factor=None if blush is None else AMINE[blush],
            lowest_temperature=self._temperature("lowest_temperature_c", file.data),
            highest_temperature=self._temperature("highest_temperature_c", file.data),
            highest_humidity=None if humidity is None else humidity / 100.0,
            rest=None if rest is None else 60.0 * rest,
            reaction_heat=None if heat is None else heat * 1000.0,
            mix=mix,
            mix_assumed=assumed,
            recoat_closes=self._recoat_closes(),
            sand=tuple(
                (self._times(table, place)[1], place.temperature(table))
                for table, place in self._entries("sand")
            ),
            statements=statements,
            transitions=transitions,
        )

    # ---- statements

    def _entries(self, name: str) -> list[tuple[dict[str, Any], SheetTable]]:
        """The tables of a section, each with where it stands."""
        found = self.file.data.get(name, [])
        tables = found if isinstance(found, list) else [found]
        places = [SheetTable(self.file, name, index) for index in range(len(tables))]
        for table, place in zip(tables, places, strict=True):
            if not isinstance(table, dict):
                raise place.refuse("", repr(table), f"a table [[{name}]]")
        return list(zip(tables, places, strict=True))

    def _statements(self, name: str, chemistry: Chemistry) -> list[Statement]:
        if name == "recoat":
            return self._recoat_from()
        mark, usual_sd = SECTIONS[name]
        pot = name in {"pot_life", "gel_time"}
        found = []
        for table, place in self._entries(name):
            place.require_known(table, (*STATEMENT_KEYS, *(POT_KEYS if pot else ())))
            time, sd = self._time(table, place, usual_sd)
            weighed = place.number if name == "pot_life" else place.perhaps
            mass = weighed(table, "mass_g", 1.0, 20000.0)
            shape: Any = place.words(table, "shape", ("cup", "tray", "roller-tray"), "cup")
            criterion = place.words(table, "criterion", tuple(POT_MARKS), "kicks")
            found.append(
                Statement(
                    mark=POT_MARKS[criterion] if pot else mark,
                    time=time,
                    sd=sd,
                    temperature=place.temperature(table),
                    mass=None if mass is None else mass / 1000.0,
                    shape=shape,
                    insulated=place.switch(table, "insulated"),
                    peroxide_percent=self._peroxide(table, place, chemistry),
                    line=place.line(""),
                )
            )
        return found

    def _peroxide(self, table: dict[str, Any], place: SheetTable, chemistry: Chemistry) -> float | None:
        if not chemistry.dosed and "peroxide_percent" in table:
            allowed = f"nothing: {chemistry.name} keeps its mix ratio"
            raise place.refuse("peroxide_percent", "a dose", allowed)
        return place.perhaps(table, "peroxide_percent", 0.5, 4.0)

    def _recoat_from(self) -> list[Statement]:
        found = []
        for table, place in self._entries("recoat"):
            place.require_known(table, RECOAT_KEYS)
            begin = place.perhaps(table, "from_hours", 0.0, 1000.0)
            end = place.perhaps(table, "until_hours", 0.1, 2000.0)
            if begin is None and end is None:
                raise place.refuse("from_hours", "neither from_hours nor until_hours", "one of them or both")
            if begin is not None and end is not None and end <= begin:
                raise place.refuse("until_hours", f"{end:g} h, not after {begin:g} h", "a later time")
            kelvin = place.temperature(table)
            if begin:
                sd = self._spread(table, place, SECTIONS["recoat"][1])
                found.append(Statement("recoat_from", begin * 3600.0, sd, kelvin, line=place.line("")))
        return found

    def _recoat_closes(self) -> Statement | None:
        for table, place in self._entries("recoat"):
            if "until_hours" in table:
                time, sd = float(table["until_hours"]) * 3600.0, SECTIONS["recoat"][1]
                return Statement("recoat_until", time, sd, place.temperature(table), line=place.line(""))
        return None

    def _times(self, table: dict[str, Any], place: SheetTable) -> tuple[float, float]:
        """The shortest and the longest that is stated. [s]"""
        keys = [key for key in ("minutes", "hours") if key in table]
        if len(keys) != 1:
            raise place.refuse("minutes", " and ".join(keys) or "no time", "minutes = … or hours = …")
        key, scale = keys[0], 60.0 if keys[0] == "minutes" else 3600.0
        pair = table[key] if isinstance(table[key], list) else [table[key], table[key]]
        if len(pair) != 2 or not all(is_number(each) and 0.0 < each * scale <= 30 * 86400.0 for each in pair):
            raise place.refuse(
                key, repr(table[key]), "a number, or a pair [shortest, longest], above 0 to 30 d"
            )
        low, high = (float(each) * scale for each in pair)
        if high < low:
            raise place.refuse(key, repr(table[key]), "the shorter time first")
        return low, high

    def _time(self, table: dict[str, Any], place: SheetTable, usual_sd: float) -> tuple[float, float]:
        low, high = self._times(table, place)
        sd = self._spread(table, place, usual_sd)
        return math.sqrt(low * high), max(sd, math.log(high / low) / (2 * 1.645))

    def _spread(self, table: dict[str, Any], place: SheetTable, usual: float) -> float:
        given = place.perhaps(table, "spread_percent", 1.0, 100.0)
        return usual if given is None else given / 100.0

    def _transition(self, table: dict[str, Any], place: SheetTable) -> Transition:
        place.require_known(table, TRANSITION_KEYS)
        value = place.number(table, "celsius", -50.0, 250.0)
        steps = table.get("after")
        if not isinstance(steps, list) or not steps or not all(isinstance(each, dict) for each in steps):
            raise place.refuse("after", repr(steps), "after = [{ hours = 24, temperature_c = 20 }, …]")
        schedule = []
        for step in steps:
            hours = place.number(step, "hours", 0.1, 2000.0)
            schedule.append((hours * 3600.0, place.temperature(step)))
        sd = place.perhaps(table, "spread_k", 0.5, 30.0)
        method = METHODS[place.words(table, "method", tuple(METHODS), "not stated")]
        spread = math.hypot(4.0 if sd is None else sd, method.sd)
        return Transition(value - method.higher + ZERO_CELSIUS, spread, tuple(schedule), place.line(""))

    def _ordered(self, statements: list[Statement]) -> tuple[Statement, ...]:
        """Refuse an order of times that no resin can have."""
        for one in statements:
            for other in statements:
                same = one.temperature == other.temperature and one.peroxide_percent == other.peroxide_percent
                if not same or one is other or one.time <= other.time:
                    continue
                films = one.mass is None and other.mass is None and one.mark != "recoat_from"
                if films and ORDER.index(one.mark) < ORDER.index(other.mark):
                    raise self._impossible(other, f"before {one.title} (line {one.line})", "a later time")
                pots = one.mass and other.mass and one.mark == other.mark and one.shape == other.shape
                if pots and not one.insulated and not other.insulated and _at_least(one.mass, other.mass):
                    raise self._impossible(
                        one, f"a larger mass that lasts longer than {other.title}", "less time"
                    )
        return tuple(statements)

    def _impossible(self, statement: Statement, found: str, allowed: str) -> ConfigurationError:
        return ConfigurationError(
            f"{statement.title}: {found}", allowed, file=self.file.path, line=statement.line
        )

    # ---- single values

    def _name(self) -> str:
        name = self.file.words("name")
        if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,39}", name):
            raise self.file.refuse("name", repr(name), "small letters, digits and hyphens, at most 40")
        return name

    def _temperature(self, key: str, table: dict[str, Any]) -> float | None:
        celsius = self.top.perhaps(table, key, -20.0, 150.0)
        return None if celsius is None else celsius + ZERO_CELSIUS


def _at_least(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and one >= other


def form_text() -> str:
    """The form with every key explained, filled in for the invented demo world."""
    return (resources.files("curewatch.materials") / "sheets" / "example.toml").read_text(encoding="utf-8")
