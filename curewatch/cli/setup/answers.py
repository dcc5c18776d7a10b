"""What was answered, and the commented file that says it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

from msgspec import Struct

from curewatch import configuration
from curewatch.cli.setup.heard import Fields
from curewatch.configuration import Configuration, ForecastTable
from curewatch.wire.fields import ValuePlace


class NamedSensor(Struct, frozen=True):
    """One sensor as the person named it."""

    name: str
    role: str  # air | surface | outside
    part: str
    address: tuple[str, ...] = ()  # what it calls itself, where that is another name
    topics: tuple[tuple[str, str], ...] = ()  # quantity -> topic, where each has its own
    fields: Fields = ()  # our word -> where the value stands
    wire_unit: str | None = None  # of its temperature


class SerialAnswer(Struct, frozen=True):
    """One serial port to read."""

    name: str
    url: str
    baud: int = 115_200
    sensor: str | None = None  # whose readings these are, when its lines name nobody
    fields: Fields = ()
    wire_unit: str | None = None


class BrokerAnswer(Struct, frozen=True):
    """One broker to subscribe to."""

    name: str
    host: str
    port: int
    topics: tuple[str, ...]
    version: str = "5"
    username: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    client_id: str | None = None  # of a second table for one broker
    fields: Fields = ()
    wire_unit: str | None = None


@dataclass(slots=True)
class Answers:
    """Everything asked so far; each part may be left out."""

    shed: str = "the shed"
    boat: str = ""
    zone: str = "UTC"
    units: str = ""  # as --units said: then it holds for the service too, which has no locale
    substrate: str = "plywood"
    thickness_mm: float | None = None
    resin: str = "epoxy-slow"
    resin_folder: str = ""
    lot: str = ""
    batch_mass_g: float | None = None
    sensors: list[NamedSensor] = field(default_factory=list)
    ports: list[SerialAnswer] = field(default_factory=list)
    brokers: list[BrokerAnswer] = field(default_factory=list)
    logbook: str = ""
    forecast: ForecastTable = field(default_factory=ForecastTable)


def as_toml(answers: Answers) -> str:
    """The configuration as a commented file, read back once to be sure that it is one.

    Raises
    ------
    ConfigurationError
        An answer is not allowed; it names which and what is.
    """
    parts = [
        "# Curewatch: written by `curewatch setup`. Every key may be changed by hand;",
        "# `curewatch setup --example` shows all there are, with comments.",
        "",
        *_table("shed", _shed(answers)),
        *_table("resin", _resin(answers)),
        "# role: air (at the work), surface (probe on the hull), outside (in the shade).",
        "# part: the class of its chip, which decides how large its error may be.",
        *(line for sensor in answers.sensors for line in _sensor(sensor)),
        *(line for port in answers.ports for line in _port(port)),
        *(line for broker in answers.brokers for line in _broker(broker)),
        *_forecast(answers.forecast),
        *(_table("logbook", {"path": answers.logbook}) if answers.logbook else []),
    ]
    text = "\n".join(parts).rstrip("\n") + "\n"
    parsed(text)
    return text


def parsed(text: str) -> Configuration:
    """The configuration that the text says."""
    return configuration.parse(text)


def _shed(answers: Answers) -> dict[str, object]:
    return {
        "name": answers.shed,
        "boat": answers.boat or None,
        "zone": answers.zone,
        "units": answers.units or None,
        "substrate": answers.substrate,
        "thickness_mm": answers.thickness_mm,
    }


def weather_service(url: str, place: tuple[float | None, float | None], contact: str) -> ForecastTable:
    """The service as answered, its place rounded; ConfigurationError says which answer is not allowed."""
    north, east = (None if each is None else round(each, 2) for each in place)
    keys = {"url": url, "latitude": north, "longitude": east, "contact": contact or None}
    return parsed("\n".join(_table("forecast", keys))).forecast


def _forecast(service: ForecastTable) -> list[str]:
    """Off, and not in the file, without a url."""
    keys = ("url", "latitude", "longitude", "contact")
    return _table("forecast", {key: getattr(service, key) for key in keys}) if service.url else []


def _resin(answers: Answers) -> dict[str, object]:
    return {
        "name": answers.resin,
        "folder": answers.resin_folder or None,
        "lot": answers.lot or None,
        "batch_mass_g": answers.batch_mass_g,
    }


def _sensor(sensor: NamedSensor) -> list[str]:
    keys = {
        "role": sensor.role,
        "part": sensor.part,
        "address": list(sensor.address) or None,
        "topics": dict(sensor.topics) or None,
        "fields": _fields(sensor.fields),
        "wire_units": _wire_units(sensor.wire_unit),
    }
    return _table(f"sensors.{sensor.name}", keys)


def _port(port: SerialAnswer) -> list[str]:
    keys = {
        "url": port.url,
        "baud": port.baud,
        "sensor": port.sensor,
        "fields": _fields(port.fields),
        "wire_units": _wire_units(port.wire_unit),
    }
    return _table(f"serial.{port.name}", keys)


def _broker(broker: BrokerAnswer) -> list[str]:
    keys = {
        "host": broker.host,
        "port": broker.port,
        "version": broker.version,
        "topics": list(broker.topics),
        "username": broker.username,
        "password_file": broker.password_file,
        "ca_file": broker.ca_file,
        "client_id": broker.client_id,
        "fields": _fields(broker.fields),
        "wire_units": _wire_units(broker.wire_unit),
    }
    return _table(f"mqtt.{broker.name}", keys)


def _fields(fields: Fields) -> dict[str, object] | None:
    """As little as says it: a word alone where nothing is multiplied, added or replaced."""
    usual = ValuePlace("")
    said: dict[str, object] = {}
    for word, place in fields:
        if isinstance(place, str):
            said[word] = place
        else:
            default = usual._asdict()
            said[word] = {key: value for key, value in place._asdict().items() if value != default[key]}
    return said or None


def _wire_units(unit: str | None) -> dict[str, str] | None:
    return None if unit is None else {"temperature": unit}


def _table(name: str, keys: Mapping[str, object]) -> list[str]:
    return [
        f"[{name}]",
        *(f"{key} = {_value(value)}" for key, value in keys.items() if value is not None),
        "",
    ]


def _value(value: object) -> str:
    """A TOML value: JSON's text, number and list forms are TOML's too, but for one control character."""
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key} = {_value(one)}' for key, one in value.items())} }}"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
