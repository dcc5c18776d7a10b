"""The steps of the conversation: each fills its part of the answers, or is skipped."""

import getpass
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from curewatch.cli.setup import broker, pointing, serial_ports
from curewatch.cli.setup.answers import Answers, BrokerAnswer, NamedSensor, SerialAnswer, weather_service
from curewatch.cli.setup.heard import ONE_PERIOD, UNNAMED, HeardSensor
from curewatch.cli.setup.talk import TWO_PERIODS, Skipped, Talk
from curewatch.clock import Clock
from curewatch.configuration.shape import ROLES_BY_NAME
from curewatch.errors import ConfigurationError
from curewatch.readings import Reading
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

ROLES = {"air": "air at the work", "surface": "a probe on the hull", "outside": "outside, in the shade"}
NAME = re.compile("[A-Za-z][A-Za-z0-9_-]{0,31}")


@dataclass(slots=True)
class SetupSession:
    """What the steps share: the answers, what was heard, and how to ask."""

    talk: Talk
    clock: Clock
    answers: Answers
    words: Wording
    seconds: float  # how long to listen
    heard: list[HeardSensor]
    ports: tuple[str, ...] = ()  # addresses given on the command line
    folder: Path = Path()  # where the configuration will stand
    enough: Callable[[], bool] = lambda: False  # whether the person has heard enough

    def listening(self, seconds: float) -> None:
        """Say that it takes a while, and how to end it."""
        longest = f", {seconds:.0f} s where nothing comes" if seconds > ONE_PERIOD else ""
        usual = f"{min(seconds, ONE_PERIOD):.0f} s{longest}"
        self.talk.say(f"  listening for {usual} (boards report once a minute); Enter ends it ...")

    def live(self, line: str) -> None:
        """Show one line as it came from a port."""
        self.talk.say(f"    | {safe_line(line, 70)}")


def _shed(survey: SetupSession) -> None:
    answers, talk = survey.answers, survey.talk
    answers.shed = talk.ask("name of the shed", answers.shed)
    answers.boat = talk.ask("the boat", answers.boat)
    answers.zone = _zone(talk, answers.zone)


def _zone(talk: Talk, default: str) -> str:
    from zoneinfo import available_timezones

    zones = available_timezones()
    while (zone := talk.ask("time zone", default)) not in zones:
        talk.say(f"  {zone!r} is no IANA time zone; such as Europe/Lisbon or UTC")
    return zone


def machine_zone(environment: Any = os.environ) -> str:
    """The zone this machine is set to, as an IANA name; UTC if it does not say."""
    from zoneinfo import available_timezones

    linked = str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]
    file = Path("/etc/timezone")
    written = file.read_text(encoding="utf-8").strip() if file.is_file() else ""
    for zone in (environment.get("TZ", "").lstrip(":"), linked, written):
        if zone in available_timezones() and zone != "Etc/UTC":
            return zone
    return "UTC"


def _serial(survey: SetupSession) -> None:
    talk = survey.talk
    found = [serial_ports.Port(url, url, "as given") for url in survey.ports] or serial_ports.ports()
    if not found:
        talk.say("  no serial port is plugged in")
        address = talk.ask("address of one elsewhere (socket://host:port), or Enter for none")
        found = [serial_ports.Port(address, address, "")] if address else []
    for port in found:
        title = f" ({safe_line(port.title, 40)})" if port.title else ""
        talk.say(f"  {port.url}{title}")
        _one_port(survey, port.url)


def _one_port(survey: SetupSession, url: str) -> None:
    talk, seconds, first = survey.talk, survey.seconds, True
    while True:
        survey.listening(seconds)
        found = serial_ports.listen(url, seconds, survey.clock, survey.live, enough=survey.enough)
        if found.heard or found.unread or found.trouble:
            break
        more = f"nothing that can be read; listen for {TWO_PERIODS:.0f} s more"
        if not talk.agree(more, default=first):
            break
        seconds, first = TWO_PERIODS, False
    if found.trouble:
        talk.say(f"  it cannot be opened: {found.trouble}")
        talk.say("  permissions? `sudo usermod -a -G dialout $USER`, then log in again")
    for each in found.heard:
        talk.say(f"  came in: {_words(each, survey.words)}")
    if talk.agree("use this port", default=bool(found.heard or found.unread)):
        name = f"usb{len(survey.answers.ports) + 1}" if survey.answers.ports else "usb"
        port, heard = SerialAnswer(name, url, found.baud or 115_200), found.heard
        if not heard:
            places = serial_ports.FollowedPort(port.baud, survey.seconds, survey.clock, survey.enough)
            heard, port = pointing.pointed_at_port(talk, found.unread, port, places)
        survey.answers.ports.append(port)
        survey.heard.extend(heard)


def _broker(survey: SetupSession) -> None:
    talk = survey.talk
    address = talk.ask("address of the broker, host or host:port; Enter for none")
    if not address:
        return
    asked, password_file = _asked_broker(talk, address)
    survey.listening(survey.seconds)
    found = broker.listen(asked, survey.seconds, survey.clock, survey.live, enough=survey.enough)
    if found.trouble:
        talk.say(f"  the broker: {found.trouble}")
        if talk.agree("try another address, user or authority"):
            _broker(survey)
        return
    chosen = _chosen_topics(survey, found.heard)
    answer = BrokerAnswer(
        "yard",
        asked.host,
        asked.port,
        ("-",),
        found.version,
        asked.username,
        password_file,
        str(asked.ca_file) if asked.ca_file else None,
    )
    places = broker.Followed(asked, found.version, survey.seconds, survey.clock, survey.enough)
    pointed, own = pointing.pointed_at(talk, found.unread, answer, places)
    chosen += pointed
    survey.heard.extend(chosen)
    topics = dict.fromkeys(topic for each in chosen if not each.said_name for topic in each.addresses)
    if topics:
        survey.answers.brokers.append(replace(answer, topics=tuple(topics)))
    survey.answers.brokers.extend(own)


def _asked_broker(talk: Talk, address: str) -> tuple[broker.BrokerAddress, str | None]:
    host, _, port = address.partition(":")
    ca_file = talk.ask("file of its certificate authority, if it uses TLS; Enter for none")
    user = talk.ask("user name; Enter for none")
    password, kept = None, None
    if user:
        password = getpass.getpass("  password (not shown; Enter for none): ") or None
    if password:
        kept = _keep_password(talk, password)
    usual = "8883" if ca_file else "1883"
    number = int(port) if port.isdecimal() else int(usual)
    authority = Path(ca_file).expanduser().absolute() if ca_file else None
    return broker.BrokerAddress(host, number, user or None, password, authority), kept


def _keep_password(talk: Talk, password: str) -> str | None:
    """Write it to a file of its own that nobody else can read; never over another file."""
    asked = talk.ask("file to keep the password in (readable by you alone)", "broker-password")
    file = Path(asked).expanduser().absolute()  # wherever the configuration will stand
    try:
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        talk.say(f"  {file} exists and stays as it is")
        return str(file)
    except OSError as trouble:
        talk.say(f"  {file} cannot be written ({trouble.strerror}); set CUREWATCH_MQTT_PASSWORD instead")
        return None
    with os.fdopen(handle, "w", encoding="utf-8") as opened:
        opened.write(f"{password}\n")
    return str(file)


def _chosen_topics(survey: SetupSession, heard: tuple[HeardSensor, ...]) -> list[HeardSensor]:
    talk = survey.talk
    if not heard:
        talk.say("  connected; nothing came that is temperature or humidity by its name")
        return []
    talk.say("  these look like temperature and humidity:")
    for index, each in enumerate(heard, start=1):
        talk.say(f"    {index}  {safe_line(each.place, 40)}: {_words(each, survey.words)}")
    while True:
        answer = talk.ask("which ones: numbers, or all", "all")
        if answer == "all":
            return list(heard)
        numbers = [int(part) for part in answer.replace(",", " ").split() if part.isdecimal()]
        if numbers and all(1 <= number <= len(heard) for number in numbers):
            return [heard[number - 1] for number in dict.fromkeys(numbers)]
        talk.say(f"  numbers from 1 to {len(heard)}, such as 1 3, or all")


def _names(survey: SetupSession) -> None:
    from curewatch.materials.sensor_part import sensor_part_names

    talk = survey.talk
    if not survey.heard:
        talk.say("  nothing came in; `curewatch setup --example` shows how to write one down by hand")
        return
    talk.say(f"  {'; '.join(f'{role}: {what}' for role, what in ROLES.items())}; none: leave it out")
    for each in survey.heard:
        talk.say(f"  {_words(each, survey.words)} on {safe_line(each.place, 60)}")
        likely = ROLES_BY_NAME.get(each.name.lower(), "air" if each.latest.relative_humidity else "surface")
        role = _role(talk, each, likely)
        if role == "none":
            continue
        name = _free_name(talk, survey.answers, each.name if each.name != UNNAMED else _usual_name(role))
        part = talk.choose("class of its chip", sensor_part_names(), "single-wire")
        _take_sensor(survey.answers, each, name, role, part)


def _role(talk: Talk, heard: HeardSensor, likely: str) -> str:
    """What it stands for; a chip without humidity says nothing of the air, and is asked for again."""
    while True:
        role = talk.choose("it is", [*ROLES, "none"], likely)
        if role != "air" or heard.latest.relative_humidity is not None:
            return role
        talk.say("  it has reported no humidity, and without one nothing is known of the air")
        if talk.agree("the air all the same", default=False):
            return role


def _usual_name(role: str) -> str:
    return next(name for name, known in ROLES_BY_NAME.items() if known == role and name not in ROLES)


def _free_name(talk: Talk, answers: Answers, default: str) -> str:
    taken = {each.name for each in answers.sensors}
    while True:
        name = talk.ask("call it", default)
        if NAME.fullmatch(name) and name not in taken:
            return name
        talk.say("  a name of its own: a letter, then letters, digits, - or _ (at most 32)")


def _take_sensor(answers: Answers, heard: HeardSensor, name: str, role: str, part: str) -> None:
    address: tuple[str, ...] = (heard.name,) if heard.name not in {name, UNNAMED} else ()
    if heard.said_name:
        address = (heard.said_name,)
    elif heard.kind == "mqtt":
        address = () if heard.topics else (heard.place,)
    answers.sensors.append(
        NamedSensor(name, role, part, address, heard.topics, heard.fields, heard.wire_unit)
    )
    if heard.name == UNNAMED:
        answers.ports = [
            replace(port, sensor=name) if port.url == heard.place else port for port in answers.ports
        ]


def _work(survey: SetupSession) -> None:
    from curewatch.cli.setup.sheet import typed_in
    from curewatch.materials import load_resin, resin_names
    from curewatch.materials.substrate import substrate_names

    answers, talk = survey.answers, survey.talk
    answers.substrate = talk.choose("you laminate on", substrate_names(), answers.substrate)
    answers.thickness_mm = talk.number("its thickness in mm", 12.0, 1, 500)
    folder = survey.folder / answers.resin_folder if answers.resin_folder else None
    names = resin_names(folder)
    for name in names:
        talk.say(f"    {name}: {load_resin(name, folder).title}")
    talk.say("    sheet: type in the numbers of your maker's sheet; the others are generic archetypes")
    chosen = talk.choose("resin", [*names, "sheet"], answers.resin)
    own = typed_in(talk, survey.folder) if chosen == "sheet" else None
    if own is not None:
        answers.resin, answers.resin_folder = own
    elif chosen != "sheet":
        answers.resin = chosen
    answers.lot = talk.ask("its lot number, from the can; Enter for none", answers.lot)
    answers.batch_mass_g = talk.number("usual mass of one batch in g", 150.0, 1, 50_000)


def _forecast(survey: SetupSession) -> None:
    """Off unless wanted: what is told to whom is said before anything is asked."""
    talk = survey.talk
    talk.say("  A weather service can be asked for the air outside, about every hour. It is off unless you")
    talk.say("  give an address. The service then sees your connection's address, your contact, and where")
    talk.say("  the shed is to about a kilometre (2 decimals). Nothing else is sent.")
    url = talk.ask("address (https://…?lat={latitude}&lon={longitude}); Enter for none")
    if not url:
        return
    north = talk.number("latitude, degrees north, 2 decimals", None, -90, 90)
    east = talk.number("longitude, degrees east, 2 decimals", None, -180, 180)
    contact = talk.ask("your contact, which services ask for (an email or web address)")
    try:
        survey.answers.forecast = weather_service(url, (north, east), contact)
    except ConfigurationError as trouble:
        talk.say(f"  not taken: {safe_line(str(trouble), 200)}")
        if talk.agree("try again"):
            _forecast(survey)


def _words(heard: HeardSensor, words: Wording) -> str:
    reading: Reading = heard.latest
    parts = [safe_line(heard.name, 32)]
    if reading.temperature is not None:
        parts.append(words.temperature(reading.temperature))
    if reading.relative_humidity is not None:
        parts.append(words.percent(reading.relative_humidity))
    return " ".join(parts)


STEPS: tuple[tuple[str, Callable[[SetupSession], None]], ...] = (
    ("the shed", _shed),
    ("serial ports", _serial),
    ("a broker (MQTT)", _broker),
    ("the sensors' names", _names),
    ("substrate and resin", _work),
    ("a forecast", _forecast),
)


def walk(survey: SetupSession) -> None:
    """All steps in order; a skipped one leaves its defaults."""
    survey.talk.say("Enter takes what stands in [brackets], s skips a step, Ctrl-C leaves, nothing written.")
    for index, (title, function) in enumerate(STEPS, start=1):
        survey.talk.say(f"\n{index} of {len(STEPS)}: {title}")
        try:
            function(survey)
        except Skipped:
            survey.talk.say("  skipped")
