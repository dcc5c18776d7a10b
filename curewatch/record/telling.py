"""What a record says, made of its evidence: the two files that the chain is told of before the seal.

Law: the digests of account.json and pages.json are an entry of the chain, and the seal comes after it. So
the code fixes what the pages say, and verification makes the same files again from the lines.
"""

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from curewatch.record.account import Account
from curewatch.record.edition import edition
from curewatch.record.page import Pages, as_data
from curewatch.record.pages import pages
from curewatch.record.plain import as_plain
from curewatch.wording import Wording

UNITS = ("fahrenheit", "ounces", "twelve_hours")


def told(account: Account, reader: Wording) -> tuple[Pages, dict[str, bytes]]:
    """The pages, and the two files that say the same as data."""
    said = pages(account, reader)
    return said, {"account.json": _text(as_plain(account)), "pages.json": _text(as_data(said))}


def payload(
    account: Account, said: Mapping[str, bytes], reader: Wording, resins: Mapping[str, str]
) -> dict[str, Any]:
    """What the entry holds: digests, and what is needed to make the files again."""
    return {
        "account": sha256(said["account.json"]).hexdigest(),
        "pages": sha256(said["pages.json"]).hexdigest(),
        "block": account.block,
        "units": {name: getattr(reader, name) for name in UNITS},
        "resins": dict(resins),
        "edition": edition(),
    }


def reader_of(units: Mapping[str, Any]) -> Wording:
    """Whose units the pages are in."""
    fahrenheit, ounces, twelve_hours = (units.get(name) is True for name in UNITS)
    return Wording(fahrenheit=fahrenheit, ounces=ounces, twelve_hours=twelve_hours)


def _text(plain: dict[str, Any]) -> bytes:
    return (json.dumps(plain, indent=1, sort_keys=True) + "\n").encode()
