"""Readings and entries as files that other programs read: CSV, SenML (RFC 8428), Parquet, JSON lines."""

import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

import numpy as np

from curewatch.errors import StoreFailed, UsageError, reason
from curewatch.extras import require
from curewatch.logbook import columns, rows
from curewatch.logbook.port import LogbookStore
from curewatch.logbook.series import BlockRows

FORMS = {".csv": "csv", ".json": "senml", ".senml": "senml", ".parquet": "parquet", ".jsonl": "entries"}


class Selection(NamedTuple):
    """What to export: start <= time < end, one sensor or all."""

    start: float | None = None  # UTC [s]
    end: float | None = None  # UTC [s]
    sensor: str | None = None


def export(
    logbook: LogbookStore, target: Path, form: str | None = None, chosen: Selection | None = None
) -> int:
    """Write a new file; how many readings or entries it holds.

    Raises
    ------
    UsageError
        There is a file of that name, or the form is not known.
    StoreFailed
        The disk refuses.
    """
    form = form or FORMS.get(target.suffix.lower(), "")
    writers: dict[str, Callable[[LogbookStore, Path, Selection], int]] = {
        "csv": _csv,
        "senml": _senml,
        "parquet": _parquet,
        "entries": _entries,
    }
    if form not in writers:
        raise UsageError(f"--format: found {form or target.name!r}. Use {', '.join(writers)}")
    if target.exists():
        raise UsageError(f"{target}: found a file of that name. Use a new name")
    draft = target.with_name(f"{target.name}.part-{os.getpid()}")
    try:
        count = writers[form](logbook, draft, chosen or Selection())
        draft.replace(target)
    except OSError as trouble:
        raise StoreFailed(f"export {target}: {reason(trouble)}") from trouble
    finally:
        draft.unlink(missing_ok=True)
    return count


@contextmanager
def _text(path: Path) -> Iterator[IO[str]]:
    with path.open("w", encoding="utf-8", newline="") as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def _csv(logbook: LogbookStore, path: Path, chosen: Selection) -> int:
    """The canonical lines, as the chain covers them, under one line of headings."""
    tokens, count = logbook.tokens(), 0
    with _text(path) as file:
        file.write(columns.newest().heading + "\n")
        for block, form, found in logbook.blocks(*chosen):
            file.write(rows.lines(block, form, found, tokens))
            count += len(found)
    return count


def _senml(logbook: LogbookStore, path: Path, chosen: Selection) -> int:
    """One pack of resolved records, one a line."""
    names = {number: _senml_name(token) for number, token in logbook.tokens().items()}
    count, separator = 0, "[\n"
    with _text(path) as file:
        for _, _, found in logbook.blocks(*chosen):
            count += len(found)
            for record in _records(found, names):
                file.write(separator + record)
                separator = ",\n"
        file.write("\n]\n" if count else "[]\n")
    return count


def _records(found: rows.Rows, names: dict[int, str]) -> Iterator[str]:
    for values in found.tolist():
        sensor, time = values[:2]
        for one, kept in zip(columns.newest().quantities, values[rows.QUANTITIES_FROM :], strict=True):
            if kept != columns.NOTHING:
                shown = kept / 10**one.decimals
                yield json.dumps(
                    {"n": f"{names[sensor]}:{one.name}", "t": time / 1e3, "u": one.senml, "v": shown}
                )


def _senml_name(token: str) -> str:
    """SenML allows letters, digits and ``- : . / _`` and wants a letter or digit first."""
    name = token.replace("%", "_")
    return name if name[:1].isalnum() else f"x{name}"


def _parquet(logbook: LogbookStore, path: Path, chosen: Selection) -> int:
    """One row a reading, as frames have them; a frame for each row group, so that memory stays small."""
    pa = require("pyarrow", "parquet", "export as Parquet")
    parquet = require("pyarrow.parquet", "parquet", "export as Parquet")
    from curewatch.frames import reading_frame, reading_units

    units = reading_units()
    schema = pa.schema(
        [
            ("sensor", pa.string()),
            ("time", pa.timestamp("ms", "UTC")),
            ("received", pa.timestamp("ms", "UTC")),
            ("flags", pa.uint16()),
            ("sequence", pa.int64()),
            *((name, pa.float64()) for name in units),
        ],
        metadata={"PANDAS_ATTRS": json.dumps({"units": units})},  # pandas reads them back as attrs
    )
    names, count = logbook.names(), 0
    with parquet.ParquetWriter(path, schema) as writer:
        for found in _gathered(logbook.blocks(*chosen)):
            frame = reading_frame(found, names)
            writer.write_table(pa.Table.from_pandas(frame, schema, preserve_index=False))
            count += len(found)
    return count


def _gathered(blocks: Iterator[BlockRows], least: int = 50_000) -> Iterator[rows.Rows]:
    """Blocks put together into row groups worth writing."""
    waiting: list[rows.Rows] = []
    for _, _, found in blocks:
        waiting.append(found)
        if sum(map(len, waiting)) >= least:
            yield np.concatenate(waiting)
            waiting.clear()
    if waiting:
        yield np.concatenate(waiting)


def _entries(logbook: LogbookStore, path: Path, chosen: Selection) -> int:
    """Canonical lines of the entries, as the chain covers them."""
    found = logbook.entries(start=chosen.start, end=chosen.end)
    with _text(path) as file:
        file.writelines(one.line + "\n" for one in found)
    return len(found)
