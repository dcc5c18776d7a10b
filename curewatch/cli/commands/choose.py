"""``curewatch choose``: which resin for this repair, and what would change that."""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from curewatch.cli.forms import at_terminal, fill, with_fields
from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings
from curewatch.cli.typed import face_from_text
from curewatch.errors import ExitStatus, UsageError
from curewatch.worklog.fields import Field, laminate_from_text, length_from_text, one_of

if TYPE_CHECKING:
    from curewatch.advice.choose.choice import Shelf
    from curewatch.advice.choose.need import Need
    from curewatch.materials import Resin
    from curewatch.shed.look import Look

SHAPES = ("round", "oval", "rectangular", "strip")
USUAL_HUMIDITY = 0.7  # of a shed whose air is not known beyond its temperature (assumed)


def _span(text: str, option: str) -> float:
    from curewatch.cli.typed import span_from_text

    return span_from_text(text, option)


def _priced(text: str, option: str) -> tuple[str, float]:
    """A resin and what a kilogram of it costs: ``epoxy-slow 28.50``, ``epoxy-slow=28,50 EUR``."""
    told = re.fullmatch(r"\s*(\S+?)\s*[= ]\s*([0-9]+(?:[.,][0-9]+)?)\s*\D{0,8}", text)
    if not told or not float(told[2].replace(",", ".")) > 0:
        raise UsageError(f"{option}: found {text!r}. Use a resin and its price a kilogram: epoxy-slow 28.50")
    return told[1], float(told[2].replace(",", "."))


def _prices(text: str, option: str) -> dict[str, float]:
    return dict(_priced(part, option) for part in re.split(r";|,(?!\d)", text) if part.strip())


def _each(read: Callable[[str, str], Any]) -> Callable[[str, str], Any]:
    """A reader of several, parted by commas."""
    return lambda text, option: [read(part.strip(), option) for part in text.split(",") if part.strip()]


FIELDS = (
    Field(
        "on",
        "What it is laid on: bare-timber, polyester, epoxy …",
        _each(face_from_text),
        needed=True,
        many=True,
    ),
    Field("thickness", "Thickness of the laminate", laminate_from_text, needed=True),
    Field("room", "Room for the taper on each side, if it is short", _each(length_from_text), many=True),
    Field("sides", "Taper ground from one side or both", one_of("one", "both")),
    Field("place", "Where it lives: inside, under-water or sun", one_of("inside", "under-water", "sun")),
    Field("colour", "Colour in the sun: pale or dark", one_of("pale", "dark")),
    Field("structural", "Structural: yes or no", one_of("yes", "no")),
    Field("load_after", "When it must carry its load, after laying", _span),
    Field("shape", "Shape of the hole", one_of(*SHAPES), asked=False),
    Field("length", "Length of the hole", length_from_text, asked=False),
    Field("width", "Width of the hole", length_from_text, asked=False),
    Field("price", "Price of a kilogram, if not in the configuration", _prices, many=True, asked=False),
    Field("shelf", "Resins on the shelf; else those of the configuration", lambda t, _: t, many=True),
)


def app(
    given: dict[str, str | None],
    *,
    why: Annotated[bool, typer.Option("--why", help="Every resin against every demand.")] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    json: JsonOption = False,
) -> None:
    """Which resin serves this repair, what it needs besides, what it costs, and what would change that.

    Without options it asks. Exit status 0: a resin on the shelf serves. 3: none does.

    Example: curewatch choose --on polyester --thickness "6 mm" --room "20 mm"
    """
    from msgspec.structs import replace

    from curewatch.advice.choose.choice import choose
    from curewatch.advice.judge.question import ask
    from curewatch.answers.choose import choose_document
    from curewatch.cli.looking import looking
    from curewatch.cli.screens import choose as screen
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.clock import SystemClock
    from curewatch.worklog import tabs

    configuration, words = settings(config, units)
    told = fill(FIELDS, given, {}, at_terminal(), words)
    now = SystemClock().now().utc
    need = _need(told)
    with looking(configuration, now) as look:
        own = () if look.logbook is None else tabs.tests(look.logbook)
        found = choose(need, _shelf(told, look, need, own))
        chosen = found.chosen
        asked = None if chosen is None else look.asked(resin=chosen.resin.name)
        advice = None if asked is None else ask(replace(asked, below=()), look.situation, look.outlook)
    currency = configuration.resin.currency
    document = choose_document(found, now, words, advice=advice, currency=currency, tests=own)
    if json:
        print_json(document)
    else:
        print_lines(screen.lines(document, words, why=why), plain=plain)
    raise typer.Exit(int(ExitStatus.OK if chosen else ExitStatus.NO_GO))


app = with_fields(FIELDS, app)


def _need(told: dict[str, Any]) -> "Need":
    from curewatch.advice.choose.need import Need
    from curewatch.advice.plan.geometry import RepairShape, outline
    from curewatch.jobs import FaceBelow

    hole = None
    if "length" in told:
        hole = outline(RepairShape(told.get("shape", "round")), told["length"], told.get("width"))
    return Need(
        faces=tuple(dict.fromkeys(FaceBelow(each) for each in told["on"])),
        thickness=told["thickness"],
        room=tuple(told.get("room", ())),
        both_sides=told.get("sides") == "both",
        hole=hole,
        under_water=told.get("place") == "under-water",
        sun=told.get("place") == "sun",
        dark=told.get("colour") == "dark",
        structural=told.get("structural") == "yes",
        loaded_after=told.get("load_after"),
    )


def _shelf(told: dict[str, Any], look: "Look", need: "Need", own: Any) -> "Shelf":
    """What was named, else what the configuration says; every resin that there is may be bought."""
    from curewatch.advice.choose.choice import Shelf
    from curewatch.materials import load_resin, resin_names
    from curewatch.materials.cloth import load_cloth
    from curewatch.shed.known_names import check_shelf

    resin = look.configuration.resin
    named = [part.strip() for part in told.get("shelf", "").split(",") if part.strip()]
    names = dict.fromkeys(named or (resin.name, *resin.also))
    there = [load_resin(name, resin.folder) for name in names]
    further = [load_resin(name, resin.folder) for name in resin_names(resin.folder) if name not in names]
    prices, known = told.get("price", {}), [each.name for each in (*there, *further)]
    check_shelf(look.configuration, known)
    strange = next((name for name in prices if name not in known), None)
    if strange is not None:
        raise UsageError(f"--price: found {strange!r}, which is no resin here. Use {', '.join(known)}")
    return Shelf(
        there,
        further,
        {**resin.price, **prices},
        lambda each: _carries(each, look),
        load_cloth("stitched-biaxial"),
        own,
    )


def _carries(resin: "Resin", look: "Look") -> float | None:
    """When a late lot may be loaded in the shed's coming air: once it is ready to sand. [s]"""
    import numpy as np

    from curewatch.advice.judge.comparison import compare

    if look.outlook is None:
        return None
    air = float(np.median(look.outlook.air_temperature))
    late = compare([resin], air, USUAL_HUMIDITY)[0].ready_to_sand.late
    return float(late) if np.isfinite(late) else np.inf
