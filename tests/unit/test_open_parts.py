"""A notice of the shed begins with the open jobs and parts that it concerns: which, and in which order."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from curewatch.advice.alert.alerts import AlertKind
from curewatch.configuration import Configuration
from curewatch.configuration.shape import Alerts, ResinTable
from curewatch.jobs import PART_LONGEST, Layer, OpenPart, layer_as_plain
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.shed import layer_log, open_parts
from curewatch.shed.look import Look
from curewatch.wording import plain_wording

NOW = 1_792_267_200.0


def opened(job: str, title: str) -> Entry:
    return Entry(EntryKind.JOB_OPEN, {"title": title}, NOW - 7200.0, job=job)


def laid(name: str, part: str, job: str | None = None, resin: str = "epoxy-slow") -> Entry:
    layer = Layer(name, NOW - 3600.0, resin, job=job, part=part)
    return Entry(EntryKind.LAYER, layer_as_plain(layer), NOW - 3600.0, job=job)


def over(kind: EntryKind, job: str) -> Entry:
    return Entry(kind, {}, NOW - 60.0, job=job)


WORK = [
    opened("J1", "new  rudder cheek"),
    opened("J2", "port topsides"),
    opened("J3", "hatch"),
    opened("J4", "tiller"),
    laid("L1", "", "J1"),
    laid("L2", "stringer", "J2", "polyester-laminating"),
    laid("L3", "floor", "J2"),
    laid("L4", "hatch", "J3"),
    laid("L5", "stringer", "J2", "polyester-laminating"),
    laid("L6", "locker lid"),
    laid("L7", ""),
    Entry(EntryKind.LAYER_CLOSED, {"layer": "L4"}, NOW - 70.0, job="J3"),
    over(EntryKind.JOB_CLOSE, "J3"),
    over(EntryKind.JOB_CLOSE, "J4"),
]
ALL = "locker lid; J2 stringer; J2 floor and 1 more"


def said(folder: Path, entries: list[Entry], resin: str = "epoxy-fast") -> dict[AlertKind, str]:
    """What rings, at the hour of the daily line, in a shed whose sensors were never heard."""
    hour = datetime.fromtimestamp(NOW, UTC).time()
    settings = Configuration(resin=ResinTable(name=resin), alerts=Alerts(tonight_at=hour))
    with Logbook(folder / "logbook.sqlite") as logbook:
        logbook.append(entries=entries)
        signals = Look(logbook, settings, NOW).signals
    return {each.key.kind: plain_wording().say(each.text) for each in signals if each.raised}


def test_the_open_parts_are_those_of_open_jobs_and_of_layers_that_run(tmp_path: Path) -> None:
    """The last told of first; a job whose part nobody named is about its title; nothing closed."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(entries=WORK)
        found = [each.named for each in open_parts.open_parts(logbook, NOW)]
        assert found == ["locker lid", "J2 stringer", "J2 floor", "J1 new rudder cheek"]
        logbook.append(entries=[over(EntryKind.JOB_REOPEN, "J3")])
        assert "J3 hatch" in [each.named for each in open_parts.open_parts(logbook, NOW)]
        gone = NOW + layer_log.LONGEST
        assert "locker lid" not in [each.named for each in open_parts.open_parts(logbook, gone)]


@pytest.mark.parametrize(
    ("entries", "resin", "concerned", "of_sensor"),
    [
        ([], "epoxy-fast", "", ""),
        (WORK[:1], "epoxy-fast", "J1 new rudder cheek", "J1 new rudder cheek"),
        (WORK[3:4] + WORK[13:], "epoxy-fast", "", ""),
        (WORK, "epoxy-fast", "locker lid; J2 floor; J1 new rudder cheek", ALL),
        (WORK, "polyester-laminating", "J2 stringer", ALL),
    ],
    ids=["no job", "one job", "one that is closed", "several", "several, another resin"],
)
def test_what_is_of_the_shed_names_the_work_that_it_concerns(
    entries: list[Entry], resin: str, concerned: str, of_sensor: str, tmp_path: Path
) -> None:
    """A chance is for parts that harden as its resin does; every open part rests on a sensor."""
    told = said(tmp_path, entries, resin)
    first = f"{concerned}: " if concerned else ""
    assert told[AlertKind.TONIGHT] == f"{first}tonight: unknown, readings are missing"
    sensor = f"{of_sensor}, sensor air: " if of_sensor else "air: "
    assert told[AlertKind.SENSOR_LOST].startswith(f"{sensor}no reading: ")


def test_a_batch_that_is_not_laid_names_the_part_of_its_job(tmp_path: Path) -> None:
    """Where the job has one part alone; else which of them it is for is not guessed."""
    batch = {"batch": "B1", "resin_mass": 0.4, "hardener_mass": 0.1, "resin": "epoxy-fast"}
    mixed = Entry(EntryKind.BATCH, batch, NOW - 900.0, job="J1")
    further = laid("L8", "tiller", "J1")
    one, two = [WORK[0], mixed], [WORK[0], WORK[4], further, mixed]
    for number, (entries, named) in enumerate([(one, "J1 new rudder cheek, B1"), (two, "J1 B1")]):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert said(folder, entries)[AlertKind.POT].startswith(f"{named}: pot warming")


def test_as_many_names_as_fit_stand_whole() -> None:
    """The first always; the rest are counted. A name that comes twice is told once."""
    long = OpenPart("J112", "x" * PART_LONGEST)
    assert open_parts.named([]) == ""
    assert open_parts.named([long]) == long.named
    assert open_parts.named([long, OpenPart("J1", "tiller")]) == f"{long.named} and 1 more"
    many = [OpenPart(f"J{number}", "tiller", resin) for number in range(12) for resin in ("", "epoxy-slow")]
    assert open_parts.named(many) == "J0 tiller; J1 tiller; J2 tiller and 9 more"
