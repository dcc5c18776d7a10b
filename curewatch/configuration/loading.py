"""Find the file, read it, and say exactly what is wrong with it."""

import os
import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from curewatch.configuration.lines import line_of, lines_of_keys
from curewatch.configuration.shape import Configuration
from curewatch.errors import ConfigurationError, reason

FILE_NAME = "curewatch.toml"
LARGEST = 1_000_000  # bytes: a configuration is a page, not a data set
_SECRET_WORDS = {"password", "passwd", "passphrase", "secret", "token", "key"}
_PLACE_FOR_SECRETS = (
    "no secret in this file: name a password_file, or set CUREWATCH_MQTT_PASSWORD in the environment"
)
_SECRET_IN_ADDRESS = re.compile(r"[^/'\"]*@")
_ALLOWED = {  # the validator's words for these speak of Python, not of the file
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_parsing": "a number",
    "float_type": "a number",
    "string_type": "text in quotes",
    "model_type": "a table: [name] on a line of its own, keys below it",
    "dict_type": "tables: [name.of-each] on a line of its own, keys below it",
    "tuple_type": 'a list: ["…", "…"]',
    "path_type": "a path in quotes",
}


def search_path(environment: Mapping[str, str] = os.environ) -> list[Path]:
    """Where a configuration is looked for when none is named, first found first."""
    home = environment.get("XDG_CONFIG_HOME") or str(
        Path(environment.get("HOME", "~")).expanduser() / ".config"
    )
    return [Path(FILE_NAME), Path(home) / "curewatch" / FILE_NAME]


def load(path: Path | str | None = None, environment: Mapping[str, str] = os.environ) -> Configuration:
    """The configuration named, or that of ``$CUREWATCH_CONFIG``, or the first found, or the defaults.

    Raises
    ------
    ConfigurationError
        Names the file, the line, the key, what was found and what is allowed.
    """
    named = path or environment.get("CUREWATCH_CONFIG")
    if named:
        return parse(_text(Path(named)), Path(named))
    for candidate in search_path(environment):
        if candidate.is_file():
            return parse(_text(candidate), candidate)
    return Configuration()


def _text(file: Path) -> str:
    try:
        with file.open("rb") as opened:
            content = opened.read(LARGEST + 1)
    except OSError as trouble:
        raise ConfigurationError(
            f"{reason(trouble)}",
            "a readable TOML file (write one with `curewatch setup`)",
            file=file,
        ) from trouble
    if len(content) > LARGEST:
        raise ConfigurationError("a file of over 1 MB", "at most 1 MB", file=file)
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as trouble:
        line = content.count(b"\n", 0, trouble.start) + 1
        raise ConfigurationError(
            f"the byte 0x{content[trouble.start]:02x}", "text in UTF-8", file=file, line=line
        ) from trouble


def parse(text: str, file: Path | None = None) -> Configuration:
    """The configuration that this text says; ``file`` serves messages and relative paths."""
    shown = file or Path(FILE_NAME)
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as trouble:
        place = re.search(r"\(at line (\d+), column \d+\)", str(trouble))
        said = str(trouble).split(" (at ")[0]
        raise ConfigurationError(
            f"broken TOML ({said[:1].lower()}{said[1:]})",
            "TOML: key = value, text in quotes",
            file=shown,
            line=int(place[1]) if place else text.count("\n") + 1,
        ) from trouble
    except RecursionError as trouble:
        raise ConfigurationError("tables nested too deeply", "at most three levels", file=shown) from trouble
    try:
        configuration = Configuration.model_validate(tables)
    except ValidationError as trouble:
        raise _explained(trouble, tables, text, shown) from trouble
    return _with_paths(configuration, file)


def _with_paths(configuration: Configuration, file: Path | None) -> Configuration:
    """Relative paths are meant from the folder of the file, not from where the command was typed."""
    if file is None:
        return configuration
    folder = file.absolute().parent

    def placed(path: Path | None) -> Path | None:
        return None if path is None else folder / path.expanduser()

    sources = {
        name: source.model_copy(
            update={
                key: placed(getattr(source, key))
                for key in ("password_file", "ca_file", "certificate_file", "key_file")
            }
        )
        for name, source in configuration.mqtt.items()
    }
    ports = {
        name: source.model_copy(update={"url": _placed_port(source.url, folder)})
        for name, source in configuration.serial.items()
    }
    resin = configuration.resin.model_copy(update={"folder": placed(configuration.resin.folder)})
    logbook = configuration.logbook.model_copy(update={"path": placed(configuration.logbook.path)})
    whole = configuration.model_copy(
        update={"mqtt": sources, "serial": ports, "resin": resin, "logbook": logbook}
    )
    whole._file = file.absolute()
    return whole


def _placed_port(url: str, folder: Path) -> str:
    """A port's file is meant from there too; an address (``socket://``) and a name such as COM3 stay."""
    is_file = os.name == "posix" and "://" not in url
    return str(folder / Path(url).expanduser()) if is_file else url


def _explained(trouble: ValidationError, tables: dict[str, Any], text: str, file: Path) -> ConfigurationError:
    """The first error of the validator in our words: what was found, what is allowed."""
    error = min(trouble.errors(), key=lambda each: _weight(each, text))
    place = tuple(str(part) for part in error["loc"] if part != "[key]")
    found, allowed = _found_and_allowed(error, place, tables)
    return ConfigurationError(
        found, allowed, file=file, line=line_of(lines_of_keys(text), place), key=".".join(place) or None
    )


def _weight(error: ErrorDetails, text: str) -> tuple[int, int]:
    """Errors in the order of the file; a mistyped key explains a missing one, so it goes first."""
    place = tuple(str(part) for part in error["loc"])
    return (error["type"] == "missing", line_of(lines_of_keys(text), place) or 0)


def _found_and_allowed(
    error: ErrorDetails, place: tuple[str, ...], tables: dict[str, Any]
) -> tuple[str, str]:
    if error["type"] == "extra_forbidden":
        return _unknown_key(place)
    if error["type"] == "missing":
        return "nothing", f"{place[-1]} must be given"
    seen = _shown(_value_at(place, tables))
    if error["type"] == "value_error":
        return seen, error["msg"].removeprefix("Value error, ")
    if error["type"] == "string_pattern_mismatch" and error["loc"][-1:] == ("[key]",):
        return f"the name {place[-1]!r}", "a letter, then letters, digits, - or _ (at most 32)"
    return seen, _ALLOWED.get(error["type"]) or error["msg"].removeprefix("Input should be ")


def _unknown_key(place: tuple[str, ...]) -> tuple[str, str]:
    """An unknown key: the nearest one that is known, or all of them."""
    name = place[-1]
    if set(re.split(r"[^a-z]+", name.lower())) & _SECRET_WORDS:
        return f"the key {name}", _PLACE_FOR_SECRETS
    known = list(_table_at(place[:-1]).model_fields)
    near = get_close_matches(name, known, n=1, cutoff=0.5)
    meant = f"did you mean {near[0]}? " if near else ""
    return f"the unknown key {name}", f"{meant}one of {', '.join(known)}"


def _table_at(place: tuple[str, ...]) -> type[BaseModel]:
    """The table that stands at a place, found by the annotations."""
    here: type[BaseModel] = Configuration
    for part in place:
        if part in here.model_fields:
            annotation = here.model_fields[part].annotation
            inside = [
                each
                for each in (annotation, *get_args(annotation))
                if isinstance(each, type) and issubclass(each, BaseModel)
            ]
            here = inside[0] if inside else here
    return here


def _value_at(place: tuple[str, ...], tables: Any) -> Any:
    for part in place:
        if isinstance(tables, dict) and part in tables:
            tables = tables[part]
        elif isinstance(tables, list) and part.isdigit() and int(part) < len(tables):
            tables = tables[int(part)]
    return tables


def _shown(found: Any) -> str:
    """What was found, short; a table is named, not printed, lest a secret in it is shown."""
    if isinstance(found, dict):
        return "this table"
    text = _SECRET_IN_ADDRESS.sub("…@", repr(found))
    return text if len(text) <= 60 else text[:57] + "..."
