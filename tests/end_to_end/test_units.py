"""What a person reads is in that person's units and clock, whatever command they type."""

import random
import re
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, event_as_plain
from curewatch.cli.commands.manual import every_command
from curewatch.cli.main import run
from curewatch.cli.setup.answers import Answers, as_toml
from curewatch.clock import SystemClock
from curewatch.errors import ConfigurationError
from curewatch.logbook import Entry, Logbook
from curewatch.logbook.seal_code import code_of
from curewatch.phrases import phrase
from curewatch.wording import wording
from tests import demo_world
from tests.end_to_end.test_json_answers import EVENING
from tests.end_to_end.test_json_answers import shed as _shed

shed = _shed
UNITLESS = {
    "fleet page",
    "logbook backup",
    "logbook export",
    "logbook key",
    "logbook prune",
    "logbook salvage",
    "logbook seal",
    "logbook stamp",
    "logbook verify",
    "record show",  # pages as they were written
    "resin list",
    "tabs broke",  # loads in the unit that the person reads
    "tabs lay",
    "tabs show",
}
HOUR = r"(?<![\d:.])\d{1,2}:\d{2}(?::\d\d)?(?![\d:])"  # of a clock
CODE = r"\b(?:[0-9A-Z]{4}-\s*){6}[0-9A-Z]{4}\b"  # of a seal: "-027K" in it is no temperature
COUNTDOWN = r"(?:, in \d+:\d\d h\b|\d+:\d\d hours left)"
METRIC = re.compile(
    rf"°C|degC|(?<![\w.])-?\d[\d.]* ?K\b|{HOUR}(?! [ap]m)|(?<![\w.])\d[\d.]* ?g\b(?!/)|Phrase\(", re.ASCII
)
AMERICAN = re.compile(rf"°F|degF|\d oz\b|{HOUR} [ap]m|Phrase\(", re.ASCII)


def said(capsys: pytest.CaptureFixture[str], typed: str, units: str = "") -> str:
    """What a command says to people, on both streams."""
    words = typed.split()
    place = 2 if " ".join(words[:2]) in {name for name, _ in every_command()} else 1
    with pytest.raises(SystemExit):
        run([*words[:place], *(["--units", units] if units else []), *words[place:]])
    found = capsys.readouterr()
    return found.out + found.err


def foreign(pattern: re.Pattern[str], text: str) -> list[str]:
    """Lines with a number in the wrong unit; no countdown is an hour, a wrapped "pm" belongs to its hour."""
    whole = re.sub(r"\n *(?=[ap]m\b)", " ", re.sub(f"{COUNTDOWN}|{CODE}", "", text))
    return [line for line in whole.splitlines() if pattern.search(line)]


def with_option(option: str) -> set[str]:
    return {name for name, command in every_command() if any(option in each.opts for each in command.params)}


def test_every_command_that_shows_a_quantity_takes_units() -> None:
    """Each that answers has --units, but those whose answer is counts and names."""
    assert with_option("--json") - with_option("--units") == UNITLESS


def test_no_seal_code_is_read_as_a_quantity() -> None:
    """Ten thousand drawn codes, on one line and wrapped; without the rule some would be."""
    drawn = random.Random(1)
    codes = [code_of(drawn.randbytes(32).hex()) for _ in range(10_000)]
    texts = [*codes, *(code[:20] + "\n  " + code[20:] for code in codes)]
    assert not [text for text in texts for each in (METRIC, AMERICAN) if foreign(each, text)]
    assert any(METRIC.search(code) for code in codes)


@pytest.mark.long
@pytest.mark.parametrize(
    "asked",
    [("F,oz,12h", "pt_PT.UTF-8", METRIC), ("C,g,24h", "en_US.UTF-8", AMERICAN)],
    ids=["american", "metric"],
)
def test_an_evening_in_one_persons_units(
    shed: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    asked: tuple[str, str, re.Pattern[str]],
) -> None:
    """Every answering command, in an evening at the bench; the option goes before the locale."""
    units, language, pattern = asked
    monkeypatch.setenv("LANG", language)
    (shed / "sheet.toml").write_text(said(capsys, "resin fit --template"))
    strange, note = {}, "0"
    known = with_option("--units")
    told = [*EVENING, ("resin show", "epoxy-slow"), ("layer", "--running"), ("explain", "post-cure")]
    for command, rest in told:
        text = said(capsys, f"{command} {rest.format(note=note)}", units if command in known else "")
        assert text, command
        strange[f"{command} {rest}"] = foreign(pattern, text)
        if command == "job note":
            note = re.findall(r"entry (\d+)", text)[-1]
    assert {name: lines for name, lines in strange.items() if lines} == {}


@pytest.mark.long
def test_the_boards_alerts_and_answer_follow_the_reader(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An alert that rang before anybody asked for other units is read in them; `tonight` too."""
    now = SystemClock().now().utc
    before = phrase(
        "laminate again before {before:moment} on {layer}: {margin:difference} above dew point, {left:mass}",
        before=now + 1500,
        layer="L7",
        margin=1.7,
        left=0.12,
    )
    event = Event(Happening.RAISED, Key(AlertKind.CONDENSATION), now - 600, before, due=now + 1500)
    with Logbook(shed / "logbook.sqlite") as logbook:
        logbook.append(entries=[Entry("alert", event_as_plain(event), event.at)])
    for typed in ("watch --once --look --plain", "alerts", "tonight"):
        assert foreign(METRIC, said(capsys, typed, "F,oz,12h")) == []
        assert foreign(AMERICAN, said(capsys, typed, "C,g,24h")) == []
    (shed / "curewatch.toml").write_text(
        demo_world.SETTINGS.replace("[shed]\n", '[shed]\nunits = "F,oz,12h"\n')
    )
    assert foreign(METRIC, said(capsys, "alerts")) == []
    assert "3.1 °F above dew point, 4.23 oz, 2" in said(capsys, "alerts")


def test_what_setup_was_told_holds_for_every_command() -> None:
    """`setup --units` writes them down; without it nothing is written and the locale decides."""
    found = configuration.parse(as_toml(Answers(units="F,12h")))
    words = wording(found.zone, None, {}, configured=found.shed.units)
    assert (words.temperature(283.15), words.mass(0.15), words.twelve_hours) == ("50.0 °F", "150 g", True)
    assert wording(found.zone, "C", {}, configured=found.shed.units).temperature(283.15) == "10.0 °C"
    assert "units" not in as_toml(Answers())
    with pytest.raises(ConfigurationError, match=r"shed\.units.*F,oz,12h"):
        configuration.parse('[shed]\nunits = "stone"\n')


def test_what_needs_no_configuration_follows_it_and_is_not_stopped_by_a_broken_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`air` and `explain` read [shed] units where there are any."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    for name in ("CUREWATCH_CONFIG", "CUREWATCH_UNITS", "XDG_CONFIG_HOME", "LC_ALL", "LC_MEASUREMENT"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LANG", "C.UTF-8")
    (tmp_path / "curewatch.toml").write_text('[shed]\nunits = "F"\n')
    assert "°F" in said(capsys, "air 12 82")
    (tmp_path / "curewatch.toml").write_text("[shed]\nunits = 7\n")
    assert "°C" in said(capsys, "air 12 82")
