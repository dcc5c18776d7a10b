"""All sheds in a line each: the worst first, and the rows above one's board."""

from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from curewatch.advice.alert.alerts import ActiveAlert, AlertKind, Event, Happening, Key, event_as_plain
from curewatch.advice.judge.answer import Advice, Verdict
from curewatch.answers.gathering import gather_sheds
from curewatch.answers.sheds import shed_line, sheds_document
from curewatch.answers.watch import WatchDocument, watch_document
from curewatch.cli import board_loop
from curewatch.cli.board_loop import BoardOfSheds, keep_lines
from curewatch.cli.screens import sheds as screen
from curewatch.cli.screens.board import board
from curewatch.clock import ManualClock, iso_utc, utc_from_iso
from curewatch.configuration import parse
from curewatch.logbook import Entry, open_logbook
from curewatch.readings import Reading
from curewatch.shed.active_alerts import active
from curewatch.wording import plain_wording, wording

NOW = utc_from_iso("2026-11-25T20:40:00Z")
ZONE = ZoneInfo("Europe/Lisbon")
WORDS, PLAIN = wording(ZONE, "C,g,24h", {}), plain_wording(ZONE)
RANG = ActiveAlert(Key(AlertKind.PEEL_PLY, "L1"), NOW - 600, "peel-ply needed on L1", "press it on", None)


def state(verdict: Verdict | None, *alerts: ActiveAlert, name: str = "a shed") -> WatchDocument:
    advice = (
        Advice(verdict, "because of the weather", NOW, NOW, "epoxy-slow", "slow epoxy", ())
        if verdict
        else None
    )
    return watch_document(NOW, PLAIN, shed=name, advice=advice, alerts=alerts)


STATES = {
    "quay": state(Verdict.GO),
    "creek": state(Verdict.NO_GO),
    "loft": state(Verdict.GO, RANG),
    "north": state(None),
    "south": state(Verdict.UNKNOWN, RANG),
}


@dataclass
class Shed:
    """One shed's board, as it was last seen; counts who looks."""

    seen: WatchDocument
    clock: ManualClock
    words: object = WORDS
    looks: int = 0
    written: int = 0
    log: list[str] = field(default_factory=list)

    def look(self) -> WatchDocument:
        self.looks += 1
        return self.seen

    def glance(self, before: WatchDocument) -> WatchDocument:
        return before

    def mark(self) -> int:
        return self.written


def of(states: dict[str, WatchDocument], asked: str = "") -> BoardOfSheds:
    clock = ManualClock(NOW, 0.0)
    shown = BoardOfSheds({name: Shed(seen, clock) for name, seen in states.items()}, asked)  # type: ignore[misc]
    shown.look_at_all()
    return shown


def test_the_worst_stands_first() -> None:
    """Those that ring, then unknown, no-go, go; one that was never looked at is unknown, not go."""
    answer = sheds_document((shed_line(name, each, PLAIN) for name, each in STATES.items()), NOW)
    assert [line.shed for line in answer.sheds] == ["south", "loft", "north", "creek", "quay"]
    assert [line.verdict for line in answer.sheds] == ["unknown", "go", "unknown", "no-go", "go"]
    told = screen.lines(answer, WORDS)
    assert told[0] == "5 sheds: 2 with alerts, 2 unknown, 1 no-go, 2 go (20:40)"
    assert told[1].startswith("south  UNKNOWN  1 ALERT  because of the weather")


def test_the_key_acknowledges_an_alert_that_is_shown(tmp_path: Path) -> None:
    """A go that nobody cleared is older, and is not shown. Control: nothing is shown."""
    go = Event(Happening.RAISED, Key(AlertKind.GO_NOW), NOW - 7200, "go now")
    told = [go, Event(Happening.RAISED, RANG.key, RANG.since, RANG.text)]
    with open_logbook(tmp_path / "shed.sqlite") as logbook:
        logbook.append(entries=[Entry("alert", event_as_plain(each), each.at) for each in told])
        for shown, seen in ((state(None), 0), (STATES["loft"], 1), (STATES["loft"], 1)):
            board_loop.acknowledge(logbook, shown, NOW, PLAIN)
            known = {key for key, each in active(logbook).items() if each.acknowledged is not None}
            assert known == ({RANG.key} if seen else set())


def test_one_shed_s_board_is_the_board() -> None:
    """Row by row: with one shed nothing stands above it."""
    alone = of({"": STATES["loft"]})
    for width, height in ((80, 24), (120, 40), (40, 12)):
        assert alone.rows(NOW, width, height) == board(STATES["loft"], NOW, WORDS, width, height)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 12), (120, 40), (20, 6)])
def test_several_stand_above_the_chosen_one_s_board(width: int, height: int) -> None:
    """Of every size; the chosen one is always among them, however many are worse."""
    many = {f"s{number}": STATES["south"] for number in range(30)} | {"quay": STATES["quay"]}
    for states, asked in ((STATES, ""), (STATES, "quay"), (many, "quay")):
        shown = of(states, asked)
        rows = shown.rows(NOW, width, height)
        assert len(rows) == height
        assert max(row.cell_len for row in rows) <= width
        above = [row.plain for row in rows[: height // board_loop.SHARE_OF_ALL + 1]]
        assert [row.startswith("▸") for row in above].count(True) == 1
        assert any(f"▸{[*states].index(shown.chosen) + 1}"[:1] in row for row in above)
        assert shown.chosen == (asked or "south")


def test_a_key_chooses_and_what_is_written_is_looked_at() -> None:
    """By number, or the next; of the others one is looked at each turn, when it is time to."""
    shown = of(STATES)
    for key, chosen in (
        ("3", "loft"),
        ("\t", "north"),
        ("\t", "south"),
        ("\t", "quay"),
        ("9", "quay"),
        ("0", "quay"),
    ):
        shown.choose(key)
        assert shown.chosen == chosen
    shown.sheds["creek"].written = 1  # type: ignore[attr-defined]
    shown.turn()
    assert [each.looks for each in shown.sheds.values()] == [1, 2, 1, 1, 1]  # type: ignore[attr-defined]
    shown.watched.clock.sleep(board_loop.LOOK_EVERY)
    for _ in range(4):
        shown.turn()
    assert [each.looks for each in shown.sheds.values()] == [2, 3, 2, 2, 2]  # type: ignore[attr-defined]


def test_lines_name_their_shed_where_there_are_several() -> None:
    """And one that was asked for tells alone."""
    told: list[str] = []
    for states, asked, wanted in (
        (STATES, "", {f"[{name}]" for name in STATES}),
        (STATES, "loft", {"[loft]"}),
        ({"": STATES["loft"]}, "", {"20:40"}),
    ):
        told.clear()
        keep_lines(of(states, asked), told.append, lambda: True)
        assert {line.split()[0] for line in told} == wanted


@pytest.mark.long
def test_a_shed_that_cannot_be_looked_at_is_unknown(tmp_path: Path) -> None:
    """No logbook, or one that is none; the others are told all the same."""
    settings = parse(
        f'[logbook]\npath = "{tmp_path}/kept.sqlite"\n[sheds.b]\n[sheds.c]\n'
        '[sheds.a.sensors.bench]\nrole = "air"\n'
    )
    with open_logbook(tmp_path / "a.sqlite") as logbook:
        logbook.append([Reading("bench", NOW - 60, NOW - 60, 293.0, 0.5)], ())
    (tmp_path / "b.sqlite").write_bytes(b"no logbook" * 100)
    answer = gather_sheds(settings.each, NOW)
    assert {line.shed: line.verdict for line in answer.sheds} == {
        "a": "no-go",
        "b": "unknown",
        "c": "unknown",
    }
    reasons = {line.shed: line.reason.text for line in answer.sheds}
    assert "there is no logbook at" in reasons["c"]
    assert "b.sqlite" in reasons["b"]
    assert answer.at == iso_utc(NOW)
    assert not (tmp_path / "c.sqlite").exists()
