"""Reads the files attached to a record's PDF: as much of the format as our own files use.

A PDF from elsewhere that is laid out otherwise is "not a record", which is true. Names are matched
against those of a record and never used as paths; unpacked sizes are bounded.
"""

import re
import zlib
from collections.abc import Container

from curewatch.errors import RecordBroken

LARGEST = 512 * 1024 * 1024  # bytes of one file, unpacked

_FILESPEC = re.compile(rb"/Type/Filespec/F\(([A-Za-z0-9._-]{1,64})\)[^>]{0,300}?/EF<</F (\d{1,9}) 0 R")
_EMBEDDED = re.compile(rb"/EmbeddedFile\b(?!s)")
_STREAM = re.compile(rb"<</Length (\d{1,10})([^\r\n]{0,400}?)>>\r?\nstream\r?\n")


def attached(pdf: bytes, wanted: Container[str]) -> dict[str, bytes]:
    """The attached files, all of these names.

    Raises
    ------
    RecordBroken
        It is no PDF, a file is there twice, has another name, or cannot be unpacked.
    """
    if not pdf.startswith(b"%PDF-"):
        raise RecordBroken("record.pdf", "a PDF file", "something else")
    matched = list(_FILESPEC.finditer(pdf))
    found: dict[str, bytes] = {}
    for match in matched:
        name = match.group(1).decode("ascii")
        if name not in wanted:
            raise RecordBroken("record.pdf", "the files of a record inside", f"also {name}")
        if name in found:
            raise RecordBroken("record.pdf", f"one file {name}", "two of that name")
        found[name] = _stream(pdf, match.group(2).decode(), name)
    if len(matched) != pdf.count(b"/Filespec") or len(matched) != len(_EMBEDDED.findall(pdf)):
        raise RecordBroken("record.pdf", "attached files that can all be read", "others beside them")
    return found


def _stream(pdf: bytes, number: str, name: str) -> bytes:
    begin = f"\n{number} 0 obj\n".encode()
    count = pdf.count(begin)
    if count != 1:
        raise RecordBroken(f"{name} in the PDF", "one object", f"{count} of its number")
    head = _STREAM.match(pdf, pdf.index(begin) + len(begin))
    if head is None or b"/EmbeddedFile" not in head.group(2):
        raise RecordBroken(f"{name} in the PDF", "an attached file", "something else")
    raw = pdf[head.end() : head.end() + int(head.group(1))]
    if b"/FlateDecode" not in head.group(2):
        return raw
    unpacker = zlib.decompressobj()
    try:
        content = unpacker.decompress(raw, LARGEST)
    except zlib.error as trouble:
        raise RecordBroken(f"{name} in the PDF", "a file that unpacks", str(trouble)) from trouble
    if unpacker.unconsumed_tail or not unpacker.eof:
        raise RecordBroken(f"{name} in the PDF", "a whole file of bearable size", "more, or less")
    return content
