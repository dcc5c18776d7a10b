"""Anything may come in: it is a reading or a refusal with its reason; nothing raises, memory stays flat."""

import gc
import json
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire import WHAT_TO_DO, LineFramer, Parser, Reason, json_fields, lines
from curewatch.wire.fields import Words
from curewatch.wire.numbers import name_allowed
from curewatch.wire.reasons import RAW_LONGEST
from tests.examples import up_to
from tests.running import resident

NOW = Instant(1_790_000_000.0, 0.0)

GOOD = [
    lines.encode("bench", 15.32, 81.4, sequence=118, age=0),
    lines.encode("hull", 11.2, at=1_789_999_000),
    b"T=12.5 RH=80.9",
    b"temp=54.5 degF; hum=80.9 %",
    b"12.5,80.9",
    b"time,temperature,humidity",
    b"2026-09-21T13:00:00Z,12.5,80.9",
    b'{"temperature": 12.5, "humidity": 80.9, "time": 1789999000}',
    b'{"chip": {"temperature": 12.5, "humidity": 80.9}, "unit": "degC"}',
    b'[{"bn":"bench:","bt":1789999000,"n":"temperature","u":"Cel","v":12.5},{"n":"humidity","u":"%RH","v":80.9}]',
    bytes.fromhex("81a30065" + b"bench".hex() + "016343656c02f94a40"),
]
NASTY = [
    b"\x1b[2J\x1b]0;owned\x07",
    b"<b>bold</b>[red]markup[/red]",
    b"'; DROP TABLE reading; --",
    b"../../etc/passwd",
    b"%s%s%n{0.__class__}",
    b"\x00",
    b"nan",
    b"-inf",
    b"1e400",
    b"1_000",
    "１２".encode(),
    "\u202egnp.exe".encode(),
    b"9" * 4400,
    b"[" * 3000,
    b'{"a":' * 3000,
    b"\x9f" * 3000,
    b"\xff\xfe",
    b"=",
    b",",
    b"*",
    b"\n",
    b"\r",
]


def check(event: Reading | Rejected) -> None:
    """What may leave the door."""
    if isinstance(event, Reading):
        assert event.temperature is not None or event.relative_humidity is not None
        assert event.temperature is None or 233.15 <= event.temperature <= 333.15
        assert event.relative_humidity is None or 0.0 < event.relative_humidity <= 1.0
        assert event.sensor == "" or name_allowed(event.sensor)
    else:
        assert event.reason in WHAT_TO_DO
        assert len(event.raw) <= RAW_LONGEST
        assert event.sensor == "" or name_allowed(event.sensor)


def test_every_reason_says_what_to_do():
    """A count without advice helps nobody."""
    assert set(WHAT_TO_DO) == set(Reason)


@given(st.binary(max_size=200), st.sampled_from(["auto", "line", "senml", "json", "csv"]))
def test_any_bytes_are_a_reading_or_a_refusal(data, form):
    """In every form, as a line and as a payload."""
    parser = Parser()
    for event in [
        *parser.line(data, NOW, "s", "bench", form=form),
        *parser.payload(data, NOW, "s", "d", form=form),
    ]:
        check(event)


@pytest.mark.long
@given(st.sampled_from(GOOD), st.sampled_from(NASTY), st.integers(0, 200), st.integers(0, 40))
@settings(max_examples=up_to(300))
def test_nastiness_inside_a_good_message(good, nasty, place, gone):
    """Escapes, markup, SQL, paths and numbers of 4,400 digits, put anywhere into a message."""
    place %= len(good) + 1
    data = good[:place] + nasty + good[place + gone :]
    parser = Parser()
    for event in [*parser.line(data, NOW, "s", "bench"), *parser.payload(data, NOW, "s", "bench")]:
        check(event)


@pytest.mark.long
def test_a_name_of_ten_megabytes_is_refused_and_not_kept():
    """In every form that carries a name."""
    name = b"n" * 10_000_000
    parser = Parser()
    for data in (
        b"cw1 " + name + b" t=1 *0000",
        b"sensor=" + name + b" T=1",
        name + b",1,2",
        b'{"sensor": "' + name + b'", "temperature": 1}',
        b'[{"n": "' + name + b'", "u": "Cel", "v": 1}]',
    ):
        for event in [*parser.line(data, NOW), *parser.payload(data, NOW)]:
            assert isinstance(event, Rejected)
            check(event)


def test_a_device_name_from_a_topic_may_be_nasty_too():
    """A topic level is outside text like any other."""
    (event,) = Parser().payload(b"T=1 RH=50", NOW, "topic", "\x1b[31m")
    assert event.reason == Reason.BAD_NAME
    check(event)


def mutated(random: Random) -> bytes:
    """A message of the corpus after one to four accidents."""
    data = bytearray(random.choice(GOOD))
    for _ in range(random.randrange(1, 5)):
        place = random.randrange(len(data) + 1)
        accident = random.randrange(6)
        if accident == 0 and data:
            data[place % len(data)] ^= 1 << random.randrange(8)
        elif accident == 1:
            del data[place : place + random.randrange(1, 8)]
        elif accident == 2:
            data[place:place] = random.choice(NASTY)[:40]
        elif accident == 3:
            data = data[:place]
        elif accident == 4:
            data += random.choice(GOOD)[random.randrange(12) :]
        else:
            data[place:place] = bytes(random.randrange(256) for _ in range(random.randrange(1, 6)))
    return bytes(data)


def fuzz(count: int, seed: int) -> dict[str, int]:
    """How often each outcome came, over so many mutated lines and payloads."""
    random, parser, outcomes = Random(seed), Parser(), dict.fromkeys((*Reason, "reading"), 0)
    framer = LineFramer(from_start=True)
    for index in range(count):
        data = mutated(random)
        at = Instant(NOW.utc + index, 0.0)
        if index % 2:
            events = parser.payload(data, at, "topic", "bench", retained=index % 3 == 0)
        else:
            events = []
            for framed in framer.feed(data + b"\n", at.utc):
                events.extend([framed] if isinstance(framed, Rejected) else parser.line(framed, at, "port"))
        for event in events:
            check(event)
            outcomes["reading" if isinstance(event, Reading) else event.reason] += 1
    return outcomes


def test_some_thousand_mutated_messages():
    """The short form of the test below."""
    outcomes = fuzz(5_000, seed=5)
    assert outcomes["reading"] > 100
    assert sum(count > 0 for count in outcomes.values()) > 12


def test_an_exception_of_a_parser_would_be_found(monkeypatch: pytest.MonkeyPatch):
    """The control: a parser that lets an error of its library out does not pass."""
    monkeypatch.setattr(json_fields, "load", lambda payload, largest=0: json.loads(payload))
    with pytest.raises(ValueError, match=r"."):
        fuzz(500, seed=5)


OBJECTS = [data for data in GOOD if data.startswith(b"{")]
PARTS = (b'"humidity": 8.9, ', b'"unit": "F", ', b'"x": {"humidity": 8.9}, ', b"{}", b":", b" ", b"1e400")


@pytest.mark.long
def test_a_memory_of_shapes_changes_nothing():
    """An object is read as by words that have seen none before, whatever was put into it."""
    random, words = Random(6), Words()
    for index in range(2_000):
        data = random.choice(OBJECTS)
        place = random.choice([at for at in range(1, len(data)) if data[at - 1 : at] in b'{, "'])
        data = data[:place] + random.choice(PARTS) + data[place:] if index % 3 else mutated(random)
        told = json_fields.parse(data, NOW, "topic", "bench", words)
        assert told == json_fields.parse(data, NOW, "topic", "bench", Words()), data
    assert len(words.shapes) > 3


@pytest.mark.long
def test_a_million_mutated_messages_leave_memory_flat():
    """A million lines and payloads: no exception, each with its reason, and no memory kept."""
    fuzz(50_000, seed=1)
    gc.collect()
    before = resident()
    outcomes = fuzz(1_000_000, seed=2)
    gc.collect()
    assert sum(outcomes.values()) > 900_000
    assert (
        resident() - before < 8.0
    )  # MB, after a run twenty times as long; not the peak, which others may have set
