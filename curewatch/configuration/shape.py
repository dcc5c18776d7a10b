"""What a configuration may say: every table, key and range, as frozen values.

Names and units here are those of the file (``thickness_mm``): it is a border. Everything has a
default, so that an empty file, or none, is a valid configuration.
"""

from datetime import time
from pathlib import Path
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from curewatch.configuration.topics import covers
from curewatch.wording import UNITS, UNITS_ALLOWED

Role = Literal["air", "surface", "outside"]
Form = Literal["auto", "line", "senml", "json", "csv"]
# What a topic of its own may carry as a bare number: words of `wire.fields`, each with its unit.
Quantity = Literal["temperature_c", "temperature_f", "humidity_percent", "humidity_fraction"]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
EVERY_DAY: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

NAMELESS = "bench"  # with no [sensors] in the file, whose readings those are that name nobody
# With no [sensors] in the file, a name on the wire that says what it is gets that role.
ROLES_BY_NAME: dict[str, Role] = {
    "air": "air",
    "bench": "air",
    "surface": "surface",
    "hull": "surface",
    "outside": "outside",
    "yard": "outside",
}


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as trouble:
        raise ValueError("a name of the IANA time zone list, such as Europe/Lisbon or UTC") from trouble
    return name


def _known_units(text: str) -> str:
    if not {part.strip().lower() for part in text.split(",") if part.strip()} <= UNITS:
        raise ValueError(UNITS_ALLOWED)
    return text


def _several(found: object) -> object:
    return [found] if isinstance(found, str) else found


def _topic_filter(text: str) -> str:
    levels = text.split("/")
    whole = all(level in {"+", "#"} or not set(level) & {"+", "#"} for level in levels)
    if not text or not whole or "#" in levels[:-1] or "\0" in text:
        raise ValueError("an MQTT topic filter: + stands for one whole level, # for the rest and comes last")
    return text


def _whole_topic(text: str) -> str:
    if set(text) & {"+", "#", "\0"}:
        raise ValueError("one whole topic, without + or #")
    return text


def _without_secret(text: str) -> str:
    if "@" in text:
        raise ValueError("an address without a user or password in it")
    return text


Zone = Annotated[str, AfterValidator(_known_zone)]
Units = Annotated[str, AfterValidator(_known_units)]
TopicFilter = Annotated[str, AfterValidator(_topic_filter)]
Topic = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_whole_topic)]
Address = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_without_secret)]
Names = Annotated[tuple[str, ...], BeforeValidator(_several)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,31}$")]


class FileTable(BaseModel):
    """One table of the file: frozen, and closed to keys it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True, allow_inf_nan=False)


class ShedTable(FileTable):
    """Where the work is done and what is being worked on."""

    name: str = "the shed"
    boat: str = ""
    zone: Zone = "UTC"
    units: Units = ""  # how quantities are shown: F,oz,12h; the locale where empty
    substrate: str = "plywood"
    thickness_mm: float | None = Field(default=None, gt=0, le=500)
    carbon_dioxide_ppm: float = Field(default=420.0, ge=300, le=20_000)
    volume_m3: float = Field(default=60.0, ge=1, le=100_000)
    heater: Literal["electric", "flued", "propane", "paraffin"] = "electric"
    heater_kw: float | None = Field(default=None, gt=0, le=500)


class ResinTable(FileTable):
    """The resin on the shelf."""

    name: str = "epoxy-slow"
    also: Names = ()  # other resins on the shelf, tried where this one is no go
    folder: Path | None = None
    lot: str | None = None
    batch_mass_g: float | None = Field(default=None, gt=0, le=50_000)
    film_mm: float = Field(default=0.8, gt=0, le=50)
    peroxide_percent: float | None = Field(default=None, gt=0, le=6)


class WireUnits(FileTable):
    """The units of a device whose messages do not say them, or say them in words that are not known."""

    temperature: Literal["degC", "degF", "K"] | None = None
    humidity: Literal["%", "1"] | None = None  # 1: a fraction, 0 to 1


class ValuePlaceTable(FileTable):
    """Where a value stands in a message, and what makes it a value in the unit of its word."""

    at: str = Field(min_length=1, max_length=200)  # a word, or a path: more.list.0.value
    scale: float = Field(default=1.0, ge=-1e6, le=1e6)
    offset: float = Field(default=0.0, ge=-1e6, le=1e6)  # added after the scale
    comma: bool = False  # a comma is the decimal mark


Fields = dict[str, str | ValuePlaceTable]


class Sensor(FileTable):
    """One sensor: what it stands for, how good it is, what it calls itself on the wire."""

    role: Role
    part: str = "single-wire"  # the widest of the common classes but one: wide when nothing was said
    address: Names = ()  # names, hardware numbers or whole topics it uses on the wire, besides its own name
    every_s: float = Field(default=60.0, gt=0, le=86_400)
    fields: Fields = Field(default_factory=dict)
    ignore: Names = ()  # words of its messages that are passed over
    topics: dict[Quantity, Topic] = Field(default_factory=dict)  # one a quantity, each with bare numbers
    wire_units: WireUnits = WireUnits()

    @model_validator(mode="after")
    def _one_quantity_a_topic(self) -> Self:
        if len(set(self.topics.values())) < len(self.topics):
            raise ValueError("topics: one topic for each quantity")
        return self


class SerialSource(FileTable):
    """A port that boards print lines on."""

    url: Address
    baud: int = Field(default=115_200, ge=300, le=4_000_000)
    sensor: Name | None = None  # whose readings these are when a line names nobody
    wire_units: WireUnits = WireUnits()
    form: Form = "auto"


class MqttSource(FileTable):
    """A broker to subscribe to."""

    host: Address = "127.0.0.1"
    port: int = Field(default=1883, ge=1, le=65_535)
    version: Literal["5", "3.1.1"] = "5"
    client_id: str = Field(default="curewatch", min_length=1, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")
    topics: Annotated[tuple[TopicFilter, ...], BeforeValidator(_several)] = ("curewatch/+/reading",)
    device_level: int | None = Field(default=None, ge=1, le=20)  # of a topic, from the first; else the last +
    share: Name | None = None  # the shared-subscription group; MQTT 5 only
    form: Form = "auto"
    fields: Fields = Field(default_factory=dict)
    ignore: Names = ()  # words of its messages that are passed over
    wire_units: WireUnits = WireUnits()
    username: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    session_hours: float = Field(default=72.0, gt=0, le=8760)
    keepalive_s: int = Field(default=30, ge=5, le=3600)
    in_flight: int = Field(default=500, ge=10, le=1000)  # receive maximum; MQTT 3.1.1 brokers choose theirs
    publish: str | None = Field(default="curewatch", pattern=r"^[^+#\x00]+$")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.share and self.version != "5":
            raise ValueError('share with version = "5" only: MQTT 3.1.1 has no shared subscriptions')
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file together, or neither")
        if self.certificate_file and not self.ca_file:
            raise ValueError("ca_file too: a client certificate is only sent over TLS")
        return self


class LimitsTable(FileTable):
    """The user's own limits; each one given replaces that of the rule set and is shown as the user's."""

    rules: Literal["coating", "datasheet", "classed-workshop"] = "coating"
    condensation_margin_k: float | None = Field(default=None, ge=0, le=20)
    humidity_highest_percent: float | None = Field(default=None, gt=0, le=100)
    temperature_lowest_c: float | None = Field(default=None, ge=-20, le=60)
    temperature_highest_c: float | None = Field(default=None, ge=-20, le=60)
    reading_age_minutes: float | None = Field(default=None, gt=0, le=240)
    error_multiple: float | None = Field(default=None, ge=0, le=5)
    probability: float | None = Field(default=None, ge=0.5, le=0.99)


class Alerts(FileTable):
    """What happens beside showing, storing and publishing when an alert changes."""

    command: tuple[Annotated[str, Field(min_length=1, max_length=4096)], ...] = Field(
        default=(), max_length=64
    )  # run with the event as JSON on standard input; never through a shell
    timeout_s: float = Field(default=10.0, gt=0, le=60)


class WorkingHours(FileTable):
    """When somebody may be in the shed."""

    start: time = time(8, 0)
    end: time = time(22, 30)
    days: tuple[Day, ...] = EVERY_DAY


class LogbookTable(FileTable):
    """Where readings are kept, and for how long."""

    path: Path | None = None
    keep_days: int | None = Field(default=None, ge=30)  # none: for ever; rows of a job are never removed


class Configuration(FileTable):
    """All of it."""

    shed: ShedTable = ShedTable()
    resin: ResinTable = ResinTable()
    sensors: dict[Name, Sensor] = Field(default_factory=dict)
    serial: dict[Name, SerialSource] = Field(default_factory=dict)
    mqtt: dict[Name, MqttSource] = Field(default_factory=dict)
    limits: LimitsTable = LimitsTable()
    alerts: Alerts = Alerts()
    working_hours: WorkingHours = WorkingHours()
    logbook: LogbookTable = LogbookTable()

    _file: Path | None = None

    @property
    def file(self) -> Path | None:
        """The file this was read from; none when these are the defaults."""
        return self._file

    @property
    def zone(self) -> ZoneInfo:
        """The shed's time zone."""
        return ZoneInfo(self.shed.zone)

    def role_of(self, sensor: str) -> Role | None:
        """What a sensor stands for; with no sensors configured, what its name says."""
        if self.sensors:
            known = self.sensors.get(sensor)
            return known.role if known else None
        return ROLES_BY_NAME.get(sensor.lower())

    def meant(self, role: Role | None = None) -> str:
        """The one sensor that can be meant when nobody is named, of this role if one is given; else ''."""
        if not self.sensors:
            return NAMELESS
        names = [name for name, sensor in self.sensors.items() if role in (None, sensor.role)]
        return names[0] if len(names) == 1 else ""

    def sensor(self, name: str) -> Sensor | None:
        """The sensor's table, or the defaults for a role that its name alone tells."""
        known = self.sensors.get(name)
        if known:
            return known
        role = self.role_of(name)
        return Sensor(role=role) if role else None

    @model_validator(mode="after")
    def _one_owner_per_address(self) -> Self:
        owner: dict[str, str] = {}
        for name, sensor in self.sensors.items():
            for address in (name, *sensor.address, *sensor.topics.values()):
                if owner.setdefault(address, name) != name:
                    raise ValueError(
                        f"each address for one sensor; {address!r} stands at {owner[address]} and {name}"
                    )
        self._sources_and_sensors_meet()
        return self

    def _sources_and_sensors_meet(self) -> None:
        for port, source in self.serial.items():
            if source.sensor and self.sensors and source.sensor not in self.sensors:
                raise ValueError(
                    f"serial.{port}.sensor = one of {', '.join(self.sensors)}; found {source.sensor!r}"
                )
        filters = [pattern for source in self.mqtt.values() for pattern in source.topics]
        for name, sensor in self.sensors.items():
            for topic in sensor.topics.values():
                if not any(covers(pattern, topic) for pattern in filters):
                    raise ValueError(
                        f"sensors.{name}.topics: what the topics of an [mqtt] table cover; not {topic!r}"
                    )
