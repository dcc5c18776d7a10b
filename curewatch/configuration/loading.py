"""Find the file, read it, and say exactly what is wrong with it."""

import os
import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from curewatch import plain_toml
from curewatch.configuration.lines import line_of, lines_of_keys
from curewatch.configuration.shape import Configuration
from curewatch.configuration.sheds import told_apart
from curewatch.configuration.tables import FileTable, Misfit, NoKey, UnknownKey, WrongName, read
from curewatch.errors import ConfigurationError, reason

FILE_NAME = "curewatch.toml"
LARGEST = 1_000_000  # bytes: a configuration is a page, not a data set
_SECRET_WORDS = {"password", "passwd", "passphrase", "secret", "token", "key"}
_PLACE_FOR_SECRETS = (
    "no secret in this file: name a password_file, or set CUREWATCH_MQTT_PASSWORD in the environment"
)
_SECRET_IN_ADDRESS = re.compile(r"[^/'\"]*@")


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
        return content.decode("utf-8-sig")  # some editors begin with a byte order mark
    except UnicodeDecodeError as trouble:
        line = content.count(b"\n", 0, trouble.start) + 1
        raise ConfigurationError(
            f"the byte 0x{content[trouble.start]:02x}", "text in UTF-8", file=file, line=line
        ) from trouble


def parse(text: str, file: Path | None = None) -> Configuration:
    """The configuration that this text says; ``file`` serves messages and relative paths."""
    shown = file or Path(FILE_NAME)
    try:
        tables = plain_toml.loads(text)
    except tomllib.TOMLDecodeError as trouble:
        place = re.search(r"\(at line (\d+), column \d+\)", str(trouble))
        said = str(trouble).split(" (at ")[0]
        raise ConfigurationError(
            f"broken TOML ({said[:1].lower()}{said[1:]})",
            "TOML: key = value, text in quotes",
            file=shown,
            line=int(place[1]) if place else text.count("\n") + 1,
        ) from trouble
    try:
        configuration = read(Configuration, tables)
        sheds = told_apart(tables, configuration)
    except Misfit as trouble:
        raise _explained(trouble, tables, text, shown) from trouble
    each = {label: _with_paths(shed, file) for label, shed in sheds.items()}
    return replace(_with_paths(configuration, file), _each=each)


def _with_paths(configuration: Configuration, file: Path | None) -> Configuration:
    """Relative paths are meant from the folder of the file, not from where the command was typed."""
    if file is None:
        return configuration
    folder = file.absolute().parent

    def placed(value: Any) -> Any:
        if isinstance(value, Path):
            return folder / value.expanduser()
        if isinstance(value, dict):
            return {name: placed(inside) for name, inside in value.items()}
        if isinstance(value, FileTable):
            return replace(value, **{key: placed(getattr(value, key)) for key in value.__struct_fields__})
        return value

    serial = {
        name: replace(source, url=_placed_port(source.url, folder))
        for name, source in configuration.serial.items()
    }
    found: Configuration = placed(configuration)
    return replace(found, serial=serial, _file=file.absolute())


def _placed_port(url: str, folder: Path) -> str:
    """A port's file is meant from there too; an address (``socket://``) and a name such as COM3 stay."""
    is_file = os.name == "posix" and "://" not in url
    return str(folder / Path(url).expanduser()) if is_file else url


def _explained(trouble: Misfit, tables: dict[str, Any], text: str, file: Path) -> ConfigurationError:
    """The same with file and line: what was found, what is allowed."""
    place = trouble.place
    found, allowed = _found_and_allowed(trouble, tables)
    return ConfigurationError(
        found, allowed, file=file, line=line_of(lines_of_keys(text), place), key=".".join(place) or None
    )


def _found_and_allowed(trouble: Misfit, tables: dict[str, Any]) -> tuple[str, str]:
    match trouble:
        case UnknownKey():
            return _unknown_key(trouble)
        case NoKey():
            return "nothing", trouble.allowed
        case WrongName():
            return f"the name {trouble.place[-1]!r}", trouble.allowed
    return _shown(_value_at(trouble.place, tables)), trouble.allowed


def _unknown_key(trouble: UnknownKey) -> tuple[str, str]:
    """An unknown key: the nearest one that is known, or all of them."""
    name = trouble.place[-1]
    if set(re.split(r"[^a-z]+", name.lower())) & _SECRET_WORDS:
        return f"the key {name}", _PLACE_FOR_SECRETS
    near = get_close_matches(name, trouble.known, n=1, cutoff=0.5)
    nearest = f"{near[0]}, the nearest one, or " if near else ""
    return f"the unknown key {name}", f"{nearest}one of {', '.join(trouble.known)}"


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
