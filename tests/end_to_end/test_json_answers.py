"""Every answer in JSON has the shape that its schema says; no command answers without one."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker

from curewatch.answers import catalogue as answers
from curewatch.answers.document import plain
from curewatch.answers.mqtt import mqtt_seal_document
from curewatch.cli.commands.demo import demo_configuration, recording_file
from curewatch.cli.commands.manual import every_command
from curewatch.cli.evening import layers
from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.daemon.acting import Actor
from curewatch.daemon.edges.recording import open_recording
from curewatch.daemon.replay import Replay
from curewatch.errors import UsageError
from curewatch.logbook import Logbook
from curewatch.logbook.sealing import seal
from tests import demo_world
from tests.stamping_authority import StampingAuthority, serving

NOBODYS = {
    "mqtt-state",
    "mqtt-alerts",
    "mqtt-seal",
    "page-look",
    "page-told",
}  # documents that no command answers with
UNITS = {"degC", "K"}
UNIT_IN_KEY = re.compile(
    r"_(c|k|s|min|h|days|mm|m2|g|kg|ml|w|kwh|pa|hpa|percent|ppm|db|v|kilogram|bytes|degrees|per_(m2|m3|100|hour))$"
)
PURE = {  # counts, numbers of something, pure numbers; the last stand under a key with a unit
    *(
        "batches",
        "block",
        "blocks",
        "bytes",
        "corrected_by",
        "count",
        "entries",
        "entries_lost",
        "entries_of_other_jobs",
        "lost_blocks",
        "entry",
        "together",
    ),
    *(
        "exit_status",
        "kept",
        "layers",
        "layers_in_one_go",
        "left_out",
        "left_over",
        "moments",
        "number",
        "pairs",
        "ringing",
    ),
    *("pruned_blocks", "readings", "seals", "sides", "times", "meaning", "version", "withdrawn"),
    *("cost", "usual_cost_ratio"),  # in the currency beside it
    *("biot", "conversion", "final_conversion", "gain", "rate_factor", "rate_sd", "scarf_ratio"),
    *("spread_ratio", "within"),
    *(
        "fast_lot",
        "needed_probability",
        "next_layer_probability",
        "probability",
    ),
    *("early", "likely", "late"),
}
JARGON = re.compile(r"\b(share|paths?|sigma|quantile|member|likelihood)\b", re.IGNORECASE)
# an evening at the bench, told to one shed in this order; what is typed after the command's own name
EVENING = [
    ("tonight", ""),
    ("tonight", "--resin vinyl-ester --at 23:59"),
    ("windows", ""),
    ("layup", "round --length 120 --thickness 4"),
    ("job open", "--title cheek --by Reed --ago 8h"),
    ("job batch", "--resin-mass 123g --hardener-mass 27g --ago 7h"),
    ("choose", "--on polyester --thickness 6mm --room 20mm --length 120 --place sun"),
    ("tabs lay", "epoxy-slow epoxy-fast"),
    ("tabs broke", "12 --in face"),
    ("tabs show", ""),
    ("layer", "--batch B1 --ago 7h"),
    ("observe", "gelled --force"),  # whether 7 h is too late depends on the hour of the day
    ("observe", "--undo"),
    ("job pot-empty", ""),
    ("job peel-ply", "--action on"),
    ("job wash", "--action both"),
    ("job primer", "--part keel"),
    ("job deviation", "--deviation dusty --decision kept --decided-by Reed"),
    ("job sign", "--as done --by Reed"),
    ("job quality", "--check barcol --value 30 --passed passed"),
    ("job note", "--text dry"),
    ("job photo", "scarf.png"),
    ("job correct", "{note} --set text=damp --reason misread"),
    ("job withdraw", "{note} --reason twice"),
    ("alerts", "--past 12h"),
    ("job list", ""),
    ("job show", ""),
    ("job close", "--outcome done"),
    ("record write", "J1"),
    ("record verify", "record-J1.pdf"),
    ("record show", "record-J1.pdf"),
    ("job reopen", "--job J1 --reason more"),
    ("cure", "--resin epoxy-slow --temperature 12 --mass 350g --thickness 5"),
    ("cure", "--resin polyester-laminating --temperature 2 --hours 24"),
    ("air", "12 82 --surface 9.5 --part humidity-2"),
    ("air", "-- -5 80"),
    ("resin list", ""),
    ("resin show", "vinyl-ester"),
    ("resin compare", "--temperature 12 --humidity 80"),
    ("resin fit", "sheet.toml"),
    ("explain", "gel"),
    ("explain", ""),
    ("doctor", ""),
    ("forecast", ""),
    ("forecast", "forecast.csv"),
    ("sensor list", ""),
    ("sensor check", "bench --beside yard --keep"),
    ("logbook status", ""),
    ("logbook seal", ""),
    ("logbook stamp", ""),
    ("logbook status", ""),
    ("heads", "--output heads.json"),
    ("heads", "--check heads.json"),
    ("logbook key", ""),
    ("logbook verify", ""),
    ("logbook backup", "copy.sqlite"),
    ("logbook salvage", "salvaged.sqlite"),
    ("logbook export", "readings.csv"),
    ("logbook prune", "--older-than 400 --dry-run"),
    ("watch", "--once --look"),
    ("sheds", ""),
    ("page", "--list"),
    ("demo", ""),
    ("replay", "recordings/saltmarsh-evening.txt --advice-every 120 --readings"),
]


def must_fit(name: str, answer: Any) -> None:
    """Every key is told and none is missing; the message says which is not so."""
    checked = Draft202012Validator(json.loads(answers.schema(name)), format_checker=FormatChecker())
    wrong = [
        f"{'/'.join(map(str, error.path))}: {error.message[:200]}" for error in checked.iter_errors(answer)
    ]
    assert not wrong, f"{name}: {wrong}"


def answering() -> set[str]:
    """Every command that has --json."""
    return {
        name for name, command in every_command() if any("--json" in each.opts for each in command.params)
    }


def every_part(schema: Any) -> Iterator[dict[str, Any]]:
    """A schema, and every schema of a property within it."""
    if isinstance(schema, dict):
        yield from schema.get("properties", {}).values()
        for each in schema.values():
            yield from every_part(each)
    elif isinstance(schema, list):
        for each in schema:
            yield from every_part(each)


def test_every_answering_command_has_a_schema_and_no_schema_is_nobodys() -> None:
    """What has --json can be looked up by its name; the rest is published."""
    named = {answers.SHARED.get(name, name.replace(" ", "-")) for name in answering()}
    assert named | NOBODYS == set(answers.names())
    with pytest.raises(UsageError, match="mqtt-state"):
        answers.schema("nothing")


@pytest.mark.parametrize("name", answers.names())
def test_every_schema_is_one_and_tells_every_key(name: str) -> None:
    """Valid by its own standard; each property has words of its own."""
    schema = json.loads(answers.schema(name))
    Draft202012Validator.check_schema(schema)
    assert schema["title"]
    for part in every_part(schema):
        assert part.get("description") or "const" in part or "$ref" in part, f"{name}: {part}"


def every_schema() -> Iterator[tuple[str, dict[str, Any]]]:
    for name in answers.names():
        yield name, json.loads(answers.schema(name))


def inside(schema: Any) -> Iterator[dict[str, Any]]:
    """Every object within a schema, itself included."""
    if isinstance(schema, dict):
        yield schema
        for each in schema.values():
            yield from inside(each)
    elif isinstance(schema, list):
        for each in schema:
            yield from inside(each)


def is_number(part: dict[str, Any]) -> bool:
    """A number, or a list of them, or one that may be null."""
    if part.get("type") == "array":
        return is_number(part.get("items", {}))
    return part.get("type") in {"number", "integer"} or any(map(is_number, part.get("anyOf", [])))


def test_a_code_has_no_blank_no_apostrophe_and_no_capital() -> None:
    """Words to program by; a unit alone is written as it is."""
    for name, schema in every_schema():
        for part in inside(schema):
            codes = [each for each in (*part.get("enum", ()), part.get("const")) if isinstance(each, str)]
            for each in codes:
                assert each in UNITS or re.fullmatch(r"[a-z0-9-]+", each), f"{name}: {each!r}"


def test_every_number_has_its_unit_in_its_key_or_beside_it() -> None:
    """What has none counts something, or is a pure number, or stands under a key that has one."""
    for name, schema in every_schema():
        for part in inside(schema):
            keys = part.get("properties")
            if not isinstance(keys, dict) or "unit" in keys:
                continue
            bare = {key for key, each in keys.items() if is_number(each) and not UNIT_IN_KEY.search(key)}
            assert bare <= PURE, f"{name}: {sorted(bare - PURE)}"


def test_what_a_key_means_is_said_plainly() -> None:
    """Chance as a probability, not as a share of paths; no statistician's word."""
    for name, schema in every_schema():
        for part in inside(schema):
            text = part.get("description")
            if isinstance(text, str):
                assert not JARGON.search(text), f"{name}: {text}"


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shed whose sensors have just spoken, to type commands in."""
    from PIL import Image

    now = SystemClock().now().utc
    demo_world.shed_in_use(tmp_path, now)
    Image.new("RGB", (80, 60), "white").save(tmp_path / "scarf.png")
    hours = (f"{SystemClock().now().utc + 3600 * hour:.0f},7.0,88" for hour in range(1, 30))
    (tmp_path / "forecast.csv").write_text("\n".join(["time,temperature,humidity", *hours]) + "\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "CUREWATCH_CONFIG", "CUREWATCH_UNITS"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


def typed(words: list[str]) -> None:
    with pytest.raises(SystemExit):
        run(words)


@pytest.fixture
def dated(shed: Path) -> Iterator[None]:
    """An authority that dates the shed's seals."""
    harbour, settings = StampingAuthority(shed / "harbour"), shed / "curewatch.toml"
    with serving(harbour.answer) as address:
        named = f'[logbook]\nstamp_authority = "{address}"\nstamp_roots_file = "{harbour.roots}"\n'
        settings.write_text(settings.read_text().replace("[logbook]\n", named))
        yield


@pytest.mark.long
def test_an_evening_in_json(shed: Path, dated: None, capsys: pytest.CaptureFixture[str]) -> None:
    """Every command that answers, at the bench of the demonstration's shed."""
    typed(["resin", "fit", "--template"])
    (shed / "sheet.toml").write_text(capsys.readouterr().out)
    # the daemon's lines are those of a replay; a fleet's answers are held in its own tests
    asked, note = {"ingest", "fleet sheds", "fleet heads", "fleet page"}, 0
    for command, rest in EVENING:
        words = rest.format(note=note).split()
        typed([*command.split(), "--json", *words])
        said = capsys.readouterr()
        assert said.out, f"{command}: {said.err}"
        lines = said.out.splitlines() if command in {"replay", "demo"} else [said.out]
        for line in lines:
            must_fit(command, json.loads(line))
        if command in {"job close", "logbook seal"}:
            assert json.loads(said.out)["undated"] is None
        if command == "job note":
            note = json.loads(said.out)["number"]
        asked.add(command)
    assert asked == answering()


def test_without_readings_the_answers_keep_their_shape(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Unknown is an answer, too."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    (tmp_path / "curewatch.toml").write_text(demo_world.SETTINGS)
    Logbook(tmp_path / "logbook.sqlite").close()
    for command in (
        "tonight",
        "windows",
        "doctor",
        "watch --once --look",
        "layup round --length 120 --thickness 4",
    ):
        typed([*command.split(), "--json"])
        name = command.partition(" ")[0]
        answer = json.loads(capsys.readouterr().out)
        must_fit(name, answer)
        assert name in {"doctor", "layup", "watch"} or answer["verdict"] == "unknown"


class Listening:
    """A broker's side: keeps the last document of each topic, and counts them."""

    def __init__(self) -> None:
        self.heard: dict[str, list[dict[str, Any]]] = {}

    def acknowledge(self, connection: int, identifiers: tuple[int, ...]) -> None:
        raise AssertionError("a recording asks for no acknowledgement")

    def publish(self, topic: str, document: Any) -> None:
        self.heard.setdefault(topic, []).append(json.loads(json.dumps(document)))


@pytest.mark.long
def test_what_is_published_has_its_shape(tmp_path: Path) -> None:
    """All of the demonstration's evening: state, advice, alerts, with layers in progress."""
    listening = Listening()
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        replay = Replay(
            demo_configuration(),
            open_recording(recording_file()),
            logbook,
            show=lambda event: None,
            advise_every=1800.0,
        )
        replay.actor = Actor(
            replay.core,
            logbook,
            replay.clock,
            brokers={"yard": listening},
            show=lambda event: None,
            think=replay.evaluation,
        )
        replay.run(entries=layers())
    values = {"senml", *(f"values/{name}" for name in ("dew_point_c", "margin_k", "verdict", "chance"))}
    assert set(listening.heard) == {"state", "advice", "alerts", *values}
    assert {"go", "no-go"} <= set(listening.heard["values/verdict"])
    for topic in ("state", "advice", "alerts"):
        documents = listening.heard[topic]
        for document in documents[:: max(1, len(documents) // 20)]:
            must_fit(f"mqtt {topic}", document)
    assert any(document["layers"] and document["alerts"] for document in listening.heard["alerts"])
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        seal(logbook, reason="day", at=replay.clock.now().utc)
        must_fit("mqtt seal", plain(mqtt_seal_document(logbook.entries("seal")[-1])))
