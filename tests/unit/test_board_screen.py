"""The board as text: goldens that a person can read, and what must hold at any size."""

import os
import re
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import numpy as np
import pytest
from msgspec import structs
from msgspec.structs import replace
from rich.console import Console

from curewatch.advice.alert.alerts import ActiveAlert, AlertKind, Key
from curewatch.advice.alert.progress import Progress
from curewatch.advice.alert.stages import Silence
from curewatch.advice.judge.answer import Advice, Check, Moment, Status, Verdict
from curewatch.advice.judge.limits import Limit
from curewatch.advice.judge.timeline import WET_ON_WET
from curewatch.answers.chart import ChartDocument, chart_part
from curewatch.answers.deadlines import countdown, next_deadline
from curewatch.answers.document import sentence
from curewatch.answers.layer import LayerDocument, running_layer_part
from curewatch.answers.sensor import SensorStateDocument, sensor_state_part
from curewatch.answers.watch import WatchDocument, watch_document
from curewatch.cli.screens.board import board
from curewatch.cli.screens.board_lines import status
from curewatch.cli.screens.layer import lines as layer_lines
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.jobs import Layer
from curewatch.materials import load_resin
from curewatch.page.drawing.lists import layers
from curewatch.page.drawing.whole import _deadline
from curewatch.phrases import phrase
from curewatch.shed.health import Health, SensorHealth, TrackPoint
from curewatch.shed.look import RunningLayer
from curewatch.wording import Wording, plain_wording, wording
from tests.goldens import ANEW, golden

NOW = utc_from_iso("2026-11-25T20:40:00Z")
WORDS, PLAIN = wording(ZoneInfo("Europe/Lisbon"), "C,g,24h", {}), plain_wording(ZoneInfo("Europe/Lisbon"))
RANG = (
    ActiveAlert(Key(AlertKind.PEEL_PLY, "L1"), NOW - 600, "peel-ply needed on L1", "press it on", None),
    ActiveAlert(
        Key(AlertKind.SENSOR_LOST, "yard"),
        NOW - 1800,
        "yard silent for 30 min",
        "",
        None,
        0,
        acknowledged=NOW,
    ),
)


def chart() -> ChartDocument:
    """Demo numbers: an evening that cools towards its dew point, and the window of its layer."""
    time = np.arange(NOW - 12 * 3600, NOW + 12 * 3600, 900.0)
    hours = (time - NOW) / 3600
    spread = np.where(hours > 0, 0.3 + 0.15 * hours, 0.0)
    surface = 282.15 + 3 * np.cos((hours + 6) * 2 * np.pi / 24)
    dew_point = 279.65 + 0.8 * np.sin(hours / 5)
    return chart_part(
        time,
        (surface - spread, surface, surface + spread),
        (dew_point - spread / 2, dew_point, dew_point + spread / 2),
        [("L1", NOW + 3300, NOW + 6200)],
    )


def layer(moments: tuple[Moment, ...]) -> RunningLayer:
    """A layer of forty minutes."""
    laid, resin = Layer("L1", NOW - 2400, "epoxy-slow", 0.15), load_resin("epoxy-slow")
    return RunningLayer(
        laid, Progress(laid, resin, NOW, "open", 0.1, 250.0, moments, "none", 0.0, 0.0, Silence(0.0, NOW))
    )


def sensor(
    name: str, role: str, ago: float, *said: float | None, health: Health = Health.FRESH
) -> SensorStateDocument:
    """Its last word [K, 1], so long ago [s], and how it is."""
    kelvin, humid = (*said, None, None)[:2]
    last = TrackPoint(NOW - ago, kelvin, humid, 0)
    return sensor_state_part(role, SensorHealth(name, health, "", NOW), last, NOW, PLAIN)


def evening(alerts: tuple[ActiveAlert, ...] = RANG, rejected: str = "") -> WatchDocument:
    """Demo numbers: a layer of forty minutes on a cooling hull."""
    margin = Limit(3.0, "difference", "published", "ISO 8502-4 practice")
    warmth = Limit(281.15, "temperature", "datasheet", "the system's file")
    damp = Limit(0.85, "fraction", "common practice", "coating work")
    checks = (
        Check("condensation-now", "margin over the dew point", Status.HOLDS, "difference", 3.9, margin),
        Check(
            "condensation-ahead",
            "margin until tack-free",
            Status.FAILS,
            "difference",
            1.2,
            margin,
            at=NOW + 4 * 3600,
            reason="on 3 of 10 paths",
        ),
        Check("temperature", "hull warm enough", Status.HOLDS, "temperature", 282.3, warmth),
        Check("humidity", "air dry enough", Status.HOLDS, "fraction", 0.78, damp, "at most"),
        Check("blush", "blush", Status.CARE, "number", 0.4, reason="peel ply needed"),
    )
    moments = (
        Moment("gel", "gel", NOW + 3000, NOW + 4200, NOW + 6000),
        Moment("laminate-from", "laminate again from", NOW + 2000, NOW + 2600, NOW + 3300),
        Moment("laminate-before", "laminate again before", NOW + 6200, NOW + 8400, NOW + 12000),
        Moment("tack-free", "tack-free", NOW + 14000, NOW + 18000, NOW + 26000),
    )
    return watch_document(
        NOW,
        PLAIN,
        shed="Saltmarsh Shed",
        boat="Kittiwake Nine",
        advice=Advice(
            Verdict.NO_GO,
            "the hull comes within 1.2 K of the dew point at 00:40",
            NOW,
            NOW,
            "epoxy-slow",
            "slow epoxy",
            checks,
        ),
        running=[layer(moments)],
        alerts=alerts,
        sensors=[
            sensor("bench", "air", 20, 283.4, 0.78),
            sensor("hull", "surface", 25, 282.3),
            sensor("yard", "outside", 1800, 279.0, 0.9, health=Health.SILENT),
        ],
        chart=chart(),
        daemon="12,345 readings",
        rejected=rejected,
    )


def as_text(rows: list, width: int, **settings: object) -> str:
    """The rows as a terminal without colour shows them."""
    with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
        console = Console(width=width, file=nowhere, record=True, markup=False, highlight=False, **settings)
        for row in rows:
            console.print(row, soft_wrap=True)
        return console.export_text(styles=False)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 36)])
def test_the_board_looks_as_kept(width: int, height: int) -> None:
    """The rows equal the golden file."""
    shown = as_text(board(evening(), NOW, WORDS, width, height), width)
    assert shown == golden(f"board_{width}", shown), ANEW


def test_the_board_in_lines_reads_as_kept() -> None:
    """For a screen reader or a pipe: the same state told in lines, without boxes, colour or large letters."""
    shown = "".join(f"{line}\n" for line in status(evening(), NOW, WORDS))
    assert shown == golden("board_plain", shown), ANEW
    assert not set(shown) & set("█▔─░▒┊\x1b")


@pytest.mark.parametrize("width", [20, 40, 60, 79, 80, 100, 110, 132, 200])
@pytest.mark.parametrize("height", [6, 10, 20, 24, 30, 50])
def test_the_board_fits_any_terminal(width: int, height: int) -> None:
    """Exactly as many rows as there are, none wider, and the verdict always among them."""
    rows = board(evening(), NOW, WORDS, width, height)
    assert len(rows) == height
    assert max(row.cell_len for row in rows) <= width


def test_a_tiny_terminal_has_the_verdict_and_the_reason() -> None:
    """Five rows of twenty: the large letters give way to the word, the headline and the deadline."""
    rows = [row.plain for row in board(evening(), NOW, WORDS, 20, 5)]
    assert rows[1].strip() == "NO-GO"
    assert rows[2].strip()
    assert rows[3].startswith(" laminate again")


def test_an_empty_board_says_what_it_waits_for() -> None:
    """Nothing known: unknown, and what to do, at any time."""
    shown = as_text(board(watch_document(NOW, PLAIN, shed="Saltmarsh Shed"), NOW, WORDS, 80, 24), 80)
    assert "waiting for the first readings" in shown
    assert "no sensor has reported yet" in shown
    assert "▒" in shown


def test_names_from_outside_are_text() -> None:
    """Escape codes and markup in a sensor's or a shed's name reach the screen as characters."""
    hostile = [sensor("\x1b]0;x\x07", "air", 0)]
    state = watch_document(NOW, PLAIN, shed="[red]\x1b[2Jshed", sensors=hostile)
    shown = "\n".join(row.plain for row in board(state, NOW, WORDS, 120, 40))
    assert "\x1b" not in shown
    assert "\x07" not in shown
    assert "[red]\\x1b[2Jshed" in shown


def test_the_countdown_is_to_the_cautious_end() -> None:
    """'Before' counts to its early end, 'from' to its likely one, and minutes are never rounded up."""
    running = evening().running
    first = next_deadline(running, NOW)
    assert first is not None
    assert (first.text, first.due) == ("laminate again from", NOW + 2600)
    second = next_deadline(running, NOW + 3400)
    assert second is not None
    assert (second.text, second.due) == ("laminate again before", NOW + 6200)
    assert next_deadline(running, NOW + 10**6) is None
    assert countdown(3659) == "1:00"
    assert countdown(-5) == "0:00"


def test_the_same_state_later_counts_down() -> None:
    """Time is an argument: the same state a minute later shows a minute less."""
    before = as_text(board(evening(), NOW, WORDS, 80, 24), 80)
    after = as_text(board(evening(), NOW + 60, WORDS, 80, 24), 80)
    assert "in 0:43 h" in before
    assert "in 0:42 h" in after


def test_what_was_refused_is_counted_on_the_board_in_text_and_in_lines() -> None:
    """Bad lines are never fatal and never passed over: a row of the foot, at any size, and a plain line."""
    state = evening(rejected="3 rejected since yesterday: checksum does not match 3")
    rows = [row.plain for row in board(state, NOW, WORDS, 80, 23)]
    assert len(rows) == 23
    assert any("3 rejected since yesterday" in row for row in rows)
    assert any("3 rejected since yesterday" in line for line in status(state, NOW, WORDS))
    assert not any("rejected" in row.plain for row in board(evening(), NOW, WORDS, 80, 23))


def test_an_alert_is_worded_at_the_moment_the_board_is_drawn() -> None:
    """The time that is left goes down while it stands, in the reader's units, and no row is wider than 80."""
    text = phrase(
        "laminate again before {before:moment} on {layer} (likely open until {until:moment})",
        before=NOW + 3600,
        layer="L1",
        until=NOW + 5400,
    )
    rang = ActiveAlert(Key(AlertKind.RECOAT_WINDOW, "L1"), NOW, text, "", NOW + 3600, "closing")
    state = evening((rang,))
    american = wording(ZoneInfo("Europe/Lisbon"), "F,oz,12h", {})
    for later, left in ((0, "1 h 00 min left"), (2400, "20 min left"), (3660, "60 s ago")):
        row = next(row.plain for row in board(state, NOW + later, american, 80, 24) if "ALERT" in row.plain)
        assert f"{left}: laminate again before {american.time(NOW + 3600)} on L1" in row
        assert len(row) <= 80


def test_a_small_screen_shows_the_alert_that_is_due_before_an_older_one() -> None:
    """What runs out first stands first, then the newest; what was seen comes last."""
    kinds = (AlertKind.SENSOR_LOST, AlertKind.CONDENSATION, AlertKind.PEEL_PLY, AlertKind.RECOAT_WINDOW)
    due = (None, None, None, NOW + 1020)
    alerts = tuple(
        ActiveAlert(Key(kind, "L1"), NOW - 3600 + 60 * place, f"alert {place}", "", due[place], 0)
        for place, kind in enumerate(kinds)
    )
    seen = replace(alerts[2], acknowledged=NOW)
    shown = as_text(board(evening((*alerts[:2], seen, alerts[3])), NOW, WORDS, 80, 36), 80)
    rows = [row for row in shown.splitlines() if "alert " in row]
    assert [row[row.index("alert ") :][:7] for row in rows] == ["alert 3", "alert 1", "alert 0", "alert 2"]
    assert "17 min left" in rows[0]


def test_every_row_of_a_layer_names_its_job_and_part() -> None:
    """On the board at both widths, in its lines and in `layer --running`."""
    state = evening()
    running = [structs.replace(each, job="J1", part="rudder cheek") for each in state.running]
    state = structs.replace(state, running=running)
    for width, height in ((80, 24), (120, 40)):
        rows = [row.plain for row in board(state, NOW, WORDS, width, height)]
        assert any("J1 rudder cheek" in row for row in rows), rows
    listed = layer_lines(LayerDocument(as_of=iso_utc(NOW), running=running), WORDS, NOW)
    assert any("L1 J1 rudder cheek" in row for row in listed)
    assert any("L1 J1 rudder cheek" in row for row in status(state, NOW, WORDS))


def test_what_nobody_measured_of_a_layer_is_said() -> None:
    """On the wide board, in `layer --running` and on the page; a layer that was measured has no such line."""
    state, said = evening(), "no reading for 2 h 10 min of its time: estimated there"
    for seconds in (7800.0, 0.0, None):
        running = [structs.replace(each, unmeasured_s=seconds) for each in state.running]
        rows = [row.plain for row in board(structs.replace(state, running=running), NOW, WORDS, 120, 40)]
        listed = layer_lines(LayerDocument(as_of=iso_utc(NOW), running=running), WORDS, NOW)
        drawn = str(layers(running, WORDS, NOW))
        assert [said in text for text in ("\n".join(rows), "\n".join(listed), drawn)] == [
            seconds == 7800.0
        ] * 3


def window(opens: tuple[float, float, float], closes: tuple[float, float, float]) -> WatchDocument:
    """The evening with a layer that gels in 50 min to 1 h 40 min, and this recoat window. [s from now]"""
    moments = (
        Moment("gel", "gel", NOW + 3000, NOW + 4200, NOW + 6000, note=WET_ON_WET),
        Moment("laminate-from", "may laminate again from", *(NOW + each for each in opens)),
        Moment("laminate-before", "laminate again before", *(NOW + each for each in closes)),
    )
    running = [running_layer_part(layer(moments))]
    return structs.replace(evening(), running=running)


def listed(state: WatchDocument, now: float) -> tuple[str, str, str]:
    """Its layers on the wide board, in `layer --running` and on the page."""
    document = LayerDocument(as_of=iso_utc(now), running=state.running)
    return (
        "\n".join(row.plain for row in board(state, now, WORDS, 120, 40)),
        "\n".join(layer_lines(document, WORDS, now)),
        str(layers(state.running, WORDS, now)),
    )


def test_a_window_that_may_close_before_it_opens_is_said() -> None:
    """On every screen, until it has closed; and nobody counts down to its opening."""
    said = "no sure window for the next layer: plan to abrade"
    unsure = window((2000, 5000, 9000), (4000, 6000, 12_000))
    sure = window((2000, 2600, 3300), (6200, 8400, 12_000))
    never = window((6000, 7000, 9000), (1000, 2000, 3000))
    for state, when, expected in (
        (unsure, 0, True),
        (sure, 0, False),
        (never, 0, True),
        (never, 3001, False),
    ):
        assert [said in text for text in listed(state, NOW + when)] == [expected] * 3
    first, kept = next_deadline(unsure.running, NOW), next_deadline(sure.running, NOW)
    assert first is not None
    assert (first.text, first.due) == ("laminate again before", NOW + 4000)
    assert kept is not None
    assert kept.text == "laminate again from"


def test_wet_on_wet_ends_where_it_may_have_gelled() -> None:
    """Told before the early end of the gel; below a gel that may be past it says nothing."""
    state = window((2000, 2600, 3300), (6200, 8400, 12_000))
    assert "before its early end the next ply may go on wet on wet" in " ".join(
        listed(state, NOW + 2999)[1].split()
    )
    for later in (3000, 4300, 7000):
        assert "wet on wet" not in listed(state, NOW + later)[1]


def test_a_page_says_that_no_layer_runs_only_where_none_does() -> None:
    """A layer whose last time is past still lies there."""
    state = window((-9000, -8000, -7000), (-3000, -2000, -1000))
    assert "No time to act on is foreseen." in str(_deadline(state, WORDS, NOW))
    assert "No layer is running." in str(_deadline(structs.replace(state, running=[]), WORDS, NOW))


@pytest.mark.parametrize(
    ("peak", "stage", "said"),
    [
        (136.3, "open", ("heat itself to 136.3 °C", "if it smokes")),
        (85.0, "gelled", ("heat itself to 85.0 °C",)),
        (136.3, "firm", ()),
        (None, "open", ()),
    ],
)
def test_how_hot_a_layer_gets_by_itself_is_said(
    peak: float | None, stage: str, said: tuple[str, ...]
) -> None:
    """On the board, in `layer --running` and on the page, until it is firm; smoke from 100 degC on.

    The board has room for its first words.
    """
    state = evening()
    running = [structs.replace(each, peak_temperature_c=peak, stage=stage) for each in state.running]
    on_board, *whole = listed(structs.replace(state, running=running), NOW)
    assert ("heat itself" in on_board) == bool(said)
    for text in (" ".join(each.split()) for each in whole):
        assert all(each in text for each in said), text
        assert ("heat itself" in text, "smokes" in text) == (bool(said), len(said) == 2)


NUMBER = re.compile(r"(?<![\w.])[−-]?\d[\d.,:]*(?: (?:°C|°F|%|s|min|h)(?!\w))?")


def long_names() -> WatchDocument:
    """The evening with the longest names that are allowed, six sensors, and long sentences."""
    plain = evening()
    long = "k" * 64
    alerts = [
        msgspec.structs.replace(
            each,
            text=sentence(
                f"{long}, L1 on the rudder cheek: 12.5 °C at 22:40, 3.1 °C above, 85 % at 23:15", PLAIN
            ),
        )
        for each in plain.alerts
    ]
    advice = msgspec.structs.replace(
        plain.advice,
        headline=sentence("The surface may sweat: 1.2 °C at worst, needs 3.0 °C. " * 3 + "At 00:40.", PLAIN),
    )
    running = [msgspec.structs.replace(each, layer=long, resin=long) for each in plain.running]
    sensors = [
        msgspec.structs.replace(each, sensor=f"{long[:60]}{at}") for at in (1, 2) for each in plain.sensors
    ]
    return msgspec.structs.replace(
        plain, shed="S" * 60, boat="B" * 60, alerts=alerts, advice=advice, running=running, sensors=sensors
    )


@pytest.mark.parametrize("width", [80, 100])
@pytest.mark.parametrize("height", [24, 40])
@pytest.mark.parametrize(
    "words", [PLAIN, Wording(ZoneInfo("UTC"), fahrenheit=True, ounces=True, twelve_hours=True)]
)
def test_no_number_is_cut_whatever_the_names(width: int, height: int, words: Wording) -> None:
    """Each number on the board, with its unit, stands so in the texts that it is made of."""
    state = long_names()
    whole = " ".join(row.plain for row in board(state, NOW, words, 4000, height + 30))
    whole += " ".join(status(state, NOW, words))
    shown = [row.plain for row in board(state, NOW, words, width, height)]
    text = [row for row in shown if "┊" not in row and "─" not in row and "°  " not in row]
    cut = cut_numbers(text, set(NUMBER.findall(whole)) | counts(text))
    assert not cut, (cut, text)
    assert cut_numbers([row[: width // 3 * 2] for row in text], set(NUMBER.findall(whole)) | counts(text))


def cut_numbers(rows: list[str], known: set[str]) -> list[str]:
    """Numbers of these rows that are not among the known ones."""
    return [number for row in rows for number in NUMBER.findall(row) if number not in known]


def counts(rows: list[str]) -> set[str]:
    """What the board itself counts: ``and 3 more``, the axis of its chart."""
    return set(re.findall(r"and (\d+) more", " ".join(rows))) | {f"{hour:02d}:00" for hour in range(24)}
