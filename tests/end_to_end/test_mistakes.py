"""What a person types wrong: each gets a message with what is allowed, its exit status, and no traceback."""

from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.errors import ExitStatus

USAGE, CONFIGURATION, FAILURE = ExitStatus.USAGE, ExitStatus.CONFIGURATION, ExitStatus.FAILURE
BROKEN = ExitStatus.RECORD_BROKEN

# arguments -> (exit status, what the message must contain)
TYPED: list[tuple[str, ExitStatus, str]] = [
    ("tonigt", USAGE, "did you mean `curewatch tonight`"),
    ("xyzzy", USAGE, "curewatch --help"),
    ("--verbos", USAGE, "No such option"),
    ("resin", USAGE, "compare"),
    ("resin shw epoxy-slow", USAGE, "did you mean `curewatch resin show`"),
    ("resin show", USAGE, "Missing argument"),
    ("resin show epoxy-slwo", USAGE, "epoxy-slow"),
    ("resin show nowhere.toml", CONFIGURATION, "nowhere.toml"),
    ("explain vitrifcation", USAGE, "did you mean 'vitrification'"),
    ("explain xyzzy", USAGE, "lists the terms"),
    ("air", USAGE, "Missing argument"),
    ("air 12", USAGE, "RH"),
    ("air warm 80", USAGE, "12 C or 54 F"),
    ("air 12 180", USAGE, "1 to 100 % (curewatch explain relative humidity)"),
    ("air 12 0.8", USAGE, "if that was a fraction"),
    ("air 72 50", USAGE, "if that was Fahrenheit"),
    ("cure --temperature warm", USAGE, "12 C or 54 F"),
    ("cure --temperature 12 --hours never", USAGE, "--hours: found 'never'. Use a span"),
    ("cure --temperature 12 --history curve.csv", USAGE, "--history"),
    ("cure --history nowhere.csv", USAGE, "nowhere.csv"),
    ("cure --resin epoxy-slwo --temperature 12", USAGE, "epoxy-slow"),
    ("cure --resin epoxy-slow --temperature 12 --peroxide 2", USAGE, "peroxide"),
    (
        "cure --resin polyester-laminating --temperature 12 --peroxide 9",
        USAGE,
        "(curewatch explain peroxide)",
    ),
    ("tonight --at noonish", USAGE, "Use 21:40"),
    ("tonight --at 25:00", USAGE, "no hour of the day"),
    ("tonight --mass heavy", USAGE, "150 g"),
    ("tonight --resin epoxy-slwo", USAGE, "epoxy-slow"),
    ("tonight --units K", USAGE, "C or F, g or oz, 24h or 12h"),
    ("tonight --peroxide much", USAGE, "found 'much'. Use a number"),
    ("tonight --peroxide 2", USAGE, "epoxy keeps its mix ratio"),
    ("tonight --resin polyester-laminating --peroxide 50", USAGE, "too much"),
    ("tonight now", USAGE, "(now); see `curewatch tonight --help`"),
    ("job correct two --set a=b --reason x", USAGE, "number: found 'two'. Use a whole number"),
    (
        "layup round --length 120 --thickness 6 --sides 3",
        USAGE,
        "--sides: found '3'. Use 1 to 2",
    ),
    ("simulate --port --link ./", USAGE, "found your file or folder"),
    ("tonight --config nowhere.toml", CONFIGURATION, "curewatch setup"),
    ("windows --resin epoxy-slwo", USAGE, "epoxy-slow"),
    ("windows --window 0", USAGE, "--window: found '0'. Use 1 or more"),
    ("layer --ago soon", USAGE, "Use a span of time: 20 min"),
    ("layer --ago 20min --at 21:40", USAGE, "give one of them"),
    ("layer --ago 9d", USAGE, "last 7 days"),
    ("layer --mass 150lb", USAGE, "1 g to 20 kg"),
    ("layer --resin epoxy-slwo", USAGE, "epoxy-slow"),
    ("layer --resin polyester-laminating --peroxide 0.1", USAGE, "too little"),
    ("layer --close L9", USAGE, "none is running"),
    ("setup", USAGE, "curewatch setup --example"),
    ("observe kickd", USAGE, "kicked, gelled, tack-free, firm"),
    ("observe kicked", USAGE, "found none running"),
    ("record write J9", USAGE, "there is no "),
    ("record verify", USAGE, "Missing argument"),
    ("record verify nowhere.pdf", USAGE, "nowhere.pdf"),
    ("replay nowhere.txt", USAGE, "nowhere.txt"),
    ("replay .", USAGE, "a folder, not a file"),
    ("logbook backup", USAGE, "Missing argument"),
    ("logbook export readings.csv", FAILURE, "there is no logbook"),
    ("logbook prune --older-than 3", USAGE, "Use 30 or more"),
    ("sensor check bench", USAGE, "No sensor is there yet"),
    ("job close", USAGE, "curewatch job open"),
    ("job show J9", USAGE, "no job 'J9'"),
    ("resin fit", USAGE, "resin fit --template"),
    ("resin fit nowhere.toml", CONFIGURATION, "nowhere.toml"),
    ("forecast nowhere.csv", USAGE, "nowhere.csv"),
    ("ingest --config nowhere.toml", CONFIGURATION, "curewatch setup"),
    ("watch --json", USAGE, "give --once too"),
    ("watch --once --look", FAILURE, "there is no logbook"),
    ("watch --config nowhere.toml", CONFIGURATION, "curewatch setup"),
    ("doctor --config nowhere.toml", CONFIGURATION, "curewatch setup"),
    ("demo --seconds -1", USAGE, "found '-1.0'. Use 0 to 600"),
    ("setup --seconds 0", USAGE, "Use 1 to 600; see `curewatch setup --help`"),
    ("simulate --port --broker 127.0.0.1", USAGE, "one of --port, --broker and --file"),
    ("simulate --file - --fault drought@10m", USAGE, "drought"),
    ("simulate --file - --speed=-1", USAGE, "0 to 1000000"),
    ("tonigth", USAGE, "did you mean `curewatch tonight`"),
    ("tonight --whyy", USAGE, "'--why'"),
    ("tonight --mass 0", USAGE, "150 g"),
    ("tonight --mass 5000kg", USAGE, "Use 1 g to 20 kg"),
    ("tonight --units F,C,stone", USAGE, "C or F, g or oz"),
    ("cure --temperature 12 --hours -5", USAGE, "0.1 to 1440"),
    ("cure --temperature 12 --hours 1e9", USAGE, "0.1 to 1440"),
    ("cure --temperature 900", USAGE, "Use -30 to 150"),
    ("cure --temperature nan", USAGE, "Use 12 C or 54 F"),
    ("cure --temperature 12 --humidity 0", USAGE, "1 to 100 %"),
    ("cure --temperature 12 --shape bucket --mass 100g", USAGE, "cup, tray, roller-tray"),
    ("cure --temperature 12 --thickness 0", USAGE, "Use 0.1 to 50 mm"),
    ("cure --temperature 12 --thickness 2 --on marble", USAGE, "plywood"),
    ("cure --history .", USAGE, "a folder, not a file"),
    ("cure --temperature 12 --chart cure.pdf", USAGE, ".svg or .png"),
    ("layup square --length 120 --thickness 6", USAGE, "round, oval, rectangular, strip"),
    ("layup round --length 0 --thickness 6", USAGE, "Use more than 0"),
    ("layup round --length 120 --thickness -1", USAGE, "80 mm"),
    ("layup round --length 120 --thickness 6 --scale 0", USAGE, "0.01 or more"),
    ("layup round --length 120 --thickness 6 --people 0", USAGE, "1 to 10"),
    (
        "layup round --length 120 --thickness 6 --cloth silk",
        USAGE,
        "--cloth: found 'silk'. Use stitched-biaxial",
    ),
    ("layup round --length 120 --thickness 6 --width 80", USAGE, "a round hole has none"),
    ("layup round --length 120 --thickness 6 --card card.pdf", USAGE, ".html, .htm, .txt"),
    ("layup oval --length 120 --thickness 6", USAGE, "width of the oval hole: found none"),
    ("layer --mass 150g --ago -5", USAGE, "20 min"),
    ("layer --job nowhere", USAGE, "curewatch job open"),
    ("alerts --acknowledge 7", USAGE, "none is active"),
    ("alerts --past soon", USAGE, "20 min"),
    ("air 12 nan", USAGE, "1 to 100 %"),
    ("resin compare --temperature 12", USAGE, "give both"),
    ("resin compare --temperature 12 --humidity 0.8", USAGE, "give 80"),
    ("simulate --file out.txt --format senml", USAGE, "Use --broker HOST, or --format line"),
    ("simulate --file out.txt --count 0", USAGE, "1 to a year's"),
    ("logbook export readings.xyz", FAILURE, "there is no logbook"),
    ("sensor check", USAGE, "Missing argument"),
    ("record verify .", BROKEN, "found none of them"),
    ("manual --schema nowhere", USAGE, "found 'nowhere'"),
    ("doctor --config .", CONFIGURATION, "found a folder"),
    ("demo --seconds nan", USAGE, "Use 0 to 600"),
]

# a line of the configuration -> what the message must contain beside file, line and key
WRITTEN: list[tuple[str, str]] = [
    ("[shed\nname = 1", "line 1"),
    ("[shed]\nzone = 'Europe/Lisboa'", "IANA"),
    ("[shed]\nsubstrat = 'plywood'", "Use substrate, the nearest one, or one of"),
    ("[resin]\nbatch_mass_g = 'much'", "a number"),
    ("[resin]\nperoxide_percent = 900", "at most 100"),
    ("[sensors.bench]\nrol = 'air'", "Use role, the nearest one, or one of"),
    ("[sensors.bench]\nrole = 'hull'", "'air', 'surface'"),
    ("[sensors.'my sensor']\nrole = 'air'", "a letter, then letters, digits"),
    ("[mqtt.yard]\npassword = 'creek'", "CUREWATCH_MQTT_PASSWORD"),
    ("[mqtt.yard]\ntopics = 'creek/#/state'", "topic filter"),
    ("[serial.usb]\nbaud = 9600", "url"),
    ("[limits]\nrules = 'mine'", "classed-workshop"),
]


@pytest.fixture
def new_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty home and folder; no configuration unless a test writes one."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "CUREWATCH_CONFIG", "CUREWATCH_UNITS"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


def test_there_are_enough_mistakes() -> None:
    """At least a hundred and ten different ones are tried."""
    assert len({typed for typed, _, _ in TYPED}) + len({text for text, _ in WRITTEN}) >= 110


@pytest.mark.parametrize(("typed", "status", "said"), TYPED, ids=[typed for typed, _, _ in TYPED])
def test_a_mistyped_command_is_told_what_is_allowed(
    typed: str, status: ExitStatus, said: str, new_home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The message, the status, nothing on stdout that could be taken for an answer, no file made."""
    with pytest.raises(SystemExit) as stop:
        run(typed.split())
    shown = capsys.readouterr()
    assert stop.value.code == status
    assert said in " ".join((shown.err + (shown.out if typed == "resin" else "")).split())
    assert "Traceback" not in shown.err
    told = [line for line in shown.err.splitlines() if "nothing is set up yet" not in line]
    assert typed == "resin" or len(told) == 1, told
    assert shown.out == "" or typed == "resin"
    assert not [path for path in new_home.rglob("*") if path.suffix in {".toml", ".csv"}]


@pytest.mark.parametrize(("text", "said"), WRITTEN, ids=[text.splitlines()[-1] for text, _ in WRITTEN])
def test_a_mistake_in_the_configuration_is_found_by_file_line_and_key(
    text: str, said: str, new_home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 78, so that a service manager does not try for ever; and no secret is repeated."""
    (new_home / "curewatch.toml").write_text(text)
    with pytest.raises(SystemExit) as stop:
        run(["tonight"])
    shown = capsys.readouterr()
    assert stop.value.code == CONFIGURATION
    assert "curewatch.toml, line " in shown.err
    assert said in shown.err
    assert "creek'" not in shown.err.replace("creek/#/state", "")
    assert "Traceback" not in shown.err
    assert shown.out == ""


def test_a_logbook_that_is_none_is_not_touched(new_home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A text file at the logbook's place: the store fails, says what to do, and the file stays."""
    (new_home / "curewatch.toml").write_text('[logbook]\npath = "notes.txt"\n')
    notes = new_home / "notes.txt"
    notes.write_text("not a database, but a page of notes\n" * 100)
    for arguments in (["layer"], ["tonight"], ["doctor"]):
        with pytest.raises(SystemExit) as stop:
            run(arguments)
        assert stop.value.code == FAILURE
        shown = capsys.readouterr()
        assert "not a logbook" in (shown.out if arguments == ["doctor"] else shown.err).replace(
            "\n      ", " "
        )
    assert notes.read_text().startswith("not a database")


def test_a_folder_in_the_logbooks_place_is_called_a_folder(
    new_home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not a failing disk; and the doctor goes on with the rest and says it in its place."""
    (new_home / "curewatch.toml").write_text('[logbook]\npath = "kept"\n')
    (new_home / "kept").mkdir()
    for arguments in (["tonight"], ["layer"], ["doctor"]):
        with pytest.raises(SystemExit) as stop:
            run(arguments)
        assert stop.value.code == FAILURE
        shown = capsys.readouterr()
        assert "that is a folder" in " ".join((shown.out + shown.err).split())
    assert "clock: " in shown.out


def test_without_a_configuration_the_next_step_is_told(
    new_home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The answer is unknown on stdout; how to begin stands on stderr."""
    with pytest.raises(SystemExit) as stop:
        run(["tonight"])
    shown = capsys.readouterr()
    assert stop.value.code == ExitStatus.UNKNOWN
    assert shown.out.startswith("UNKNOWN")
    assert "curewatch setup" in shown.err
