"""The second listener rings for silence while a layer cures, once, and for nothing else."""

import json
from typing import Any

import pytest

from curewatch.cli.commands.heartbeat import told
from curewatch.clock import iso_utc
from curewatch.daemon.second_listener import Alarm, SecondListener, Word
from curewatch.notices.lines import LONGEST

START = 1_792_267_200.0
LAYER = {"layer": "L2", "job": "J1", "part": "rudder cheek", "stage": "gelled"}


class Listening:
    """A listener, spoken to by the minute."""

    def __init__(self) -> None:
        self.mind = SecondListener(after=600.0, reached=True)

    def hears(
        self, minute: float, about: str = "state", shed: str = "", *, kept: float | None = None, **more: Any
    ) -> None:
        at = START + 60 * minute
        stamp = at if kept is None else START + 60 * kept
        payload = json.dumps({"at": iso_utc(stamp), **more}).encode()
        self.mind.take(Word(shed, about, payload, kept is not None), at)

    def rings(self, minute: float) -> list[str]:
        return [f"{alarm.shed}|{'; '.join(alarm.layers)}" for alarm in self.mind.ring(START + 60 * minute)]


def test_silence_rings_while_a_layer_cures_once_until_it_is_heard_again() -> None:
    """After ten minutes and not before; the next silence rings again."""
    shed = Listening()
    shed.hears(0, "alerts", layers=[LAYER])
    for minute in range(4):
        shed.hears(minute)
    assert [shed.rings(minute) for minute in (3, 12.9, 13, 14, 500)] == [
        [],
        [],
        ["|J1 rudder cheek, L2"],
        [],
        [],
    ]
    shed.hears(501)
    assert [bool(shed.rings(minute)) for minute in (502, 510, 511)] == [False, False, True]


def test_silence_without_a_layer_rings_for_nothing() -> None:
    """Before one is laid, and after it is done: whoever switches the machine off is left alone."""
    shed = Listening()
    shed.hears(0, "alerts", layers=[])
    shed.hears(0)
    assert shed.rings(60) == []
    shed.hears(61, "alerts", layers=[LAYER])
    shed.hears(62, "alerts", layers=[])
    assert shed.rings(90) == []


def test_what_the_broker_kept_counts_from_the_time_it_bears() -> None:
    """A listener that starts after the daemon died rings at once; kept words of its own start are no life."""
    shed = Listening()
    shed.hears(60, "alerts", kept=20, layers=[LAYER])
    shed.hears(60, kept=21)
    assert shed.rings(60) == ["|J1 rudder cheek, L2"]
    shed.hears(61, kept=21)
    assert shed.rings(62) == []
    ahead = Listening()
    ahead.hears(0, "alerts", kept=0, layers=[LAYER])
    ahead.hears(0, kept=9000)  # a clock that goes wrong: no silence is excused by it
    assert ahead.rings(10) == ["|J1 rudder cheek, L2"]


def test_each_of_several_sheds_is_heard_for_itself() -> None:
    shed = Listening()
    for name in ("east", "west"):
        shed.hears(0, "alerts", name, layers=[LAYER])
        shed.hears(0, shed=name)
    for minute in range(1, 30):
        shed.hears(minute, shed="east")
    assert shed.rings(30) == ["west|J1 rudder cheek, L2"]


@pytest.mark.parametrize(
    "payload",
    [b"", b"[]", b"{", b'{"at": 5}', b'{"at": "soon"}', b"\xff" * 9, b"[" * 100_000, b"1" * 2_000_000],
)
def test_what_cannot_be_read_is_no_sign_of_life(payload: bytes) -> None:
    """Rubbish on the topic does not keep it quiet, and ends nothing."""
    shed = Listening()
    shed.hears(0, "alerts", layers=[LAYER])
    shed.hears(0)
    for retained in (False, True):
        shed.mind.take(Word("", "state", payload, retained), START + 540)
    assert shed.rings(10) == ["|J1 rudder cheek, L2"]


def test_strangers_fill_no_memory() -> None:
    shed = Listening()
    for number in range(5000):
        shed.hears(0, shed=f"s{number}")
    shed.hears(0, "alerts", "s1", layers=[LAYER] * 5000)
    assert len(shed.mind.sheds) == 100
    assert len(shed.mind.sheds["s1"].layers) == 20


def test_its_line_stands_whole_on_a_locked_phone() -> None:
    """Job and part first, with the longest names."""
    layers = ("J112 centreboard case, port side, upper half, L212", "J1, L1")
    text = told(Alarm("", 86_400.0 * 3, layers, False), "Saltmarsh Shed of Many Words")
    assert text.startswith(layers[0])
    assert len(text) <= LONGEST
