"""What lies below, from the command to the record: the rules themselves stand in rules/table.md."""

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch import configuration
from curewatch.advice.judge import limits
from curewatch.advice.judge.answer import Status
from curewatch.advice.judge.ground import ABRADE, Ground, known_checks
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Place, Surfaced
from curewatch.advice.plan.windows import Span, strip
from curewatch.answers.windows import unseen_windows
from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.errors import ConfigurationError
from curewatch.jobs import FaceBelow
from curewatch.logbook import Logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate, substrate_names
from curewatch.model.air.outlook import Outlook
from curewatch.page import calendar
from curewatch.page.drawing import pictures
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.record.page_work import _layer_sentence
from curewatch.shed.consult import ground
from curewatch.wording import plain_wording

NOW = 1_795_000_500.0
Say = Callable[..., tuple[int, str]]


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Say:
    """Commands in a warm, dry shed with fresh readings: exit status and what they print."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[shed]\nname = "Saltmarsh Shed"\n[logbook]\npath = "logbook.sqlite"\n'
        '[sensors.bench]\nrole = "air"\npart = "humidity-2"\n'
        '[sensors.hull]\nrole = "surface"\npart = "probe"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc - 20.0
    at = [now - 60.0 * minutes for minutes in range(180, -1, -1)]
    readings = [Reading("bench", each, each, 295.15, 0.35) for each in at]
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(readings + [Reading("hull", each, each, 294.95) for each in at])

    def asked(line: str) -> tuple[int, str]:
        with pytest.raises(SystemExit) as stop:
            run(shlex.split(line))
        found = capsys.readouterr()
        return int(stop.value.code or 0), found.out + found.err

    return asked


@pytest.mark.long
def test_polyester_over_epoxy_is_no_go_everywhere_with_its_remedy(say: Say) -> None:
    """`tonight`, `layup` and `layer`: in a shed that is fit, too."""
    told = "--resin polyester-laminating --on epoxy"
    status, tonight = say(f"tonight {told}")
    assert (status, tonight.startswith("NO-GO")) == (3, True)
    layup_status, layup = say(f"layup round --length 120 --thickness 6 {told}")
    assert (layup_status, layup.startswith("NO-GO")) == (3, True)
    _, layer = say(f"layer {told} --mass '150 g'")
    for said in (tonight, layup, layer):
        assert "tie coat" in " ".join(said.split())
    assert "NO-GO" in layer


def test_polyester_over_epoxy_needs_no_reading_to_be_no_go(say: Say, tmp_path: Path) -> None:
    """Of a face that was told, and of a job's own layer; the first screen has the face's remedy alone."""
    (tmp_path / "logbook.sqlite").unlink()
    assert say("tonight --resin epoxy-slow --on epoxy")[0] == 4  # nothing is known of the air
    say("job open --title 'rudder cheek'")
    say("layer --resin epoxy-slow --part cheek")
    for told in ("--resin polyester-laminating --on epoxy", "--resin vinyl-ester"):
        status, tonight = say(f"tonight {told}")
        assert (status, tonight.startswith("NO-GO")) == (3, True)
        words = " ".join(tonight.split())
        assert "neither bonds to epoxy nor cures well on it" in words
        assert "Do now: use epoxy throughout, or a tie coat" in words
        assert "sensor" not in words
    status, windows = say("windows --resin vinyl-ester --resin polyester-laminating")
    assert (status, windows.startswith("NO-GO: not on what lies below")) == (3, True)
    assert "Use epoxy throughout, or a tie coat" in " ".join(windows.split())
    assert say("windows --resin vinyl-ester --resin epoxy-slow")[0] == 4  # one of them may lie there


@pytest.mark.parametrize(
    ("face", "verdict", "first"),
    [(FaceBelow.EPOXY, "no-go", "neither bonds"), (FaceBelow.FOAM, "unknown", "no air sensor")],
)
def test_the_page_says_so_too_and_has_no_window(face: FaceBelow, verdict: str, first: str) -> None:
    """Where no coming hours are known; the calendar stays empty."""
    resin, words = load_resin("vinyl-ester"), plain_wording()
    asked = Question(resin, limits.for_resin(resin), load_substrate("foam"), ground=Ground(face))
    coming = unseen_windows([asked], ["no air sensor has reported"], NOW, words)
    assert coming.verdict == verdict
    shown = str(pictures.strip(coming, words, NOW))
    assert verdict.upper() in shown
    assert first in shown
    assert not list(calendar._windows(coming, words))


def test_epoxy_over_abraded_polyester_is_a_go(say: Say) -> None:
    """And says to abrade, and that nobody measured."""
    status, out = say("tonight --resin epoxy-slow --on polyester")
    assert (status, out.startswith("GO")) == (0, True)
    words = " ".join(out.split())
    assert "Abrade the face below" in words
    assert "Moisture below: not measured" in words


@pytest.mark.parametrize("resin", ["polyester-laminating", "epoxy-slow"])
def test_a_waxed_layer_is_abraded_before_the_next_one_of_its_job(resin: str) -> None:
    """Wax keeps the next layer from bonding; on an own layer without wax its recoat window says the rest."""
    found = {
        lain: known_checks(load_resin(resin), ground(configuration.parse(""), lain=lain))[0]
        for lain in ("polyester-topcoat", "polyester-laminating")
    }
    waxed, bare = found.values()
    assert (waxed.status, waxed.reason) == (Status.CARE, ABRADE)
    assert (bare.status, bare.reason) == (Status.HOLDS, "")


def test_bare_timber_is_primed_before_polyester_is_laid(say: Say) -> None:
    """What to do now begins with it; on primed timber, and for epoxy, it is laid at once."""
    for told, first in (
        ("polyester-laminating --on bare-timber", "Do now: prime the timber first, as said. Lay it"),
        ("polyester-laminating --on primed-timber", "Do now: lay it"),
        ("epoxy-slow --on bare-timber", "Do now: lay it"),
    ):
        status, out = say(f"tonight --resin {told}")
        assert (status, first in " ".join(out.split())) == (0, True), out


def test_of_plies_that_heat_themselves_fewer_are_laid_at_once(say: Say) -> None:
    """What to do now never is to lay what the headline warns of; one ply is laid as it is."""
    for plies, first in ((6, "Do now: lay fewer plies at once"), (1, "Do now: lay it")):
        status, out = say(f"tonight --resin epoxy-fast --layers {plies}")
        told = " ".join(out.split())
        assert (status, first in told, "It heats itself to" in told) == (0, True, plies > 1), out


def test_plies_that_would_boil_the_water_below_are_no_go(say: Say) -> None:
    """Twelve reach some 139 degC; so many as are told need no care, and one more does."""
    status, out = say("tonight --resin epoxy-fast --layers 12 --json")
    document = json.loads(out)
    heat = next(check for check in document["checks"] if check["name"] == "own-heat")
    assert (status, document["verdict"], heat["status"], heat["limit"]) == (3, "no-go", "fails", 100.0)
    assert heat["value"] > 120.0
    thinner = next(lever for lever in document["levers"] if lever["kind"] == "thinner")
    assert "Lay at most" in document["do_now"][0]["text"]
    for more, cares in ((0, False), (1, True)):
        out = say(f"tonight --resin epoxy-fast --layers {thinner['layers'] + more} --json")[1]
        assert ("own-heat" in {check["name"] for check in json.loads(out)["checks"]}) == cares


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("--layers 1", ()),
        ("--layers 6", ("WARNING: it may heat itself to", "no more plies")),
        ("--layers 12", ("WARNING: it may heat itself to", "if it smokes, leave the shed")),
        ("--layers 12 --ago 2h55min", ()),
    ],
)
def test_a_layer_that_is_laid_says_how_hot_it_gets(say: Say, told: str, said: tuple[str, ...]) -> None:
    """From the command that tells of it on, until its own heat has gone."""
    for line in (f"layer --resin epoxy-fast {told}", "layer --running"):
        words = " ".join(say(line)[1].split())
        assert all(each in words for each in said), words
        assert ("WARNING" in words) == bool(said), words


@pytest.mark.long
def test_what_is_told_to_turn_a_layer_that_boils_is_a_go(say: Say) -> None:
    """Each resin that is named for twelve plies is a go with them; windows have no start for what boils."""
    document = json.loads(say("tonight --resin epoxy-fast --layers 12 --json")[1])
    resins = [lever["resin"] for lever in document["levers"] if lever["kind"] == "resin"]
    for name in resins:
        assert say(f"tonight --resin {name} --layers 12")[0] == 0, name
    for plies, status in ((12, 3), (1, 0)):
        assert say(f"windows --resin epoxy-fast --layers {plies}")[0] == status


@pytest.mark.long
def test_a_damp_plank_is_no_go_and_a_dry_one_says_nothing(say: Say) -> None:
    """By the meter, in per cent; what no meter can show is refused."""
    wet, dry = say("tonight --moisture 18"), say("tonight --moisture '11 %'")
    assert (wet[0], dry[0]) == (3, 0)
    assert "18 % by the meter, at most 12 %" in " ".join(wet[1].split())
    assert "Moisture" not in dry[1]
    assert say("tonight --moisture 0.12")[0] == say("tonight --on sand")[0] == 2


@pytest.mark.long
def test_a_layer_keeps_its_face_and_the_next_one_lies_on_it(say: Say) -> None:
    """The second layer of a part lies on the first; of another part on what the substrate says."""
    say("job open --title 'rudder cheek'")
    say("layer --resin epoxy-slow --part cheek --moisture 9")
    say("layer --resin epoxy-slow --part cheek")
    say("layer --resin polyester-laminating --part cheek")
    say("layer --resin epoxy-slow --part coach-roof")
    _, out = say("layer --running --json")
    found = [
        (each["face"], each["moisture_percent"], each["below"]["status"])
        for each in json.loads(out)["running"]
    ]
    assert found == [
        ("bare-timber", 9.0, "holds"),
        ("epoxy", None, "holds"),
        ("epoxy", None, "fails"),
        ("bare-timber", None, "care"),
    ]


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        ({"face": "bare-timber"}, "on bare timber (moisture by meter: not measured)"),
        ({"face": "bare-timber", "moisture": 0.115}, "on bare timber (moisture by meter: 11.5 %)"),
        ({"face": "epoxy", "face_own": True}, "on epoxy (its own layer before)"),
    ],
)
def test_the_record_says_what_it_lies_on_and_that_nobody_measured(
    payload: dict[str, object], said: str
) -> None:
    words = SimpleNamespace(mass=str)
    assert said in _layer_sentence({"layer": "L1", "resin": "epoxy-slow", **payload}, words)  # type: ignore[arg-type]


def test_every_substrate_has_a_face_and_the_configuration_may_say_another() -> None:
    """What is not timber, foam or laminate is metal."""
    found = {}
    for name in substrate_names():
        found[name] = ground(configuration.parse(f'[shed]\nsubstrate = "{name}"\n')).face
    assert {name for name, face in found.items() if face is FaceBelow.METAL} == {"steel", "aluminium", "lead"}
    said = configuration.parse('[shed]\nsubstrate = "plywood"\nface = "epoxy"\n')
    assert ground(said).face is FaceBelow.EPOXY
    assert ground(said, "tie-coat", 0.1) == Ground(FaceBelow.TIE_COAT, 0.1)
    with pytest.raises(ConfigurationError, match="primed-timber"):
        configuration.parse('[shed]\nface = "sand"\n')


def coming(swing: float) -> tuple[Surfaced, Outlook]:
    """Fit days, each warmest six hours after its beginning."""
    kelvin = 293.15
    pressure = float(moist_air.vapour_pressure(kelvin, 0.4))
    known = Surfaced(
        NOW,
        air=Place("bench", "air", NOW - 30, kelvin, 0.2, 0.4, 0.02, pressure, 20.0),
        surface=Place("hull", "surface", NOW - 30, kelvin, 0.2),
    )
    time = NOW + 900.0 * np.arange(4 * 120 + 1)
    air = kelvin + swing * np.sin(2 * np.pi * (time - NOW) / 86400.0) + np.linspace(-0.2, 0.2, 64)[:, None]
    return known, Outlook(time, air, np.full(air.shape, pressure), air, "demo", 48.0)


@pytest.mark.long
def test_a_first_coat_on_timber_prefers_a_falling_temperature() -> None:
    """Every hour is a go; on bare timber the best start lies about or after the day's maximum, at 6 h."""
    resin = load_resin("epoxy-fast")
    asked = Question(resin, limits.for_resin(resin), load_substrate("plywood"))
    always = (Span(NOW, NOW + 1e6),)
    timber, steel = (
        strip(replace(asked, ground=Ground(face, 0.1)), *coming(4.0), always)
        for face in (FaceBelow.TIMBER, FaceBelow.METAL)
    )
    (window,) = timber.windows
    best = (timber.starts.start[window.best] - NOW) / 3600.0 % 24.0
    assert 3.0 <= best <= 18.5  # a fast film gels within two hours: it warms less than 1 K from there
    assert window.best not in timber.warms
    assert timber.warms
    assert not steel.warms
    assert steel.windows[0].first == window.first
    wrong = strip(replace(asked, ground=Ground(FaceBelow.EPOXY)), *coming(4.0), always)
    assert wrong.windows
    styrene = load_resin("vinyl-ester")
    none = strip(
        Question(styrene, asked.limits, asked.substrate, ground=Ground(FaceBelow.EPOXY)), *coming(4.0), always
    )
    assert not none.windows
    assert set(none.limiting) == {"Wrong on this face"}
