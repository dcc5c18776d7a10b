"""The pages as PDF/A-3a and PDF/UA-1 with the proof inside, by ``typst``; and the signature over all of it.

Theory of operation
-------------------
Typst compiles our fixed layout in a folder of its own, from which it cannot look out; what it shows
comes as JSON and is shown as text, so nothing from outside is ever read as markup or code. The file
is then signed as a whole: a keyword of the document holds a place for the signature, the file is
signed with noughts in that place, and the signature is put there. So one flipped bit anywhere shows.
"""

import json
import re
import tempfile
import zlib
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from curewatch import square
from curewatch.errors import RecordBroken, StoreFailed
from curewatch.record.attachments import carrying
from curewatch.record.glyphs import ascii_only, drawable
from curewatch.record.page import Pages, Picture, block_data
from curewatch.record.proof import shipped

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

LONG = "readings.csv"  # packed here, not by typst: to lay out pages and compare them it need not be packed
MARK = "curewatch-signature-"
PLACE = MARK + "0" * 128
FILES_MARK = "curewatch-files-"
_FILES = re.compile(FILES_MARK.encode() + rb"([0-9a-f]{64})(?![0-9A-Za-z])")
_SIGNATURE = re.compile(MARK.encode() + rb"([0-9a-f]{128})(?![0-9A-Za-z])")

# The default, written out; poppler up to 22.12 complains of it. Blanks in its place keep every offset.
SUSPECTS = b"/Suspects false"

DESCRIPTIONS = {
    "README.txt": ("text/plain", "How to check this record"),
    "check.sh": ("text/x-shellscript", "The check, with standard tools alone"),
    "account.json": ("application/json", "What the readings and entries give, for programs"),
    "pages.json": ("application/json", "What the pages say, as data"),
    "entries.jsonl": ("application/jsonl", "Entries, as they were hashed"),
    "readings.csv": ("text/csv", "Readings, as they were hashed"),
    "blocks.csv": ("text/csv", "The chain"),
    "digests.csv": ("text/csv", "Digests of all entries of the chain"),
    "seal.txt": ("text/plain", "The seal"),
    "seal.sig": ("application/octet-stream", "Signature of the seal"),
    "key.pem": ("application/x-pem-file", "The public key"),
    "seal.tsr": ("application/timestamp-reply", "What an authority said of the seal; empty: nobody"),
    "authority.pem": ("application/x-pem-file", "Its certificate, as this record names it"),
    "files.sha256": ("text/plain", "Digests of the files"),
    "files.sig": ("application/octet-stream", "Signature of the digests"),
}


def pdf(pages: Pages, files: Mapping[str, bytes], key: "Ed25519PrivateKey") -> bytes:
    """The record as one signed PDF/A-3 file, the proof attached."""
    return _signed(laid_out(pages, files, zlib.compress(files[LONG])), key)


def laid_out(pages: Pages, files: Mapping[str, bytes], readings: bytes) -> bytes:
    """The file before it is signed; the same pages and files, and readings as packed, give the same bytes."""
    short = {**files, LONG: b""}
    try:
        made = _laid_out(pages, short, drawable)
    except UndrawnError:  # marks that no single font can set over what stands before them
        made = _laid_out(pages, short, ascii_only)
    return carrying(made, LONG, readings, len(files[LONG]))


class UndrawnError(Exception):
    """A font has not got what it should draw."""


def _laid_out(pages: Pages, files: Mapping[str, bytes], write: Callable[[str], str]) -> bytes:
    """Laid out with every text written so."""
    import typst

    with tempfile.TemporaryDirectory(prefix="curewatch-") as name:
        folder = Path(name)
        for file, content in files.items():
            (folder / file).write_bytes(content)
        (folder / "square.svg").write_bytes(square.svg(pages.digest))
        for picture in pictures(pages):
            (folder / picture.file).write_bytes(_drawn(picture, write))
        (folder / "layout.json").write_text(json.dumps(_written(_plain(pages, files), write)), "utf-8")
        (folder / "record.typ").write_bytes(shipped("record.typ"))
        try:
            made = typst.compile(
                folder / "record.typ",
                root=folder,
                ignore_system_fonts=True,
                format="pdf",
                pdf_standards=["a-3a", "ua-1"],
                timestamp=round(pages.at),
            )
        except (typst.TypstError, RuntimeError) as trouble:
            if "could not be displayed" in str(trouble) and write is not ascii_only:
                raise UndrawnError from trouble
            raise StoreFailed(
                f"the pages could not be laid out: {trouble}; write the folder form instead"
            ) from trouble
    return bytes(made).replace(SUSPECTS, b" " * len(SUSPECTS))


def _drawn(picture: Picture, write: Callable[[str], str]) -> bytes:
    """A picture, the text of a chart written so that it can be drawn."""
    if not picture.file.endswith(".svg"):
        return picture.content
    return write(picture.content.decode()).encode()


def _written(value: Any, write: Callable[[str], str]) -> Any:
    """Plain data, every text in it written so that it can be drawn."""
    if isinstance(value, str):
        return write(value)
    if isinstance(value, Mapping):
        return {name: _written(each, write) for name, each in value.items()}
    return [_written(each, write) for each in value] if isinstance(value, list | tuple) else value


def _plain(pages: Pages, files: Mapping[str, bytes]) -> dict[str, Any]:
    sealed = datetime.fromtimestamp(round(pages.at), UTC)
    return {
        **pages._asdict(),
        "by": dict(pages.facts).get("By", ""),
        "signature": PLACE,
        "files": FILES_MARK + sha256(files["files.sha256"]).hexdigest(),
        "date": [sealed.year, sealed.month, sealed.day],
        "attached": [
            {"name": name, "type": DESCRIPTIONS[name][0], "description": DESCRIPTIONS[name][1]}
            for name in files
        ],
        "sections": [
            {"heading": section.heading, "blocks": [block_data(block) for block in section.blocks]}
            for section in pages.sections
        ],
    }


def pictures(pages: Pages) -> list[Picture]:
    """Every chart and photograph of the pages."""
    return [block for section in pages.sections for block in section.blocks if isinstance(block, Picture)]


def _signed(made: bytes, key: "Ed25519PrivateKey") -> bytes:
    """The file with its signature in the place kept for it."""
    if PLACE.encode() not in made:
        raise StoreFailed("the PDF has no place for its signature; write the folder form instead")
    return made.replace(PLACE.encode(), (MARK + key.sign(made).hex()).encode())


def files_named(content: bytes) -> set[str]:
    """The digests of lists of files that the document was laid out with: one, of its own record."""
    return {found.decode() for found in _FILES.findall(content)}


def unsigned(signed: bytes, name: str = "record.pdf") -> tuple[bytes, bytes]:
    """The bytes that were signed, and the signature.

    Raises
    ------
    RecordBroken
        There is no signature, or more than one.
    """
    found = set(_SIGNATURE.findall(signed))
    if len(found) != 1:
        raise RecordBroken(name, "one signature of the whole file", f"{len(found)} of them")
    (signature,) = found
    return signed.replace(MARK.encode() + signature, PLACE.encode()), bytes.fromhex(signature.decode())
