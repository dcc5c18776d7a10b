"""On paper: what was done, by whom, with which lots; and the photographs."""

import base64
import io
from collections.abc import Iterator, Mapping
from typing import Any

from curewatch.answers.document import spoken
from curewatch.logbook import EntryKind
from curewatch.record.account import Account
from curewatch.record.page import PageTable, Picture, of, table
from curewatch.record.words import NOT_GIVEN, RecordWords, shown
from curewatch.units import MINUTE
from curewatch.wording import counted, dosed, duration
from curewatch.worklog import CorrectedEntry

LARGEST_THUMBNAIL = (640, 640)  # pixels on a page
LARGEST_PIXELS = 4_000_000  # of a thumbnail that somebody else packed


def work(account: Account, words: RecordWords) -> Iterator[PageTable]:
    """What people wrote down, in order of time, and the batches."""
    rows = [
        _told_row(told, words, account.job.closed)
        for told in sorted(account.job.told, key=lambda one: one.at)
        if told.kind not in {EntryKind.SEAL, EntryKind.ALERT, EntryKind.CORRECTION}
    ]
    yield table(("Entry", "When", "What", "Who"), (7, 16, 64, 13), rows)
    lots = list(_lots(account, words))
    if lots:
        yield table(("Lots used", "Maker and product", "Lot", "Expires"), (14, 44, 20, 22), lots)
    for added in ("hardener", "peroxide"):
        batches = [told for told in account.job.of(EntryKind.BATCH) if _added(told.payload) == added]
        if batches:
            name = added.capitalize()
            head = ("Batch", "Mixed", "Resin lot", f"{name} lot", "Resin", name, "Ratio", "Pot at")
            widths = (7, 14, 12, 13, 9, 10, 26, 9)
            yield table(head, widths, [_batch_row(told, words, added) for told in batches])


def _lots(account: Account, words: RecordWords) -> Iterator[tuple[str, ...]]:
    """Each lot once, with maker and expiry; whether it had expired when it was mixed."""
    seen: set[tuple[str, ...]] = set()
    for told in account.job.of(EntryKind.BATCH):
        for added in ("resin", "hardener", "peroxide"):
            product, lot, expiry = (
                of(told.payload, f"{added}_{key}") for key in ("product", "lot", "expiry")
            )
            if (added, product, lot, expiry) in seen or {product, expiry} == {NOT_GIVEN}:
                continue
            seen.add((added, product, lot, expiry))
            mixed = words.reader.local(round(told.at)).date().isoformat()
            late = expiry != NOT_GIVEN and expiry < mixed
            yield added.capitalize(), product, lot, f"{expiry}, EXPIRED when mixed" if late else expiry
    scales = dict.fromkeys(of(told.payload, "weighed_on") for told in account.job.of(EntryKind.BATCH))
    yield from (("Scale", scale, NOT_GIVEN, NOT_GIVEN) for scale in scales if scale != NOT_GIVEN)
    for told in account.job.of(EntryKind.LAYER):
        lot = of(told.payload, "cloth_lot")
        if lot != NOT_GIVEN and ("cloth", lot) not in seen:
            seen.add(("cloth", lot))
            yield "Cloth", of(told.payload, "cloth"), lot, NOT_GIVEN


def _told_row(told: CorrectedEntry, words: RecordWords, closed: CorrectedEntry | None) -> tuple[str, ...]:
    marks = ["withdrawn"] if told.payload.get("withdrawn") else []
    if told.payload.get("given_afterwards") or told.entry.recorded - told.entry.at > 5 * MINUTE:
        marks.append(f"told {words.moment(told.entry.recorded)}")
    if closed is not None and told.number > closed.number:
        marks.append("after the job was closed")
    if told.corrections:
        marks.append("corrected by " + ", ".join(f"entry {one.number}" for one in told.corrections))
    text = _sentence(told.kind, told.payload, words)
    what = f"{text} ({'; '.join(marks)})" if marks else text
    return str(told.number), words.moment(told.at), what, shown(told.payload.get("by") or "–", 40)


def _sentence(kind: str, payload: Mapping[str, Any], words: RecordWords) -> str:
    """An entry in one sentence; a kind that is not known is shown as it is."""
    said = {
        EntryKind.JOB_OPEN: lambda: f"Job opened: {of(payload, 'title')}",
        EntryKind.JOB_CLOSE: lambda: f"Job closed. {of(payload, 'outcome')}",
        EntryKind.JOB_REOPEN: lambda: f"Job opened again. {of(payload, 'reason')}",
        EntryKind.BATCH: lambda: (
            f"Batch {of(payload, 'batch')} mixed: {words.mass(payload.get('resin_mass'))} resin, "
            f"{words.mass(payload.get(f'{_added(payload)}_mass'))} {_added(payload)}"
        ),
        EntryKind.LAYER: lambda: _layer_sentence(payload, words),
        EntryKind.LAYER_CLOSED: lambda: f"Layer {of(payload, 'layer')} ended",
        EntryKind.POT_EMPTY: lambda: (
            f"Pot empty, {'batch' if payload.get('batch') else 'layer'} "
            f"{of(payload, 'batch' if payload.get('batch') else 'layer')}"
        ),
        EntryKind.PEEL_PLY: lambda: f"Peel ply {of(payload, 'action')}, layer {of(payload, 'layer')}",
        EntryKind.WASH: lambda: f"{spoken(of(payload, 'action')).capitalize()}, layer {of(payload, 'layer')}",
        EntryKind.PRIMER: lambda: _primer_sentence(payload),
        EntryKind.TAB_TEST: lambda: (
            f"Bond test {of(payload, 'test')} laid out: {of(payload, 'pull')} on {of(payload, 'face')}, "
            f"{len(payload.get('order', ()))} tabs, lots {of(payload, 'lot')}"
        ),
        EntryKind.TAB: lambda: (
            f"Bond test {of(payload, 'test')}, tab {of(payload, 'tab')}, {of(payload, 'way')}: "
            f"broke at {of(payload, 'load')} {of(payload, 'unit')} in the {of(payload, 'broke')}"
        ),
        EntryKind.OBSERVATION: lambda: f"Observed on layer {of(payload, 'layer')}: {of(payload, 'observed')}",
        EntryKind.QUALITY: lambda: _quality_sentence(payload, words),
        EntryKind.NOTE: lambda: f"Note: {of(payload, 'text')}",
        EntryKind.DEVIATION: lambda: (
            f"Deviation: {of(payload, 'deviation')}. Decided: {of(payload, 'decision')}"
        ),
        EntryKind.SIGN_OFF: lambda: f"Signed as {of(payload, 'role')}",
        EntryKind.PHOTO: lambda: f"Photograph {of(payload, 'file')}",
    }.get(kind)  # type: ignore[call-overload]
    if said is None:
        return shown(f"{kind}: {dict(payload)}", 300)
    text: str = said()
    more = "" if kind == EntryKind.NOTE else of(payload, "text")
    return f"{text}. {more}" if more not in {"", "–"} else text


def _primer_sentence(payload: Mapping[str, Any]) -> str:
    parts = [f"Timber primer {of(payload, 'primer')}"]
    parts += [shown(payload[key], 80) for key in ("product", "part") if payload.get(key)]
    parts += [f"lot {of(payload, 'product_lot')}"] if payload.get("product_lot") else []
    return f"{', '.join(parts)}; tacky after {duration(float(payload['tacky_after']))}"


def _layer_sentence(payload: Mapping[str, Any], words: RecordWords) -> str:
    layers = payload.get("layers")
    parts = [f"Layer {of(payload, 'layer')} begun"]
    parts += [shown(payload["part"], 80)] if payload.get("part") else []
    if layers:
        parts.append(f"{_layers(layers)} of {shown(payload.get('cloth') or 'cloth', 60)}")
    if payload.get("orientation"):
        parts.append(of(payload, "orientation"))
    share = payload.get("fibre_share")
    if isinstance(share, int | float):
        parts.append(f"{share * 100:.0f} % fibre by mass")
    if payload.get("batches"):
        parts.append("batches " + shown(", ".join(map(str, payload["batches"])), 120))
    elif payload.get("lot"):
        parts.append(f"resin lot {of(payload, 'lot')}")
    if payload.get("batch_mass"):
        parts.append(f"{words.mass(payload['batch_mass'])} in one pot")
    parts.append(of(payload, "resin"))
    if payload.get("probe"):
        parts.append(f"probe {of(payload, 'probe')} in it")
    if payload.get("face"):
        parts.append(f"on {of(payload, 'face').replace('-', ' ')}{_moisture(payload, words)}")
    dose = dosed(payload.get("peroxide_percent"), assumed=payload.get("peroxide_assumed"))
    parts += [dose] if dose else []
    text = ", ".join(parts)
    return f"{text}. {shown(payload['note'])}" if payload.get("note") else text


def _moisture(payload: Mapping[str, Any], words: RecordWords) -> str:
    """The meter's word of the face below, or that nobody measured; a face of this job needs none."""
    if payload.get("face_own"):
        return " (its own layer before)"
    moisture = payload.get("moisture")
    told = f"{100 * moisture:.1f} %" if isinstance(moisture, int | float) else "not measured"
    return f" (moisture by meter: {told})"


def _layers(number: object) -> str:
    return counted(number, "layer") if isinstance(number, int) else f"{shown(number, 10)} layers"


def _quality_sentence(payload: Mapping[str, Any], words: RecordWords) -> str:
    value = payload.get("value")
    number = f"{value:.4g}" if isinstance(value, int | float) else shown(value, 20)
    found = "" if value is None else f": {number} {shown(payload.get('unit') or '', 20)}".rstrip()
    readings = payload.get("readings")
    if isinstance(readings, list) and readings and all(isinstance(one, int | float) for one in readings):
        found += f", mean of {len(readings)} ({min(readings):g} to {max(readings):g})"
    if payload.get("required") is not None:
        found += f", {of(payload, 'required')} required"
    if payload.get("instrument"):
        found += f", by {of(payload, 'instrument')}"
    load, arm = payload.get("load"), payload.get("arm")
    by_lever = payload.get("check") == "peel coupon"
    if by_lever and isinstance(load, int | float) and isinstance(arm, int | float):
        found += f" ({words.mass(load)} on {1000 * arm:g} mm)"
    passed = {True: ", passed", False: ", not passed"}.get(payload.get("passed"), "")  # type: ignore[arg-type]
    return f"Check of layer {of(payload, 'layer')}, {of(payload, 'check')}{found}{passed}"


def _added(payload: Mapping[str, Any]) -> str:
    """What this batch's resin was mixed with: hardener or peroxide."""
    return "hardener" if payload.get("peroxide_mass") is None else "peroxide"


def _batch_row(told: CorrectedEntry, words: RecordWords, added: str) -> tuple[str, ...]:
    payload = told.payload
    ratio = payload.get("ratio")
    text = "–" if not isinstance(ratio, Mapping) else shown(ratio.get("text") or "–", 80)
    if isinstance(ratio, Mapping) and ratio.get("within") is False:
        text = f"OUT OF TOLERANCE: {text}"
    pot = payload.get("pot_temperature")
    return (
        of(payload, "batch"),
        words.moment(told.at),
        of(payload, "resin_lot"),
        of(payload, f"{added}_lot"),
        words.mass(payload.get("resin_mass")),
        words.mass(payload.get(f"{added}_mass")),
        text,
        words.temperature(pot),
    )


def photographs(account: Account, words: RecordWords) -> Iterator[str | Picture]:
    """Thumbnails, with the digest of each photograph."""
    for number, told in enumerate(account.job.of(EntryKind.PHOTO), 1):
        name = shown(told.payload.get("file") or "?", 60)
        said = shown(told.payload.get("text") or "", 200).rstrip(". ")
        caption = f"{name}, {words.moment(told.at)}. " + (f"{said}. " if said else "")
        caption += f"SHA-256 {shown(told.payload.get('sha256') or 'not given', 64)}"
        content = _thumbnail(told.payload.get("thumbnail"))
        if content is None:
            yield f"{caption} (its thumbnail cannot be read)"
        else:
            yield Picture(f"photo-{number}.jpg", content, f"Photograph {name}", caption)


def _thumbnail(text: object) -> bytes | None:
    """A thumbnail packed anew, so that only a picture can reach a page; none if it is not one."""
    from PIL import Image

    try:
        content = base64.b64decode(str(text or ""), validate=True)
        with Image.open(io.BytesIO(content), formats=("JPEG",)) as found:
            if found.size[0] * found.size[1] > LARGEST_PIXELS:
                return None
            found.thumbnail(LARGEST_THUMBNAIL)
            plain, packed = found.convert("RGB"), io.BytesIO()
            bare = Image.frombytes("RGB", plain.size, plain.tobytes())  # no comment, no place, no profile
            bare.save(packed, "JPEG", quality=80)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    return packed.getvalue()
