"""Is everything there that a layer would be trusted to? Findings, each with what to do.

Each examination looks at one thing and gives findings; none of them changes anything, and none
disturbs a running daemon: what the daemon knows is read from its logbook.
"""

import os
import shutil
import stat
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

from curewatch.answers.doctor import FindingDocument, Grade
from curewatch.clock import Instant
from curewatch.configuration import Configuration, MqttSource, logbook_path, password
from curewatch.errors import CurewatchError, ExitStatus, RecordBroken, StoreFailed
from curewatch.logbook import LogbookStore, StoredEntry, watched
from curewatch.logbook.checked import check_since_seal
from curewatch.logbook.forwarded import kept_by_another
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.notices.addresses import read_addresses
from curewatch.shed import health, recall, rejected_lately
from curewatch.shed.clock_watch import NOT_BEFORE
from curewatch.shed.judgement import judged
from curewatch.shed.known_names import check_names
from curewatch.units import DAY
from curewatch.wording import Wording, counted, duration

ROOM_NONE = 20e6  # bytes free below which no commit can be counted on
ROOM_LOW = 200e6  # bytes free below which care is asked for: years of readings, but also logs of others
DAYS_LOW = 60.0  # until the disk is full at the logbook's own pace
DAYS_FAR = 3653.0  # what is said of a disk that lasts longer than any laptop
READING = 20.0  # bytes kept for a reading, its index and its share of the hourly sums, at most (measured)
ENTRIES = 200e3  # bytes a day of verdicts, alerts, health and seals (assumed)
CHECKED_AGAIN = 365 * DAY  # a humidity chip drifts 0.25 to 0.5 % a year (sensor makers' data sheets) [s]
WALKED_AGAIN = 90 * DAY  # a card or a disk fails slowly and unseen (assumed) [s]
CLOCK_BACK = DAY  # a clock step younger than this is told [s]
FORECAST_OLD = 1.5 * DAY  # an answer older than this is told: the longest wait is a day [s]
HEALTHY = {health.Health.FRESH}
DOUBTED = {health.Health.LATE, health.Health.SATURATED}


class HeartbeatHeard(NamedTuple):
    """What a second listener would hear of a broker."""

    at: float | None  # UTC, the last sign of life that it keeps; none: it keeps none [s]
    trouble: str = ""  # why it cannot be listened to


class Examined(NamedTuple):
    """What the examinations share."""

    configuration: Configuration
    words: Wording
    now: Instant
    logbook: LogbookStore | None
    unreadable: str = ""  # why there is a logbook that cannot be opened
    beside: tuple[Path, ...] = ()  # logbooks that a daemon wrote there and that no shed has
    synchronised: bool | None = None  # whether a time server sets this clock; None: cannot be known
    hear: Callable[[str, MqttSource], HeartbeatHeard] | None = None  # what a broker keeps of the daemon


def _good(about: str, finding: str) -> FindingDocument:
    return FindingDocument(about=about, grade=Grade.GOOD, finding=finding, advised="", exit_status=0)


def _care(about: str, finding: str, advised: str) -> FindingDocument:
    return FindingDocument(about=about, grade=Grade.CARE, finding=finding, advised=advised, exit_status=0)


def _bad(about: str, finding: str, advised: str, status: ExitStatus = ExitStatus.UNKNOWN) -> FindingDocument:
    return FindingDocument(
        about=about, grade=Grade.BAD, finding=finding, advised=advised, exit_status=int(status)
    )


def examine(examined: Examined) -> tuple[FindingDocument, ...]:
    """All findings, in the order a person would look."""
    return tuple(finding for look in EXAMINATIONS for finding in look(examined))


def verdict(findings: tuple[FindingDocument, ...]) -> ExitStatus:
    """OK when nothing is bad; else the worst: a broken record, the configuration, the store, unknown."""
    bad = {finding.exit_status for finding in findings}
    for worst in (ExitStatus.RECORD_BROKEN, ExitStatus.CONFIGURATION, ExitStatus.FAILURE, ExitStatus.UNKNOWN):
        if worst in bad:
            return worst
    return ExitStatus.OK


def _configuration(examined: Examined) -> Iterator[FindingDocument]:
    configuration = examined.configuration
    try:
        check_names(configuration)
    except CurewatchError as trouble:
        yield _bad("configuration", str(trouble), "correct that name", ExitStatus.CONFIGURATION)
        return
    if configuration.file is None:
        yield _care("configuration", f"none: defaults are used{_taken(examined)}", "curewatch setup")
        return
    parts = (
        counted(len(configuration.sensors), "sensor"),
        counted(len(configuration.serial), "serial port"),
        counted(len(configuration.mqtt), "broker"),
    )
    finding = f"{configuration.file}: {', '.join(parts)}"
    if configuration.serial or configuration.mqtt:
        yield _good("configuration", finding)
    else:
        yield _care("configuration", f"{finding}: nothing new can come in", "curewatch setup")
    if not configuration.sensors:
        how = "add [sensors.NAME]: curewatch setup --example"
        yield _care("sensors-named", f"no sensor is named in it{_taken(examined)}", how)


def _taken(examined: Examined) -> str:
    """Which sensors are believed by their name alone, where none is configured."""
    if examined.logbook is None:
        return ""
    names = recall.sensors_of_interest(examined.logbook, examined.configuration)
    roles = [f"{name} as {examined.configuration.role_of(name)}" for name in names]
    return f"; taken by their word: {', '.join(roles)}" if roles else ""


def _serial(examined: Examined) -> Iterator[FindingDocument]:
    for name, source in examined.configuration.serial.items():
        about = f"serial.{name}"
        if "://" in source.url:
            yield _far_port(examined, name, source.url)
            continue
        port = Path(source.url)
        if not port.exists():
            yield _bad(about, f"{port} is not there", "plug it in; list: ls /dev/serial/by-id")
        elif not os.access(port, os.R_OK | os.W_OK):
            group = "sudo usermod -a -G dialout $USER, then log in again"
            yield _bad(about, f"{port} may not be opened by you", group)
        elif not port.is_char_device():
            yield _bad(about, f"{port} is no serial port", "list them: ls /dev/serial/by-id")
        elif refused := _refused(examined, name):
            yield _bad(about, f"{port} is there, but {refused}", "let the daemon alone have it open")
        elif "by-id" not in source.url and port.is_char_device() and "/dev/tty" in source.url:
            steady = "use its name under /dev/serial/by-id: that one stays when cables move"
            yield _care(about, f"{port} is there under a name that can change", steady)
        else:
            yield _good(about, f"{port} is there and may be opened")


def _refused(examined: Examined, name: str) -> str:
    """Why the daemon that runs does not read a port, as far as it wrote that down; nothing where it does."""
    last = _last_told(examined, name)
    if last is None or last.payload["up"] or not watched(logbook_path(examined.configuration)):
        return ""
    return f"not read since {examined.words.moment(last.at, examined.now.utc)}: {last.payload.get('reason')}"


def _last_told(examined: Examined, *names: str) -> StoredEntry | None:
    """What the daemon wrote down last of whether this source answers."""
    entries = [] if examined.logbook is None else examined.logbook.entries("source")
    told = (
        one for one in reversed(entries) if str(one.payload.get("source")) in names and "up" in one.payload
    )
    return next(told, None)


def _far_port(examined: Examined, name: str, url: str) -> FindingDocument:
    """A port behind an address takes one reader, the daemon: what it wrote down last is told."""
    about = f"serial.{name}"
    last = _last_told(examined, name)
    if last is None:
        return _care(about, f"{url}: the daemon has not connected to it yet", "start it: curewatch watch")
    when = examined.words.moment(last.at, examined.now.utc)
    if last.payload["up"]:
        return _good(about, f"{url}: answers since {when}")
    return _bad(about, f"{url}: no answer since {when}: {last.payload.get('reason')}", "see to its other end")


def _brokers(examined: Examined) -> Iterator[FindingDocument]:
    for name, source in examined.configuration.mqtt.items():
        about = f"mqtt.{name}"
        try:
            password(name, source)
        except CurewatchError as trouble:
            yield _bad(about, str(trouble), "see the message", ExitStatus.CONFIGURATION)
        yield _broker_heard(examined, name, about)


def _broker_heard(examined: Examined, name: str, about: str) -> FindingDocument:
    """What the daemon wrote down of this broker last: does it answer, did it keep our session?"""
    from curewatch.daemon.edges import fence

    entries = [] if examined.logbook is None else examined.logbook.entries("source")
    told = [entry for entry in entries if str(entry.payload.get("source")) in {name, about}]
    last = _last_told(examined, name, about)
    if last is None:
        return _bad(about, "the daemon has not connected to it yet", "start it: curewatch watch")
    when = examined.words.moment(last.at, examined.now.utc)
    if not last.payload["up"]:
        return _bad(about, f"no answer since {when}: {last.payload.get('reason')}", "see to the broker")
    notices = [str(entry.payload["notice"]) for entry in told if "notice" in entry.payload]
    marked = [text for text in notices if text.startswith((fence.MISSING, fence.BACK))]
    if marked and marked[-1].startswith(fence.MISSING):
        topic = fence.topic_of(examined.configuration.mqtt[name])
        finding = f"answers since {when}, but {marked[-1]}"
        return _care(about, finding, fence.CURE.format(topic=topic))
    lost = [entry for entry in told if "notice" in entry.payload and entry.at >= last.at - 60]
    if any("session" in str(entry.payload["notice"]) for entry in lost):
        advice = "let the broker keep sessions on disk (persistence, autosave): see its settings"
        return _care(about, f"answers since {when}, but kept no session for us", advice)
    return _kept(examined.configuration.mqtt[name], about, f"answers since {when}, session kept")


def _kept(source: MqttSource, about: str, finding: str) -> FindingDocument:
    """For how long the broker keeps what comes while we are away, and what it may lose all the same."""
    from curewatch.daemon.edges.message_socket import LONGEST

    modern = source.version == "5"
    span = f"for {source.session_hours:g} h" if modern else "for as long as the broker likes"
    large = "dropped by the broker, and not counted" if modern else "rejected and counted"
    return _good(
        about,
        f"{finding} {span}; what it has not written to its disk is lost if it loses power; "
        f"a message above {LONGEST / 1000:.0f} kB is {large}",
    )


def _daemon(examined: Examined) -> Iterator[FindingDocument]:
    """Whether one takes in what the sources bring; nothing where there is no source, or none can tell."""
    configuration = examined.configuration
    if not configuration.serial and not configuration.mqtt:
        return
    found = watched(logbook_path(configuration))
    if found:
        yield _good("daemon", "one runs and keeps the logbook")
    elif found is False:
        finding = "none runs: no reading comes in, no alert rings"
        yield _bad("daemon", finding, "start it: curewatch watch, or the service curewatch ingest")


def _heartbeat(examined: Examined) -> Iterator[FindingDocument]:
    """Whether another machine would notice that this one died."""
    if examined.hear is None or not examined.configuration.mqtt:
        return
    from curewatch.daemon.second_listener import AFTER

    for name, source in examined.configuration.mqtt.items():
        heard, about = examined.hear(name, source), f"heartbeat.{name}"
        if heard.at is None:
            finding = heard.trouble or "the broker keeps no sign of life of the daemon"
            yield _care(about, finding, "start the daemon, wait a minute; else see to the broker")
            continue
        age = examined.now.utc - heard.at
        finding = f"the broker keeps the daemon's last sign of life, {duration(age)} old"
        if age < AFTER:
            yield _good(about, f"{finding}; a second listener hears it: curewatch heartbeat")
        else:
            yield _care(about, finding, "start the daemon: curewatch watch")


def _notices(examined: Examined) -> Iterator[FindingDocument]:
    """Whether the addresses can be used; nothing is sent."""
    file = examined.configuration.notices.addresses_file
    if file is None:
        return
    try:
        names = ", ".join(read_addresses(file))
    except CurewatchError as trouble:
        yield _bad("notices", str(trouble), "see the message", ExitStatus.CONFIGURATION)
        return
    if find_spec("apprise") is None:
        yield _bad("notices", "found no apprise", "pip install 'curewatch[notify]'", ExitStatus.CONFIGURATION)
    else:
        yield _good("notices", f"to {names}; to try them: curewatch notify test")


def _sensors(examined: Examined) -> Iterator[FindingDocument]:
    logbook, configuration, now = examined.logbook, examined.configuration, examined.now.utc
    if examined.unreadable:
        yield _bad("sensors", "what came in cannot be read", "see the logbook, below")
        return
    if logbook is None:
        yield _bad("sensors", "nothing has ever come in", "start the daemon: curewatch watch")
        return
    names = recall.sensors_of_interest(logbook, configuration)
    if not any(configuration.role_of(name) == "air" for name in names):
        yield _bad("sensors", "no sensor stands for the air at the work", 'give one role = "air"')
    for name, (heard, how) in judged(logbook, configuration, names, now, without_model=True).items():
        yield _sensor(examined, name, how, heard)


def _sensor(
    examined: Examined, name: str, how: health.SensorHealth, known_of: recall.LastHeard
) -> FindingDocument:
    configuration, now = examined.configuration, examined.now.utc
    about, role = f"sensor.{name}", configuration.role_of(name) or "no role"
    if known_of.held_back and how.health in {health.Health.NEVER, health.Health.SILENT}:
        return _bad(about, f"{role}, {recall.HELD_BACK}", "wait for its next report")
    if known_of.set_back and known_of.ahead is not None:
        finding = f"{role}, last stamp {duration(known_of.ahead - now)} ahead of this machine's clock"
        return _bad(about, finding, "set this machine's clock, then wait for the next reading")
    if known_of.shown is None:
        return _bad(about, f"{role}, never reported", "its cable, its power, its name")
    known = configuration.sensor(name)
    part = load_sensor_part(known.part if known else "unknown")
    accuracy = f"±{examined.words.difference(part.temperature_sd)}"
    humid = False
    if part.relative_humidity_sd and known_of.shown.relative_humidity is not None:
        humid = True
        accuracy += f", ±{part.relative_humidity_sd * 100:.1f} % humidity"
    heard = duration(max(0.0, now - known_of.shown.time))
    finding = f"{role}, {how.health}, last report {heard} ago, {part.name} {accuracy}"
    if how.health in HEALTHY:
        return _checked(examined, name, _good(about, finding), humid)
    told = _care if how.health in DOUBTED else _bad
    return told(
        about,
        f"{finding}: {examined.words.say(how.reason, now)}",
        "look at it: cable, battery, water, sun",
    )


def _checked(examined: Examined, name: str, good: FindingDocument, humidity: bool) -> FindingDocument:
    """A humidity chip that was never held over a salt is good with a remark."""
    checks = [] if examined.logbook is None else examined.logbook.entries("sensor-check")
    mine = [entry for entry in checks if entry.payload.get("sensor") == name]
    if not humidity or (mine and examined.now.utc - mine[-1].at < CHECKED_AGAIN):
        return good
    since = "never" if not mine else examined.words.moment(mine[-1].at, examined.now.utc)
    return _care(good.about, f"{good.finding}; salt check: {since}", f"curewatch sensor check {name}")


def _rejected(examined: Examined) -> Iterator[FindingDocument]:
    """What came in and could not be taken; the reason tells what to do."""
    lately = () if examined.logbook is None else rejected_lately.lately(examined.logbook, examined.now.utc)
    if not lately:
        return
    from curewatch.daemon.rejections import LOUD

    for one in lately:
        whose = ", ".join(part for part in (one.source, one.sensor) if part) or "nobody known"
        last = examined.words.moment(one.last_at, examined.now.utc)
        now = examined.now.utc - one.last_at < rejected_lately.STILL
        told = _bad if one.reason in LOUD and now else _care
        yield told(
            "rejected", f"{whose}: {one.times} since yesterday, {one.reason}, last {last}", one.advised
        )


def _clock(examined: Examined) -> Iterator[FindingDocument]:
    now, words = examined.now.utc, examined.words
    if now < NOT_BEFORE:
        yield _bad("clock", "this machine's clock is not set", "set it, or bring it to a network")
        return
    entries = [] if examined.logbook is None else examined.logbook.entries("clock", start=now - CLOCK_BACK)
    steps = [entry for entry in entries if abs(float(entry.payload.get("step", 0.0))) > 60]
    finding = f"{words.stamp(now)} in {examined.configuration.shed.zone}"
    if steps:
        last = steps[-1]
        moved = f"it moved by {duration(float(last.payload['step']))} at {words.moment(last.at, now)}"
        yield _care("clock", f"{finding}; {moved}", "readings of that time are marked; a time server?")
    elif examined.synchronised is False:
        unset = "no time server sets it: it may drift by seconds a day"
        yield _care("clock", f"{finding}; {unset}", "timedatectl set-ntp true; else set it weekly")
    else:
        kept = "; set by a time server" if examined.synchronised else ""
        yield _good("clock", f"{finding}{kept}")
    if examined.configuration.file is not None and examined.configuration.shed.zone == "UTC":
        yield _care("zone", "times are shown in UTC", 'set shed.zone, e.g. "Europe/Lisbon"')


def _disk(examined: Examined) -> Iterator[FindingDocument]:
    path = logbook_path(examined.configuration)
    folder = next(each for each in (path.parent, *path.parent.absolute().parents) if each.exists())
    free = shutil.disk_usage(folder).free
    known = _pace(examined.logbook, path)
    days = free / (known or _rate(examined))
    said = "more than ten years" if days > DAYS_FAR else f"about {days:,.0f} days"
    origin = "at its pace so far" if known else "by the configured rate: no day is recorded yet"
    finding = f"{free / 1e9:.1f} GB free, full in {said} {origin}"
    room = "make room; `logbook.keep_days` in the configuration prunes"
    if free < ROOM_NONE:
        yield _bad(
            "disk", f"{free / 1e6:.1f} MB free: readings can no longer be kept", room, ExitStatus.FAILURE
        )
    elif free < ROOM_LOW or days < DAYS_LOW:
        yield _care("disk", finding, room)
    else:
        yield _good("disk", finding)


def _pace(logbook: LogbookStore | None, path: Path) -> float | None:
    """Bytes a day that the logbook grew by over its life, once that is a day or more."""
    known = {} if logbook is None else logbook.sensors()
    if not known:
        return None
    begin, end = min(one.earliest for one in known.values()), max(one.latest for one in known.values())
    return path.stat().st_size / ((end - begin) / DAY) if end - begin >= DAY else None


def _rate(examined: Examined) -> float:
    """Bytes a day that the sensors' configured rates come to; three sensors a minute where none is named."""
    sensors = examined.configuration.sensors.values()
    reports = sum(DAY / sensor.every_s for sensor in sensors) or 3 * 1440.0
    return ENTRIES + READING * reports


def _logbook(examined: Examined) -> Iterator[FindingDocument]:
    path = logbook_path(examined.configuration)
    if examined.unreadable:
        advised = "do what the message asks; the file was left as it is"
        yield _bad("logbook", examined.unreadable, advised, ExitStatus.FAILURE)
        return
    if examined.beside and (examined.logbook is None or examined.logbook.head().readings == 0):
        names = ", ".join(each.name for each in examined.beside)
        advised = "if this shed was renamed: name that file as path below its [logbook]"
        yield _care(
            "logbook-beside", f"beside the new one, of no shed in the configuration: {names}", advised
        )
    if examined.logbook is None:
        yield _bad("logbook", f"none yet at {path}", "curewatch watch begins one")
        return
    try:
        yield _whole(examined, path, examined.logbook)
    except RecordBroken as trouble:
        keep = "keep the file. `curewatch logbook salvage NEW` takes what is whole"
        yield _bad("logbook", f"it is damaged, or was changed: {trouble}", keep, ExitStatus.RECORD_BROKEN)
    except StoreFailed as trouble:
        yield _bad("logbook", str(trouble), "do what the message asks", ExitStatus.RECORD_BROKEN)
    if kept_by_another(path):
        yield _good("permissions", "a service keeps the logbook; what you tell goes through it")
    elif not os.access(path, os.W_OK) or not os.access(path.parent, os.W_OK):
        yield _bad(
            "permissions",
            f"{path} cannot be written by you",
            f"run it as its owner, or: sudo chown $USER {path}*",
        )
    elif path.stat().st_mode & stat.S_IWOTH:
        yield _care("permissions", f"{path} can be changed by everybody here", f"chmod o-w {path}")
    else:
        yield _good("permissions", "the logbook is yours to write")


def _whole(examined: Examined, path: Path, logbook: LogbookStore) -> FindingDocument:
    """Since the last seal, and when somebody walked the whole: that takes seconds for years of readings."""
    since = check_since_seal(logbook)
    head, now = logbook.head(), examined.now.utc
    finding = f"{path}: {counted(head.readings, 'reading')}, {counted(head.entries, 'entry')}"
    if since.sealed_at is None:
        return _good("logbook", f"{finding}, chain unbroken, never sealed")
    finding += f", unbroken since the seal of {examined.words.moment(since.sealed_at, now)}"
    begun = min((one.earliest for one in logbook.sensors().values()), default=now)
    if now - (since.whole_at or begun) > WALKED_AGAIN:
        last = "never" if since.whole_at is None else examined.words.moment(since.whole_at, now)
        return _care("logbook", f"{finding}; the whole: checked {last}", "curewatch logbook verify")
    last = "not yet" if since.whole_at is None else examined.words.moment(since.whole_at, now)
    return _good("logbook", f"{finding}; the whole: checked {last}")


def _forecast(examined: Examined) -> Iterator[FindingDocument]:
    """Age and last trouble of the service that is asked; nothing where none is."""
    service, words, now = examined.configuration.forecast, examined.words, examined.now.utc
    if not service.url:
        return
    from curewatch.daemon import fetcher

    known, who = fetcher.remembered(logbook_path(examined.configuration)), fetcher.host(service)
    if known.url != fetcher.address(service):
        yield _care("forecast", f"{who} was not asked yet", "curewatch forecast fetch")
        return
    last = f"last answer {words.moment(known.fetched, now)}" if known.fetched else "no answer yet"
    if known.trouble:
        again = f"asked again after {words.moment(known.not_before, now)}; see [forecast]"
        yield _care("forecast", f"{who}: {known.trouble}; {last}", again)
    elif known.fetched is not None and now - known.fetched > FORECAST_OLD:
        yield _care("forecast", f"{who}: {last}", "is the daemon running? curewatch forecast fetch")
    else:
        yield _good("forecast", f"{who}: {last}")


EXAMINATIONS: tuple[Callable[[Examined], Iterator[FindingDocument]], ...] = (
    _configuration,
    _serial,
    _daemon,
    _brokers,
    _heartbeat,
    _notices,
    _sensors,
    _rejected,
    _clock,
    _disk,
    _logbook,
    _forecast,
)
