"""Stamps without an offset are the shed's: in summer, in winter, and in the hour that comes twice."""

import io
import json
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from curewatch import configuration
from curewatch.clock import Instant, utc_from_iso
from curewatch.daemon.events import MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.readings import Reading
from curewatch.wire import Parser
from curewatch.wire.recordings import pieces

LISBON = ZoneInfo("Europe/Lisbon")  # 2026-10-25, 02:00 summer time becomes 01:00 winter time


def _time(stamp: str, arrival: str, zone: str = "Europe/Lisbon") -> str:
    """When a reading with this stamp, arriving then, was measured; in UTC."""
    settings = f'[shed]\nzone = "{zone}"\n[sensors.bench]\nrole = "air"\n[mqtt.yard]\ntopics = "creek/+"\n'
    payload = json.dumps({"temperature": 12.5, "humidity": 71.0, "time": stamp}).encode()
    event = MessageArrived("yard", "creek/bench", payload, Instant(utc_from_iso(arrival), 0.0))
    [found] = Intake(configuration.parse(settings)).message_arrived(event)
    assert isinstance(found, Reading), found
    return datetime.fromtimestamp(found.time, UTC).isoformat()[:16]


@pytest.mark.parametrize(
    ("stamp", "arrival", "measured"),
    [
        ("2026-07-01T12:00", "2026-07-01T11:00Z", "2026-07-01T11:00"),
        ("2026-12-01T12:00", "2026-12-01T12:00Z", "2026-12-01T12:00"),
        ("2026-07-01T12:00+00:00", "2026-07-01T12:00Z", "2026-07-01T12:00"),
        ("2026-10-25T01:30", "2026-10-25T00:30Z", "2026-10-25T00:30"),  # the first time
        ("2026-10-25T01:30", "2026-10-25T00:50Z", "2026-10-25T00:30"),
        ("2026-10-25T01:30", "2026-10-25T01:30Z", "2026-10-25T01:30"),  # the second time
        ("2026-10-25T01:31", "2026-10-25T01:30Z", "2026-10-25T01:31"),  # its clock is a minute ahead
        ("2026-10-25T01:30", "2026-10-25T02:10Z", "2026-10-25T01:30"),
        ("2026-10-25T00:59", "2026-10-24T23:59Z", "2026-10-24T23:59"),
        ("2026-10-25T02:00", "2026-10-25T02:00Z", "2026-10-25T02:00"),
    ],
)
def test_a_stamp_without_an_offset_is_the_sheds(stamp: str, arrival: str, measured: str) -> None:
    """Of the two moments of a repeated hour the newest that is not in the future."""
    assert _time(stamp, arrival) == measured


def test_where_the_shed_is_far_from_greenwich_nothing_is_refused() -> None:
    """Taken as UTC, these would lie in the future, or be hours old."""
    assert _time("2026-07-01T22:00", "2026-07-01T10:00Z", "Pacific/Auckland") == "2026-07-01T10:00"
    assert _time("2026-07-01T06:00", "2026-07-01T10:00Z", "America/Halifax") == "2026-07-01T09:00"


@pytest.mark.parametrize("step", [1, 10])
@pytest.mark.parametrize("form", ["csv", "json"])
def test_a_recording_goes_through_the_repeated_hour_once(form: str, step: int) -> None:
    """Minute after minute in UTC, whatever its clock showed; the door reads each line at that moment."""
    start = utc_from_iso("2026-10-24T23:00Z")
    moments = [start + 60.0 * minute for minute in range(0, 240, step)]
    shown = [datetime.fromtimestamp(moment, LISBON).isoformat()[:16] for moment in moments]
    lines = [
        f"{text},12.5,71" if form == "csv" else json.dumps({"time": text, "temperature": 12.5})
        for text in shown
    ]
    head = ["time,temperature_c,humidity_percent"] if form == "csv" else []
    found = list(pieces(io.BytesIO("\n".join([*head, *lines]).encode()), zone=LISBON))[len(head) :]
    assert [piece.at for piece in found] == moments
    if form == "json":
        parser = Parser(check=False, zone=LISBON)
        read = [parser.payload(piece.data, Instant(piece.at, 0.0), "", "bench") for piece in found]
        assert [event.time for [event] in read if isinstance(event, Reading)] == moments


@pytest.mark.parametrize("year", ["0001", "1900", "9999"])
def test_the_ends_of_the_calendar_are_no_traceback(year: str) -> None:
    """Whatever a board's clock says, it is a reading or a refusal."""
    payload = json.dumps({"temperature": 12.5, "time": f"{year}-01-01T00:00"}).encode()
    for zone in ("Pacific/Auckland", "America/Halifax", "UTC"):
        assert Parser(zone=ZoneInfo(zone)).payload(payload, Instant(1_790_000_000.0, 0.0), "", "bench")
    payload = json.dumps({"temperature": 12.5, "time": f"{year}-12-31T23:59"}).encode()
    for zone in ("Pacific/Auckland", "America/Halifax", "UTC"):
        assert Parser(zone=ZoneInfo(zone)).payload(payload, Instant(1_790_000_000.0, 0.0), "", "bench")
