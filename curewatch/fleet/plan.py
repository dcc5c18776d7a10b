"""What one worker of a fleet serves: brokers, and the sheds whose queues it takes from.

    [broker]
    hosts = ["127.0.0.1:5672"]     # of one cluster; the first that answers
    user = "guest"
    password_file = "broker.password"

    [page]                         # of `curewatch fleet serve`; the keys of a daemon's
    port = 8738

    [sheds]
    hull = "hull.toml"             # the shed's own configuration; its logbook.path names the database

    [copies.yard]                  # has its own daemon, and sends its closed blocks
    file = "yard.toml"             # a copy of its configuration; logbook.path: where its blocks are kept
    key = "0a1b ..."               # as `curewatch logbook key` prints it there

What a sensor sends by MQTT to ``sheds/hull/...`` comes into the queue ``curewatch.hull``.
A sender's file has the same form: its [sheds] are those that it sends.
"""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from curewatch.configuration import Configuration, load
from curewatch.configuration.shape import PhonePageTable
from curewatch.errors import UsageError, reason
from curewatch.logbook.postgres.address import Address, is_address_file, read_address


class BrokerHosts(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where the queues are."""

    hosts: tuple[str, ...]
    user: str = "guest"
    password_file: str = ""


class CopyPlan(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A shed whose closed blocks come from its own daemon."""

    file: str
    key: str  # public, or its fingerprint


class HeadsPlan(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who dates the daily list of heads; nobody, or both keys."""

    stamp_authority: str | None = None
    stamp_roots_file: Path | None = None  # certificates


class FleetPageTable(PhonePageTable, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The page of all sheds, with the keys of a daemon's."""


class FleetPlan(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file of a worker."""

    broker: BrokerHosts
    heads: HeadsPlan = HeadsPlan()
    page: FleetPageTable = FleetPageTable()
    sheds: dict[str, str] = {}
    copies: dict[str, CopyPlan] = {}


OPEN_LOGBOOKS = 50  # that a looker keeps open; a worker has one for each shed
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,31}")
KEY = re.compile(r"(?:[0-9a-f]{64}|[0-9a-f]{32})")


def load_plan(path: Path) -> tuple[FleetPlan, dict[str, Configuration]]:
    """The plan in this file, and the configuration of each shed, the copied ones among them.

    Raises
    ------
    ConfigurationError
        A key is missing or unknown, or a shed's configuration cannot be read.
    UsageError
        The file cannot be read, or a shed's name is no word of a topic.
    """
    try:
        plan = msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8")), FleetPlan, dec_hook=_decoded)
    except OSError as trouble:
        raise UsageError(f"{path}: {reason(trouble)}. Name the file of a worker") from trouble
    except tomllib.TOMLDecodeError as trouble:
        raise UsageError(f"{path}: found {trouble}. Use TOML") from trouble
    except msgspec.ValidationError as trouble:
        raise UsageError(f"{path}: found {trouble}. Use the keys that are known") from trouble
    _check_names(path, plan)
    secret = plan.broker.password_file and path.parent / plan.broker.password_file
    if secret and not secret.is_file():
        raise UsageError(f"{path}: found no file {secret}. Put the password into one, mode 0600")
    broker = msgspec.structs.replace(plan.broker, password_file=str(secret))
    places = plan.sheds | {name: one.file for name, one in plan.copies.items()}
    found = {name: load(path.parent / place) for name, place in places.items()}
    _check_apart(path, found)
    roots = plan.heads.stamp_roots_file and path.parent / plan.heads.stamp_roots_file
    dated = msgspec.structs.replace(plan.heads, stamp_roots_file=roots)
    keys = {key: path.parent / name for key in _KEY_FILES if (name := getattr(plan.page, key)) is not None}
    page = msgspec.structs.replace(plan.page, **keys)
    return msgspec.structs.replace(plan, broker=broker, heads=dated, page=page), found


_KEY_FILES = ("certificate_file", "key_file")


def _decoded(kind: type, value: Any) -> Any:
    """A place as a path."""
    return kind(value)


def _check_names(path: Path, plan: FleetPlan) -> None:
    """Each shed is told once, by a word of a topic; no two copies have one key."""
    if not plan.broker.hosts or not (plan.sheds or plan.copies):
        raise UsageError(f"{path}: found no hosts or no sheds. Name at least one of each")
    for name in (*plan.sheds, *plan.copies):
        if not NAME.fullmatch(name):
            raise UsageError(
                f"{path}: found the shed {name!r}. Use letters, digits, - and _, 32 at most, a letter first"
            )
    for name in plan.sheds.keys() & plan.copies.keys():
        raise UsageError(f"{path}: found the shed {name} told twice. Use [sheds] or [copies] for it")
    keys: dict[str, str] = {}
    for name, one in plan.copies.items():
        key = "".join(one.key.lower().split())
        if not KEY.fullmatch(key):
            raise UsageError(
                f"{path}: found {one.key!r} as the key of {name}. Use what its logbook key prints"
            )
        if key in keys:
            raise UsageError(f"{path}: found one key for {keys[key]} and {name}. Use each shed's own")
        keys[key] = name


def _check_apart(path: Path, sheds: Mapping[str, Configuration]) -> None:
    """Each shed has a logbook of its own, also where two files name one place in a database."""
    logbooks: dict[Path | Address, str] = {}
    for name, configuration in sheds.items():
        file = configuration.logbook.path
        if file is None:
            raise UsageError(f"{path}: found no logbook.path of the shed {name}. Use one for each shed")
        place = read_address(file) if is_address_file(file) else file
        if place in logbooks:
            raise UsageError(f"{path}: found one logbook for {logbooks[place]} and {name}. Use one for each")
        logbooks[place] = name
