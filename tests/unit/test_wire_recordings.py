"""A recording comes in pieces, each at its own moment."""

import io
import json
from pathlib import Path

from curewatch.clock import Instant
from curewatch.readings import Reading
from curewatch.wire import Parser
from curewatch.wire.recordings import Piece, pieces

RECORDING = Path(__file__).parents[2] / "recordings" / "saltmarsh-evening.txt"


def test_each_line_of_our_form_comes_at_its_stamp():
    """Comments take the time of what stands before them; stamps go up with the lines."""
    with RECORDING.open("rb") as stream:
        found = list(pieces(stream, start=5.0))
    stamps = [piece.at for piece in found if not piece.data.startswith(b"#")]
    assert found[0].at == 5.0
    assert stamps == sorted(stamps)
    assert len(stamps) == 3 * 481
    assert b"\n".join(piece.data for piece in found) + b"\n" == RECORDING.read_bytes()


def test_a_csv_of_time_temperature_and_humidity_is_a_recording():
    """The header names the columns, here and again at the door."""
    text = b"time,temperature,humidity\n2026-10-17T14:30:00Z,12.5,80.9\n2026-10-17T14:31:00Z,12.6,80.8\n"
    found = list(pieces(io.BytesIO(text)))
    assert [piece.at for piece in found] == [0.0, 1_792_247_400.0, 1_792_247_460.0]
    parser = Parser()
    events = [e for p in found for e in parser.line(p.data, Instant(p.at, p.at), "file", "bench")]
    assert [(event.sensor, event.time, event.flags) for event in events] == [
        ("bench", 1_792_247_400.0, 0),
        ("bench", 1_792_247_460.0, 0),
    ]


def test_a_senml_pack_is_cut_into_its_moments():
    """A pack of an evening must not arrive as one heap at its end."""
    pack = [
        {"bn": "bench:", "bt": 1_792_247_400, "n": "temperature", "u": "Cel", "v": 12.5},
        {"n": "humidity", "u": "%RH", "v": 80.9},
        {"n": "temperature", "u": "Cel", "t": 60, "v": 12.6},
        {"n": "label", "vs": "cold"},
    ]
    found = list(pieces(io.BytesIO(json.dumps(pack).encode())))
    assert [piece.at for piece in found] == [1_792_247_400.0, 1_792_247_460.0]
    parser = Parser()
    events = [e for p in found for e in parser.payload(p.data, Instant(p.at, p.at))]
    assert all(isinstance(event, Reading) and event.sensor == "bench" for event in events)
    assert events[0].relative_humidity is not None


def test_senml_packs_may_stand_one_a_line():
    """A broker's log of packs is a recording; a broken line among them is left for the door to refuse."""
    text = (
        b'[{"bn":"bench:","bt":1792247400,"n":"temperature","u":"Cel","v":12.5}]\n'
        b'[{"bn":"bench:","bt":\n'
        b'[{"bn":"bench:","bt":1792247460,"n":"temperature","u":"Cel","v":12.6}]\n'
        b"cut off\n"
    )
    found = list(pieces(io.BytesIO(text)))
    assert [piece.at for piece in found] == [1_792_247_400.0, 1_792_247_400.0, *[1_792_247_460.0] * 2]
    assert found[1].data == b'[{"bn":"bench:","bt":'
    assert found[3].data == b"cut off"
    parser = Parser()
    events = [e for p in (found[0], found[2]) for e in parser.payload(p.data, Instant(p.at, p.at))]
    assert [event.time for event in events if isinstance(event, Reading)] == [
        1_792_247_400.0,
        1_792_247_460.0,
    ]


def test_what_is_no_recording_comes_through_to_be_refused():
    """Nothing is dropped in silence: a broken pack is one piece, a line without its end is a piece too."""
    assert list(pieces(io.BytesIO(b"[{]"), 7.0)) == [Piece(7.0, b"[{]")]
    assert list(pieces(io.BytesIO(b"T=1 RH=2\nT=3"), 7.0))[-1] == Piece(7.0, b"T=3")
    assert list(pieces(io.BytesIO(b""))) == []
    assert len(next(pieces(io.BytesIO(b"x" * 300_000))).data) == 4096
