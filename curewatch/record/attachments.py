"""Files attached to a record's PDF, read and put in: as much of the format as our own files use.

A PDF from elsewhere that is laid out otherwise is "not a record", which is true. Names are matched
against those of a record and never used as paths; unpacked sizes are bounded.
"""

import re
import zlib
from collections.abc import Container

from curewatch.errors import RecordBroken

LARGEST = 36 * 1024 * 1024  # bytes of all files, unpacked: three months of three sensors at a minute

_FILESPEC = re.compile(rb"/Type/Filespec/F\(([A-Za-z0-9._-]{1,64})\)[^>]{0,300}?/EF<</F (\d{1,9}) 0 R")
_EMBEDDED = re.compile(rb"/EmbeddedFile\b(?!s)")
_OFFSET = re.compile(rb"([0-9]{10})( [0-9]{5} n)")
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
        left = LARGEST - sum(map(len, found.values()))
        found[name] = _stream(pdf, match.group(2).decode(), name, left)
    if len(matched) != pdf.count(b"/Filespec") or len(matched) != len(_EMBEDDED.findall(pdf)):
        raise RecordBroken("record.pdf", "attached files that can all be read", "others beside them")
    return found


def _stream(pdf: bytes, number: str, name: str, most: int) -> bytes:
    head = _head(pdf, number, name)
    raw = pdf[head.end() : head.end() + int(head.group(1))]
    if b"/FlateDecode" not in head.group(2):
        return raw
    unpacker = zlib.decompressobj()
    try:
        content = unpacker.decompress(raw, most + 1)
    except zlib.error as trouble:
        raise RecordBroken(f"{name} in the PDF", "a file that unpacks", str(trouble)) from trouble
    if len(content) > most:
        raise RecordBroken(f"{name} in the PDF", f"files of at most {LARGEST:,} bytes in all", "more")
    if unpacker.unconsumed_tail or unpacker.unused_data or not unpacker.eof:
        raise RecordBroken(f"{name} in the PDF", "a whole file and nothing more", "a part of one, or more")
    return content


def _head(pdf: bytes, number: str, name: str) -> re.Match[bytes]:
    """The beginning of an attached file's object, up to what is in it."""
    begin = f"\n{number} 0 obj\n".encode()
    count = pdf.count(begin)
    if count != 1:
        raise RecordBroken(f"{name} in the PDF", "one object", f"{count} of its number")
    head = _STREAM.match(pdf, pdf.index(begin) + len(begin))
    if head is None or b"/EmbeddedFile" not in head.group(2):
        raise RecordBroken(f"{name} in the PDF", "an attached file", "something else")
    return head


def _head_of(pdf: bytes, name: str) -> re.Match[bytes]:
    number = next(found.group(2) for found in _FILESPEC.finditer(pdf) if found.group(1) == name.encode())
    return _head(pdf, number.decode(), name)


def packed(pdf: bytes, name: str) -> bytes:
    """An attached file as it lies in the PDF."""
    head = _head_of(pdf, name)
    return pdf[head.end() : head.end() + int(head.group(1))]


def carrying(pdf: bytes, name: str, body: bytes, size: int) -> bytes:
    """The PDF with a packed body of ``size`` bytes in the place of a file that it carries empty.

    Every offset behind it is moved. A month of readings is so packed once, and never to be compared.
    """
    head = _head_of(pdf, name)
    filled = f"<</Length {len(body)}{head.group(2).decode()}>>\nstream\n"
    filled = filled.replace("/EmbeddedFile", "/EmbeddedFile/Filter/FlateDecode").replace(
        "/Size 0/", f"/Size {size}/"
    )
    table = pdf.rindex(b"\nxref\n") + 1
    more = len(filled) + len(body) - (head.end() - head.start())

    def moved(offset: re.Match[bytes]) -> bytes:
        at = int(offset.group(1))
        return b"%010d" % (at + more if at > head.start() else at) + offset.group(2)

    tail = _OFFSET.sub(moved, pdf[table:])
    tail = tail.replace(b"startxref\n%d\n" % table, b"startxref\n%d\n" % (table + more))
    return pdf[: head.start()] + filled.encode() + body + pdf[head.end() : table] + tail
