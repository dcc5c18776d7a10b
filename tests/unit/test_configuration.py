"""The configuration says what there is; what is wrong in it is named by file, line and key."""

import re
import tomllib
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.configuration.lines import lines_of_keys
from curewatch.configuration.shape import FIELD_WORDS, Notices
from curewatch.configuration.tables import FileTable, keys_of
from curewatch.errors import ConfigurationError, ExitStatus
from curewatch.wire.fields import WORDS


def test_nothing_is_a_configuration() -> None:
    """No file and an empty file both give the defaults, and a role where a name tells one."""
    nothing = configuration.parse("")
    assert nothing == configuration.Configuration()
    assert nothing.file is None
    assert nothing.role_of("bench") == "air"
    assert nothing.role_of("hull") == "surface"
    assert nothing.role_of("cellar") is None
    assert nothing.sensor("yard") is not None


def test_the_example_is_valid_and_complete() -> None:
    """The commented example loads, also with every commented key switched on, and leaves no key out."""
    text = configuration.example()
    given = configuration.parse(text)
    assert given.shed.name == "Saltmarsh Shed"
    assert set(given.sensors) == {"bench", "hull", "yard"}
    full = re.sub(r"(?m)^# (?=[a-z_-]+ = )", "", text)
    assert full != text
    configuration.parse(full)
    tables = tomllib.loads(full)
    for name, kind in keys_of(configuration.Configuration).items():
        if isinstance(kind, type) and issubclass(kind, FileTable):
            assert set(tables[name]) == set(keys_of(kind)), name
    assert set(tables["serial"]["usb"]) == set(keys_of(configuration.SerialSource))
    assert set(tables["mqtt"]["yard"]) == set(keys_of(configuration.MqttSource))
    assert set(tables["stock"]["epoxy-slow"]) == set(keys_of(configuration.Tin))
    assert set().union(*tables["sensors"].values()) == set(keys_of(configuration.Sensor))


@pytest.mark.parametrize(
    ("text", "line", "key", "found", "allowed"),
    [
        ('\n[shed]\nnam = "x"', 3, "shed.nam", "nam", "name, the nearest one, or one of"),
        ('[shedd]\nname = "x"', 1, "shedd", "shedd", "shed, the nearest one, or one of"),
        ('[shed]\nzone = "Mars/Base"', 2, "shed.zone", "Mars/Base", "IANA"),
        ("[shed]\nname = 3", 2, "shed.name", "3", "text in quotes"),
        ("shed = 3", 1, "shed", "3", "a table"),
        ("[shed]\nthickness_mm = nan", 2, "shed.thickness_mm", "nan", "number"),
        (
            '[sensors.bench]\nrole = "wall"',
            2,
            "sensors.bench.role",
            "'wall'",
            "'air', 'surface', 'outside', 'layer' or 'cup'",
        ),
        (
            '[sensors.bench]\nrol = "air"',
            2,
            "sensors.bench.rol",
            "rol",
            "role, the nearest one, or one of",
        ),
        ("[sensors.bench]\nevery_s = 5", 1, "sensors.bench.role", "nothing", "role = ...; it must be given"),
        (
            '[sensors.b]\nrole = "air"\nfields = { temprature_c = "t" }',
            3,
            "sensors.b.fields.temprature_c",
            "the name 'temprature_c'",
            "temperature_c, the nearest one, or one of",
        ),
        (
            '[serial.usb]\nurl = "/dev/x"\nfields = { temperature_c = "t", humidity_percent = "t" }',
            3,
            "serial.usb.fields",
            "this table",
            "a place of its own for each; 't' stands at temperature_c and humidity_percent",
        ),
        (
            '[mqtt.yard]\nfields = { temperature_c = { at = "t", scale = 0 } }',
            2,
            "mqtt.yard.fields.temperature_c.scale",
            "0",
            "another number than 0",
        ),
        ('[mqtt.yard]\nfields = { temperature_c = "" }', 2, "mqtt.yard.fields", "this table", "a place"),
        (
            '[mqtt.yard]\nhost = "mqtt://creek"',
            2,
            "mqtt.yard.host",
            "'mqtt://creek'",
            "its name or number alone",
        ),
        (
            '[mqtt.yard]\n[serial.yard]\nurl = "/dev/x"',
            1,
            "mqtt.yard",
            "this table",
            "another name: [serial.yard] has it",
        ),
        (
            '[serial.a]\nurl = "/dev/x"\n[serial.b]\nurl = "/dev/x"',
            4,
            "serial.b.url",
            "'/dev/x'",
            "another port: serial.a reads this one",
        ),
        ("[mqtt.yard]\ntopics = []", 2, "mqtt.yard.topics", "[]", "at least one, or leave the key out"),
        ("[working_hours]\ndays = []", 2, "working_hours.days", "[]", "at least one"),
        ('[page]\naddress = "300.1.2.3"', 2, "page.address", "'300.1.2.3'", "an address of this machine"),
        ('[page]\naddress = "127.0.0.1:80"', 2, "page.address", "'127.0.0.1:80'", "port = 8737"),
        ('[page]\naddress = "http://shed"', 2, "page.address", "'http://shed'", "an address of this machine"),
        ('[mqtt.yard]\nhost = "creek:1883"', 2, "mqtt.yard.host", "'creek:1883'", "port = 1883"),
        (
            "[limits]\ntemperature_lowest_c = 30\ntemperature_highest_c = 10",
            1,
            "limits",
            "this table",
            "temperature_lowest_c below temperature_highest_c",
        ),
        ('[sensors]\n"9 lives" = { role = "air" }', 2, "sensors.9 lives", "9 lives", "a letter"),
        (
            '[serial.usb]\nurl = "/dev/ttyUSB0"\nbaud = "fast"',
            3,
            "serial.usb.baud",
            "'fast'",
            "a whole number",
        ),
        (
            '[serial.usb]\nurl = "rfc2217://me:word@h:1"',
            2,
            "serial.usb.url",
            "",
            "without a user or password",
        ),
        ('[mqtt.yard]\npassword = "word"', 2, "mqtt.yard.password", "the key password", "password_file"),
        (
            '[mqtt.yard]\ntopics = [\n  "a",\n  "b#",\n]\nport = 1',
            2,
            "mqtt.yard.topics.1",
            "'b#'",
            "topic filter",
        ),
        ('[mqtt.yard]\nversion = "3.1.1"\nshare = "crew"', 1, "mqtt.yard", "this table", "MQTT 3.1.1 has no"),
        ('[mqtt.yard]\nkey_file = "k"', 1, "mqtt.yard", "this table", "together"),
        ("[resin]\nbatch_mass_g = -3", 2, "resin.batch_mass_g", "-3", "1 to 20,000"),
        (
            "[resin]\nbatch_g = 150",
            2,
            "resin.batch_g",
            "the unknown key batch_g",
            "batch_mass_g, the nearest one",
        ),
        ("[resin]\n\nname = ", 3, None, "invalid value", "TOML"),
        ('[resin]\nname = "a"\nname = "b"', 3, None, "cannot overwrite a value", "TOML"),
    ],
)
def test_an_error_names_the_place(
    text: str, line: int, key: str | None, found: str, allowed: str, *, tmp_path: Path
) -> None:
    """File, line, key, what was found and what is allowed; and the exit status of a configuration."""
    file = tmp_path / "curewatch.toml"
    file.write_text(text)
    with pytest.raises(ConfigurationError) as caught:
        configuration.load(file)
    error = caught.value
    assert (error.file, error.line, error.key) == (file, line, key)
    assert found in error.found
    assert allowed in error.allowed
    assert error.exit_status is ExitStatus.CONFIGURATION


def test_fields_may_have_every_word_that_messages_are_read_by() -> None:
    """The file names the words; the wire has them."""
    assert set(FIELD_WORDS) == set(WORDS)


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    """Some editors write one; a line is counted as they count it."""
    file = tmp_path / "curewatch.toml"
    file.write_bytes(b'\xef\xbb\xbf[shed]\nname = "Reed"\n')
    assert configuration.load(file).shed.name == "Reed"
    file.write_bytes(b"\xef\xbb\xbf[shed]\nname = 5\n")
    with pytest.raises(ConfigurationError) as caught:
        configuration.load(file)
    assert caught.value.line == 2


def test_a_secret_is_refused_and_not_repeated() -> None:
    """A password in the file is an error whose message does not carry it on."""
    for text in ('[mqtt.yard]\npassword = "hush-hush"', '[mqtt.yard]\nhost = "me:hush-hush@creek"'):
        with pytest.raises(ConfigurationError) as caught:
            configuration.parse(text)
        assert "password" in str(caught.value)
        assert "hush-hush" not in str(caught.value)


def test_one_address_has_one_owner() -> None:
    """Two sensors that claim one address would mix their readings."""
    with pytest.raises(ConfigurationError, match="one sensor"):
        configuration.parse('[sensors.a]\nrole = "air"\naddress = "b"\n[sensors.b]\nrole = "air"')


def test_the_search_path_is_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Named file, then the variable, then the folder at hand, then the user's own."""
    monkeypatch.chdir(tmp_path)

    def written(place: str, name: str) -> Path:
        file = tmp_path / place
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f'[shed]\nname = "{name}"')
        return file

    home = {"HOME": str(tmp_path / "home")}
    assert configuration.load(None, home).shed.name == "the shed"
    written("home/.config/curewatch/curewatch.toml", "own")
    assert configuration.load(None, home).shed.name == "own"
    written("curewatch.toml", "here")
    assert configuration.load(None, home).shed.name == "here"
    variable = home | {"CUREWATCH_CONFIG": str(written("elsewhere.toml", "variable"))}
    assert configuration.load(None, variable).shed.name == "variable"
    assert configuration.load(written("named.toml", "named"), variable).shed.name == "named"
    with pytest.raises(ConfigurationError, match="No such file"):
        configuration.load(tmp_path / "absent.toml", home)


def test_relative_paths_are_meant_from_the_file(tmp_path: Path) -> None:
    """A service starts in another folder than the one the file was written in."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[logbook]\npath = "log.sqlite"\n[resin]\nfolder = "resins"\n[mqtt.y]\npassword_file = "word"'
    )
    given = configuration.load(file)
    assert configuration.logbook_path(given) == tmp_path / "log.sqlite"
    assert given.resin.folder == tmp_path / "resins"
    assert given.mqtt["y"].password_file == tmp_path / "word"
    assert given.file == file
    home = configuration.logbook_path(configuration.Configuration(), {"HOME": "/home/somebody"})
    assert home == Path("/home/somebody/.local/share/curewatch/logbook.sqlite")


def test_a_path_of_any_table_is_meant_from_the_file(tmp_path: Path) -> None:
    """Each key that is a path, so a new one is. The control: a port that is an address stays."""
    file = tmp_path / "curewatch.toml"
    tables = {
        "logbook": ("path", "stamp_roots_file"),
        "resin": ("folder",),
        "notices": ("addresses_file",),
        "page": ("certificate_file", "key_file"),
        "mqtt.y": ("password_file", "ca_file", "certificate_file", "key_file"),
    }
    text = "".join(
        f"[{name}]\n" + "".join(f'{key} = "{key}.txt"\n' for key in keys) for name, keys in tables.items()
    )
    file.write_text(f'{text}[serial.bench]\nurl = "socket://host:1"\n')
    given = configuration.load(file)
    named = {key: getattr(given, key) for key in tables if "." not in key} | {"mqtt.y": given.mqtt["y"]}
    for name, keys in tables.items():
        held = {key: getattr(named[name], key) for key in named[name].__struct_fields__}
        paths = {key: value for key, value in held.items() if isinstance(value, Path)}
        assert paths == {key: tmp_path / f"{key}.txt" for key in keys}
    assert given.serial["bench"].url == "socket://host:1"


def test_a_new_receiver_of_notices_is_told_without_another_word() -> None:
    """Whatever key is added. The control: what is no receiver tells nobody."""

    class More(Notices, frozen=True, kw_only=True):
        printer: str = ""

    assert More(printer="/dev/usb/lp0").any
    assert Notices(command=("ring",)).any
    assert not More(timeout_s=3.0, quiet="22:00-07:00").any


def test_a_password_comes_from_its_file_or_the_environment(tmp_path: Path) -> None:
    """The file goes first, must be private, and must not be empty."""
    word = tmp_path / "word"
    word.write_text("from-file\nsecond line\n")
    word.chmod(0o600)
    source = configuration.MqttSource(password_file=word)
    assert configuration.password("yard", source, {}) == "from-file"
    bare = configuration.MqttSource()
    assert configuration.password("yard", bare, {"CUREWATCH_MQTT_PASSWORD": "common"}) == "common"
    both = {"CUREWATCH_MQTT_PASSWORD": "common", "CUREWATCH_MQTT_PASSWORD_YARD": "own"}
    assert configuration.password("yard", bare, both) == "own"
    assert configuration.password("yard", bare, {}) is None
    word.chmod(0o644)
    with pytest.raises(ConfigurationError, match="chmod 600"):
        configuration.password("yard", source, {})
    word.write_text("")
    word.chmod(0o600)
    with pytest.raises(ConfigurationError, match="empty"):
        configuration.password("yard", source, {})


def test_keys_are_found_on_their_lines() -> None:
    """Lists and texts over several lines do not mislead the search for a line."""
    text = '[a]\nx = [\n "y = 1", # z\n]\nt = """\nq = 1\n"""\n[b.c]\nd.e = 2\n[b."f g"]\n'
    assert lines_of_keys(text) == {
        ("a",): 1,
        ("a", "x"): 2,
        ("a", "t"): 5,
        ("b", "c"): 8,
        ("b", "c", "d", "e"): 9,
        ("b", "f g"): 10,
    }


@pytest.mark.parametrize("content", [b"\xff\xfe", b"x = " + b"[" * 3000, b"#" * 1_000_001])
def test_a_file_that_is_no_configuration_is_refused(content: bytes, tmp_path: Path) -> None:
    """Not text, nested without end, or far too large: an error of the user's, never a traceback."""
    file = tmp_path / "curewatch.toml"
    file.write_bytes(content)
    with pytest.raises(ConfigurationError):
        configuration.load(file)


@pytest.mark.parametrize(
    ("topics", "allowed"),
    [
        ('{ temperature_c = "creek/loft/warm" }', "cover"),
        ('{ temperature_c = "creek/+/state" }', "without + or #"),
        ('{ temperature_c = "creek/a/state", humidity_percent = "creek/a/state" }', "one topic for each"),
        ('{ pressure = "creek/a/state" }', "temperature_c"),
    ],
)
def test_a_topic_for_each_quantity_is_whole_and_subscribed_to(topics: str, allowed: str) -> None:
    """What nobody would ever receive, or could not be told apart, is an error when the file is read."""
    broker = '[mqtt.yard]\ntopics = "creek/+/state"\n'
    with pytest.raises(ConfigurationError) as caught:
        configuration.parse(f'{broker}[sensors.bench]\nrole = "air"\ntopics = {topics}')
    assert allowed in str(caught.value)


def test_a_ports_file_is_meant_from_the_configurations_folder(tmp_path: Path) -> None:
    """Like every other path; an address elsewhere stays an address."""
    found = configuration.parse(
        '[serial.usb]\nurl = "shed-port"\n[serial.far]\nurl = "socket://127.0.0.1:5000"\n'
        '[serial.tty]\nurl = "/dev/ttyUSB0"',
        tmp_path / "curewatch.toml",
    )
    assert [port.url for port in found.serial.values()] == [
        str(tmp_path / "shed-port"),
        "socket://127.0.0.1:5000",
        "/dev/ttyUSB0",
    ]
