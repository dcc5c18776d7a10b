"""Several sheds in one file: each has a whole configuration, and nothing belongs to two of them."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.configuration import logbook_path, one_shed, together
from curewatch.errors import ConfigurationError, UsageError

COMMON = """
[shed]
zone = "Europe/Lisbon"
boat = "Kittiwake Nine"
thickness_mm = 9.0
[resin]
name = "epoxy-fast"
lot = "A-17"
[limits]
probability = 0.8
reading_age_minutes = 20
[sensors.yard]
role = "outside"
[serial.usb]
url = "socket://127.0.0.1:9"
sensor = "bench-north"
[mqtt.yard]
topics = ["creek/+/state"]
[logbook]
path = "kept/logbook.sqlite"
keep_days = 90
"""
NORTH = """
[sheds.north]
name = "North shed"
thickness_mm = 18.0
[sheds.north.sensors.bench-north]
role = "air"
[sheds.north.limits]
probability = 0.9
"""
SOUTH = """
[sheds.south.sensors.bench-south]
role = "air"
address = ["28-01"]
[sheds.south.resin]
lot = "B-2"
[sheds.south.logbook]
path = "elsewhere/south.db"
"""


def test_each_shed_has_what_is_its_own_and_what_is_common() -> None:
    """A key of the shed's goes before the same key above; what it does not say stands above."""
    whole = configuration.parse(COMMON + NORTH + SOUTH, Path("/srv/yard/curewatch.toml"))
    north, south = whole.each["north"], whole.each["south"]
    assert list(whole.each) == ["north", "south"]
    assert (north.label, north.shed.name, north.shed.thickness_mm) == ("north", "North shed", 18.0)
    assert (south.label, south.shed.name, south.shed.thickness_mm) == ("south", "south", 9.0)
    assert {north.shed.boat, south.shed.boat} == {"Kittiwake Nine"}
    assert (north.limits.probability, south.limits.probability) == (0.9, 0.8)
    assert {north.limits.reading_age_minutes, south.limits.reading_age_minutes} == {20.0}
    assert (north.resin.lot, south.resin.lot, south.resin.name) == ("A-17", "B-2", "epoxy-fast")
    assert (set(north.sensors), set(south.sensors)) == ({"yard", "bench-north"}, {"yard", "bench-south"})
    assert (set(north.serial), set(south.serial)) == ({"usb"}, set())
    assert set(north.mqtt) == set(south.mqtt) == {"yard"}
    assert logbook_path(north) == Path("/srv/yard/kept/north.sqlite")
    assert logbook_path(south) == Path("/srv/yard/elsewhere/south.db")
    assert {north.logbook.keep_days, south.logbook.keep_days} == {90}
    assert set(together(whole).sensors) == {"yard", "bench-north", "bench-south"}


def test_one_shed_is_its_own_configuration() -> None:
    """Without [sheds] nothing is another than before: the one shed is the file."""
    whole = configuration.parse('[shed]\nname = "Saltmarsh Shed"\n')
    assert whole.each == {"": whole}
    assert whole.label == ""
    assert one_shed(whole, None) is whole
    assert together(whole) is whole


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (
            NORTH + '[sheds.south.sensors.bench-north]\nrole = "air"',
            "sheds.south.sensors.bench-north",
            "told twice",
        ),
        (
            NORTH + '[sheds.south.sensors.air]\nrole = "air"\naddress = ["bench-north"]',
            "sheds.south.sensors.air",
            "told twice",
        ),
        (NORTH + '[sheds.south.sensors.yard]\nrole = "outside"', "sheds.south.sensors.yard", "told twice"),
        (NORTH + '[sensors.bench]\nrole = "air"', "sensors.bench", "[sheds.NAME.sensors.bench]"),
        (NORTH + "[stock]\nepoxy-slow = { resin_g = 1, added_g = 1, counted = 2026-10-17 }", "stock", "tins"),
        (
            NORTH + '[sheds.north.logbook]\npath = "kept/SOUTH.sqlite"\n[sheds.south]',
            "sheds.south",
            "its own",
        ),
        (NORTH + "[sheds.south.page]\nport = 8737", "sheds.south.page", "one of"),
        (NORTH + '[sheds.south]\nzone = "UTC"', "sheds.south.zone", "one of"),
        (NORTH + "[sheds.north.mqtt.own]", "sheds.north.mqtt", "one of"),
        ('[sheds]\nname = "x"', "sheds.name", "a table"),
        ('[sheds."../x"]', 'sheds."../x"', "a letter"),
    ],
)
def test_what_belongs_to_two_sheds_is_refused(text: str, key: str | None, words: str) -> None:
    """A sensor, an address, a logbook or a tin of two sheds; and what only all of them can have."""
    with pytest.raises(ConfigurationError) as caught:
        configuration.parse(COMMON + text)
    assert words in str(caught.value)
    if key is not None:
        assert (caught.value.key or "").replace('"', "").startswith(key.replace('"', ""))


def test_which_shed_is_never_guessed() -> None:
    """One that is not named, or not known, is refused with the names that there are."""
    whole = configuration.parse(COMMON + NORTH + SOUTH)
    assert one_shed(whole, "south") is whole.each["south"]
    for wrong in (None, "attic"):
        with pytest.raises(UsageError, match="north, south"):
            one_shed(whole, wrong)
    with pytest.raises(UsageError, match="has one shed"):
        one_shed(configuration.parse(""), "north")
    assert one_shed(configuration.parse(COMMON + NORTH), None).label == "north"
