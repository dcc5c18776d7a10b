"""What a configuration may say: every table, key and range, as frozen values.

Names and units here are those of the file (``thickness_mm``): it is a border. Everything has a
default, so that an empty file, or none, is a valid configuration.
"""

import re
from datetime import date, time
from difflib import get_close_matches
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec
from msgspec import Meta

from curewatch.configuration.tables import ONE_OR_MORE, FileTable, Misfit
from curewatch.configuration.topics import covers
from curewatch.jobs import FaceBelow
from curewatch.wording import UNITS_ALLOWED, units_from_text

Role = Literal["air", "surface", "outside", "layer", "cup"]
PROBES: tuple[Role, ...] = ("layer", "cup")  # bound to a layer or a batch; they say nothing of the shed
Form = Literal["auto", "line", "senml", "json", "csv"]
# What a topic of its own may carry as a bare number: words of `wire.fields`, each with its unit.
Quantity = Literal["temperature_c", "temperature_f", "humidity_percent", "humidity_fraction"]
# What `fields` may say the place of, of the words of `wire.fields`: those to choose from, and the plain ones.
_FIELDS_SHOWN = (
    "temperature_c, temperature_f, humidity_percent, humidity_fraction, carbon_dioxide_ppm, battery_percent, "
    "pressure_hpa, pressure_pa, sensor, time, age, sequence"
)
_PLAIN_WORDS = (
    *["temperature", "temp", "t", "tc", "temp_c", "tempc", "temp_f", "tf", "tempf"],
    *["humidity", "hum", "rh", "h", "relative_humidity", "co2", "c", "carbon_dioxide"],
    *["battery", "bat", "batt", "b", "pressure", "name", "id", "at", "timestamp", "ts", "age_s", "n", "seq"],
)
FIELD_WORDS = (*_FIELDS_SHOWN.split(", "), *_PLAIN_WORDS)
HOST_NAME = r"[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?"
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
    if units_from_text(text) is None:
        raise ValueError(UNITS_ALLOWED)
    return text


def _topic_filter(text: str) -> str:
    levels = text.split("/")
    whole = all(level in {"+", "#"} or not set(level) & {"+", "#"} for level in levels)
    if not text or not whole or "#" in levels[:-1] or "\0" in text:
        raise ValueError("an MQTT topic filter: + stands for one whole level, # for the rest and comes last")
    return text


def _field_word(text: str) -> str:
    """A slip here would leave a device's own value unread, and perhaps another one in its place."""
    if text not in FIELD_WORDS:
        near = get_close_matches(text, FIELD_WORDS, n=1, cutoff=0.5)
        nearest = f"{near[0]}, the nearest one, or " if near else ""
        raise ValueError(f"{nearest}one of {_FIELDS_SHOWN}")
    return text


def _not_zero(scale: float) -> float:
    if scale == 0.0:
        raise ValueError("another number than 0, which makes every value the same")
    return scale


def _one_place_each(fields: "dict[str, str | ValuePlaceTable]") -> "dict[str, str | ValuePlaceTable]":
    at: dict[str, str] = {}
    for word, told in fields.items():
        place = told if isinstance(told, str) else told.at
        if not place:
            raise ValueError(f"a place in the message for each; found none for {word}")
        if place in at:
            raise ValueError(f"a place of its own for each; {place!r} stands at {at[place]} and {word}")
        at[place] = word
    return fields


def _machine(text: str) -> str:
    port = re.fullmatch(r"[^:]+:(\d+)", text)
    if "/" in text or port:
        where = f"; its port stands below: port = {port[1]}" if port else ""
        raise ValueError(f"its name or number alone, such as 127.0.0.1{where}")
    return text


def _own_address(text: str) -> str:
    """What a socket can listen on: a number, or a name as it stands in this machine's list of hosts."""
    try:
        ip_address(text)
    except ValueError:
        if re.fullmatch(r"[0-9.]+", text) or not re.fullmatch(HOST_NAME, text):
            raise ValueError(
                "an address of this machine, such as 192.168.1.7, ::1 or 0.0.0.0 for all of them; "
                "its port stands below: port = 8737"
            ) from None
    return text


def _whole_topic(text: str) -> str:
    if set(text) & {"+", "#", "\0"}:
        raise ValueError("one whole topic, without + or #")
    return text


def _without_secret(text: str) -> str:
    if "@" in text:
        raise ValueError("an address without a user or password in it")
    return text


def _service_url(text: str) -> str:
    """https; plain http only to this machine itself. Placeholders stand for the place."""
    parts = urlsplit(text)
    local = parts.hostname in {"127.0.0.1", "localhost"}
    if not parts.hostname or not (parts.scheme == "https" or (parts.scheme == "http" and local)):
        raise ValueError("an address that begins with https://")
    if set(re.findall(r"[{}][^{}]*[{}]?", text)) - {"{latitude}", "{longitude}"}:
        raise ValueError("an address with no other placeholders than {latitude} and {longitude}")
    return _without_secret(text)


Zone = Annotated[str, _known_zone]
Units = Annotated[str, _known_units]
TopicFilter = Annotated[str, _topic_filter]
Topic = Annotated[str, Meta(min_length=1, max_length=200), _whole_topic]
Address = Annotated[str, Meta(min_length=1, max_length=200), _without_secret]
Machine = Annotated[Address, _machine]
Names = Annotated[tuple[str, ...], ONE_OR_MORE]
HostName = Annotated[
    str,
    Meta(
        pattern=f"^{HOST_NAME}$",
        description="a name of this machine, such as shed.local, without a port",
    ),
]
Name = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z][A-Za-z0-9_-]{0,31}$",
        description="a letter, then letters, digits, - or _ (at most 32)",
    ),
]


class ShedFacts(FileTable, frozen=True, kw_only=True):
    """Where the work is done and what is being worked on."""

    name: str = "the shed"
    boat: str = ""
    substrate: str = "plywood"
    face: FaceBelow | None = None  # what is laid on; what the substrate says where none is given
    thickness_mm: Annotated[float, Meta(ge=0.1, le=500)] | None = None
    insulated_back: bool = False  # of the substrate: no heat leaves that way
    carbon_dioxide_ppm: Annotated[float, Meta(ge=300, le=20_000)] = 420.0
    volume_m3: Annotated[float, Meta(ge=1, le=100_000)] = 60.0
    heater: Literal["electric", "flued", "propane", "paraffin"] = "electric"
    heater_kw: Annotated[float, Meta(gt=0, le=500)] | None = None


class ShedTable(ShedFacts, frozen=True, kw_only=True):
    """The shed, and how times and quantities are shown."""

    zone: Zone = "UTC"
    units: Units = ""  # how quantities are shown: F,oz,12h; the locale where empty


class ResinTable(FileTable, frozen=True, kw_only=True):
    """The resin on the shelf."""

    name: str = "epoxy-slow"
    also: Names = ()  # other resins on the shelf, tried where this one is no go
    folder: Path | None = None
    lot: str | None = None
    batch_mass_g: Annotated[float, Meta(ge=1, le=20_000)] | None = None
    film_mm: Annotated[float, Meta(ge=0.1, le=50)] = 0.8
    peroxide_percent: Annotated[float, Meta(gt=0, le=100)] | None = None  # its resin states the range
    price: dict[str, Annotated[float, Meta(gt=0, le=1e6)]] = msgspec.field(
        default_factory=dict
    )  # a kg, by name
    currency: Annotated[str, Meta(max_length=8)] = ""


class WireUnits(FileTable, frozen=True, kw_only=True):
    """The units of a device whose messages do not say them, or say them in words that are not known."""

    temperature: Literal["degC", "degF", "K"] | None = None
    humidity: Literal["%", "1"] | None = None  # 1: a fraction, 0 to 1


class ValuePlaceTable(FileTable, frozen=True, kw_only=True):
    """Where a value stands in a message, and what makes it a value in the unit of its word."""

    at: Annotated[str, Meta(min_length=1, max_length=200)]  # a word, or a path: more.list.0.value
    scale: Annotated[float, Meta(ge=-1e6, le=1e6), _not_zero] = 1.0
    offset: Annotated[float, Meta(ge=-1e6, le=1e6)] = 0.0  # added after the scale
    comma: bool = False  # a comma is the decimal mark


Fields = Annotated[dict[Annotated[str, _field_word], str | ValuePlaceTable], _one_place_each]


class Sensor(FileTable, frozen=True, kw_only=True):
    """One sensor: what it stands for, how good it is, what it calls itself on the wire."""

    role: Role
    part: str = "single-wire"  # the widest of the common classes but one: wide when nothing was said
    address: Names = ()  # names, hardware numbers or whole topics it uses on the wire, besides its own name
    every_s: Annotated[float, Meta(gt=0, le=86_400)] = 60.0
    fields: Fields = msgspec.field(default_factory=dict)
    ignore: Names = ()  # words of its messages that are passed over
    topics: dict[Quantity, Topic] = msgspec.field(
        default_factory=dict
    )  # one a quantity, each with bare numbers
    wire_units: WireUnits = WireUnits()

    def __post_init__(self) -> None:
        if len(set(self.topics.values())) < len(self.topics):
            raise ValueError("topics: one topic for each quantity")


class SerialSource(FileTable, frozen=True, kw_only=True):
    """A port that boards print lines on."""

    url: Address
    baud: Annotated[int, Meta(ge=300, le=4_000_000)] = 115_200
    sensor: Name | None = None  # whose readings these are when a line names nobody
    fields: Fields = msgspec.field(default_factory=dict)
    ignore: Names = ()  # words of its lines that are passed over
    wire_units: WireUnits = WireUnits()
    form: Form = "auto"


class MqttSource(FileTable, frozen=True, kw_only=True):
    """A broker to subscribe to."""

    host: Machine = "127.0.0.1"
    port: Annotated[int, Meta(ge=1, le=65_535)] = 1883
    version: Literal["5", "3.1.1"] = "5"
    client_id: Annotated[
        str,
        Meta(
            min_length=1,
            max_length=64,
            pattern=r"^[A-Za-z0-9_-]+$",
            description="1 to 64 letters, digits, - or _",
        ),
    ] = "curewatch"
    topics: Annotated[tuple[TopicFilter, ...], ONE_OR_MORE, Meta(min_length=1)] = ("curewatch/+/reading",)
    device_level: Annotated[int, Meta(ge=1, le=20)] | None = (
        None  # of a topic, from the first; else the last +
    )
    share: Name | None = None  # the shared-subscription group; MQTT 5 only
    form: Form = "auto"
    fields: Fields = msgspec.field(default_factory=dict)
    ignore: Names = ()  # words of its messages that are passed over
    wire_units: WireUnits = WireUnits()
    username: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    session_hours: Annotated[float, Meta(gt=0, le=8760)] = 72.0
    keepalive_s: Annotated[int, Meta(ge=5, le=3600)] = 30
    in_flight: Annotated[int, Meta(ge=10, le=1000)] = 500  # receive maximum; MQTT 3.1.1 brokers choose theirs
    publish: (
        Annotated[str, Meta(pattern=r"^[^+#\x00]+$", description="a topic to write under, without + or #")]
        | None
    ) = "curewatch"
    discovery: (
        Annotated[str, Meta(pattern=r"^[^+#\x00]+$", description="a topic to write under, without + or #")]
        | None
    ) = None  # where an open home automation listens for what there is; none: it is told nothing

    def __post_init__(self) -> None:
        if self.discovery and not self.publish:
            raise ValueError("discovery with publish only: it tells of topics that are published")
        if self.share and self.version != "5":
            raise ValueError('share with version = "5" only: MQTT 3.1.1 has no shared subscriptions')
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file together, or neither")
        if self.certificate_file and not self.ca_file:
            raise ValueError("ca_file too: a client certificate is only sent over TLS")


class LimitsTable(FileTable, frozen=True, kw_only=True):
    """The user's own limits; each one given replaces that of the rule set and is shown as the user's."""

    rules: Literal["coating", "datasheet", "classed-workshop"] = "coating"
    condensation_margin_k: Annotated[float, Meta(ge=0, le=20)] | None = None
    humidity_highest_percent: Annotated[float, Meta(gt=0, le=100)] | None = None
    temperature_lowest_c: Annotated[float, Meta(ge=-20, le=60)] | None = None
    temperature_highest_c: Annotated[float, Meta(ge=-20, le=60)] | None = None
    reading_age_minutes: Annotated[float, Meta(gt=0, le=240)] | None = None
    probability: Annotated[float, Meta(ge=0.5, le=0.99)] | None = None

    def __post_init__(self) -> None:
        lowest, highest = self.temperature_lowest_c, self.temperature_highest_c
        if lowest is not None and highest is not None and lowest >= highest:
            raise ValueError("temperature_lowest_c below temperature_highest_c")


class Alerts(FileTable, frozen=True, kw_only=True):
    """What rings."""

    go_now: bool = True  # rings when the shed becomes fit, in working hours
    tonight_at: time | None = None  # one line a day at this hour: what the night is good for


class Notices(FileTable, frozen=True, kw_only=True):
    """Who is told of alerts beside the screen and the broker."""

    command: Annotated[
        tuple[Annotated[str, Meta(min_length=1, max_length=4096)], ...], Meta(max_length=64)
    ] = ()  # run with the notice as JSON on standard input; never through a shell
    timeout_s: Annotated[float, Meta(gt=0, le=60)] = 10.0
    addresses_file: Path | None = None  # of mode 0600: a name and an address a line
    quiet: Annotated[
        str,
        Meta(
            pattern=r"^(([01]\d|2[0-3]):[0-5]\d-([01]\d|2[0-3]):[0-5]\d)?$",
            description="hours such as 22:00-07:00",
        ),
    ] = ""  # only what cannot wait rings then

    @property
    def any(self) -> bool:
        """Whether anybody is told: each key but these two names a receiver."""
        receivers = set(self.__struct_fields__) - {"timeout_s", "quiet"}
        return any(getattr(self, key) for key in receivers)

    @property
    def quiet_hours(self) -> tuple[time, time] | None:
        """Their start and end by the shed's clock; none if there are none."""
        start, _, end = self.quiet.partition("-")
        return (time.fromisoformat(start), time.fromisoformat(end)) if end else None


class PhonePageTable(FileTable, frozen=True, kw_only=True):
    """The page for phones on the local network; off unless somebody switches it on."""

    on: bool = False
    address: Annotated[Address, _own_address] = (
        "127.0.0.1"  # of this machine, to listen on; 0.0.0.0 is all of them
    )
    port: Annotated[int, Meta(ge=1, le=65_535)] = 8737
    names: Annotated[tuple[HostName, ...], Meta(max_length=16)] = ()  # that browsers may call this machine by
    certificate_file: Path | None = None  # PEM, with its chain: TLS
    key_file: Path | None = None

    def __post_init__(self) -> None:
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file together, or neither")


class ForecastTable(FileTable, frozen=True, kw_only=True):
    """Where a forecast is fetched. Off without a url: it tells somebody where the shed stands."""

    url: Annotated[str, Meta(min_length=1, max_length=400), _service_url] | None = None
    latitude: Annotated[float, Meta(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Meta(ge=-180, le=180)] | None = None
    contact: (
        Annotated[str, Meta(pattern=r"^[!-~]{3,100}$", description="an address without blanks")] | None
    ) = None

    def __post_init__(self) -> None:
        if (self.latitude is None) != (self.longitude is None):
            raise ValueError("latitude and longitude together, or neither")
        if self.url and not self.contact:
            raise ValueError("contact too: services ask who asks them")
        if self.url and "{" in self.url and self.latitude is None:
            raise ValueError("latitude and longitude too: the url has places for them")

    @property
    def place(self) -> tuple[float, float] | None:
        """Rounded to 2 decimals, about a kilometre; nothing finer leaves this machine. [degrees]"""
        if self.latitude is None or self.longitude is None:
            return None
        return round(self.latitude, 2), round(self.longitude, 2)


class WorkingHours(FileTable, frozen=True, kw_only=True):
    """When somebody may be in the shed."""

    start: time = time(8, 0)
    end: time = time(22, 30)
    days: Annotated[tuple[Day, ...], Meta(min_length=1)] = EVERY_DAY


class Tin(FileTable, frozen=True, kw_only=True):
    """What was in the tins of one resin on a day; batches mixed since are counted down from it."""

    resin_g: Annotated[float, Meta(ge=0, le=1e6)]
    added_g: Annotated[float, Meta(ge=0, le=1e6)]  # hardener or peroxide
    counted: date  # at the begin of this day


class LogbookTable(FileTable, frozen=True, kw_only=True):
    """Where readings are kept, and for how long."""

    path: Path | None = None
    keep_days: Annotated[int, Meta(ge=30)] | None = None  # none: for ever; rows of a job are never removed
    stamp_authority: str | None = None  # http address that dates digests by RFC 3161
    stamp_roots_file: Path | None = None  # the certificates that its answers must lead to, PEM


class OneOfSheds(ShedFacts, frozen=True, kw_only=True):
    """One of several sheds: its facts, its sensors, and what is its own of the tables above."""

    sensors: dict[Name, Sensor] = msgspec.field(default_factory=dict)
    resin: ResinTable = ResinTable()
    limits: LimitsTable = LimitsTable()
    working_hours: WorkingHours = WorkingHours()
    stock: dict[Name, Tin] = msgspec.field(default_factory=dict)
    logbook: LogbookTable = LogbookTable()


class Configuration(FileTable, frozen=True, kw_only=True):
    """All of it: of one shed, or of several and what they have in common."""

    shed: ShedTable = ShedTable()
    resin: ResinTable = ResinTable()
    sensors: dict[Name, Sensor] = msgspec.field(default_factory=dict)
    serial: dict[Name, SerialSource] = msgspec.field(default_factory=dict)
    mqtt: dict[Name, MqttSource] = msgspec.field(default_factory=dict)
    limits: LimitsTable = LimitsTable()
    alerts: Alerts = Alerts()
    page: PhonePageTable = PhonePageTable()
    notices: Notices = Notices()
    working_hours: WorkingHours = WorkingHours()
    forecast: ForecastTable = ForecastTable()
    stock: dict[Name, Tin] = msgspec.field(default_factory=dict)  # by the name of the resin
    logbook: LogbookTable = LogbookTable()
    sheds: dict[Name, OneOfSheds] = msgspec.field(default_factory=dict)  # one: left out

    _file: Path | None = None
    _label: str = ""  # which of several sheds this is the configuration of
    _each: dict[str, "Configuration"] = msgspec.field(default_factory=dict)  # of several sheds

    @property
    def file(self) -> Path | None:
        """The file this was read from; none when these are the defaults."""
        return self._file

    @property
    def label(self) -> str:
        """The name in the file of the one of several sheds that this is of; '' where there is one alone."""
        return self._label

    @property
    def each(self) -> dict[str, "Configuration"]:
        """A whole configuration for each of several sheds, by its name; with one shed: this, under ''."""
        return self._each or {self._label: self}

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

    def of_shed(self, sensor: str) -> bool:
        """Whether a sensor tells of the shed; else it is a probe in a layer or a cup."""
        return self.role_of(sensor) not in PROBES

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

    def __post_init__(self) -> None:
        every = dict(self.sensors)
        owner: dict[str, str] = {}
        told_once(self.sensors, "sensors.", owner)
        for label, shed in self.sheds.items():
            told_once(shed.sensors, f"sheds.{label}.sensors.", owner)
            every |= shed.sensors
        self._sheds_alone()
        self._sources_and_sensors_meet(every)

    def _sheds_alone(self) -> None:
        """What several sheds cannot have in common is not told above them."""
        if not self.sheds:
            return
        for name, sensor in self.sensors.items():
            if sensor.role != "outside":
                allowed = (
                    f"it below the shed it is in: [sheds.NAME.sensors.{name}]. "
                    'Only one with role = "outside" is common to all'
                )
                raise Misfit(("sensors", name), allowed)
        if self.stock:
            allowed = "[sheds.NAME.stock]: the tins of each shed, counted down from its own batches"
            raise Misfit(("stock",), allowed)

    def _sources_and_sensors_meet(self, sensors: dict[str, Sensor]) -> None:
        for twice in self.serial.keys() & self.mqtt.keys():
            raise Misfit(
                ("mqtt", twice), f"another name: [serial.{twice}] has it, and each source needs its own"
            )
        ports: dict[str, str] = {}
        for port, source in self.serial.items():
            if ports.setdefault(source.url, port) != port:
                raise Misfit(
                    ("serial", port, "url"), f"another port: serial.{ports[source.url]} reads this one"
                )
            if source.sensor and sensors and source.sensor not in sensors:
                raise ValueError(
                    f"serial.{port}.sensor = one of {', '.join(sensors)}; found {source.sensor!r}"
                )
        filters = [pattern for source in self.mqtt.values() for pattern in source.topics]
        for name, sensor in sensors.items():
            for topic in sensor.topics.values():
                if not any(covers(pattern, topic) for pattern in filters):
                    raise ValueError(
                        f"sensors.{name}.topics: what the topics of an [mqtt] table cover; not {topic!r}"
                    )


def told_once(sensors: dict[str, Sensor], place: str, owner: dict[str, str]) -> None:
    """Misfit or ValueError where a name or address stands at another sensor; ``owner`` gathers them."""
    for name, sensor in sensors.items():
        for address in dict.fromkeys((name, *sensor.address, *sensor.topics.values())):
            before = owner.get(address)
            if before is not None and before != place + name:
                raise _twice(address, before, place + name)
            owner[address] = place + name


def _twice(address: str, before: str, now: str) -> Exception:
    if before.startswith("sensors.") and now.startswith("sensors."):
        before, now = before.removeprefix("sensors."), now.removeprefix("sensors.")
        return ValueError(f"each address for one sensor; {address!r} stands at {before} and {now}")
    allowed = f"each name and address once; {address!r} is told twice, at {before} and here"
    return Misfit(tuple(now.split(".")), allowed)
