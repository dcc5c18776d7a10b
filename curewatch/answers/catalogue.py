"""Every document by its name, and its schema.

A command's answer has the document of its name, blanks as hyphens (``resin show`` -> ``resin-show``); some share
one. What is published on MQTT is named ``mqtt-...``. No key comes that its schema does not name.
"""

import json
from typing import Any, NamedTuple

import msgspec

from curewatch.answers.air import AirDocument
from curewatch.answers.alerts import AlertsDocument
from curewatch.answers.choose import ChooseDocument, TabsDocument
from curewatch.answers.cure import CureDocument
from curewatch.answers.doctor import DoctorDocument
from curewatch.answers.event import EventDocument
from curewatch.answers.explain import TermDocument, TermListDocument
from curewatch.answers.forecast import ForecastDocument
from curewatch.answers.heads import HeadsDocument
from curewatch.answers.job import EntryDocument, JobCloseDocument, JobListDocument, JobShowDocument
from curewatch.answers.layer import LayerDocument
from curewatch.answers.layup import LayupDocument
from curewatch.answers.logbook import (
    BrokenDocument,
    LogbookBackupDocument,
    LogbookExportDocument,
    LogbookKeyDocument,
    LogbookPruneDocument,
    LogbookSalvageDocument,
    LogbookSealDocument,
    LogbookStampDocument,
    LogbookStatusDocument,
    LogbookWholeDocument,
)
from curewatch.answers.mqtt import (
    MqttAlertsDocument,
    MqttSealDocument,
    MqttStateDocument,
)
from curewatch.answers.observe import ObserveDocument
from curewatch.answers.page import PageDocument, PageLookDocument, PageRejectedDocument, PageToldDocument
from curewatch.answers.record import RecordShowDocument, RecordWholeDocument, RecordWriteDocument
from curewatch.answers.resin_compare import ResinCompareDocument
from curewatch.answers.resin_fit import ResinFitDocument
from curewatch.answers.resin_list import ResinListDocument
from curewatch.answers.resin_show import ResinShowDocument
from curewatch.answers.sensor import BesideDocument, SaltCheckDocument, SensorListDocument
from curewatch.answers.sheds import ShedsDocument
from curewatch.answers.tonight import TonightDocument
from curewatch.answers.watch import WatchDocument
from curewatch.answers.windows import WindowsDocument
from curewatch.errors import UsageError

VERSION = 1  # of all documents; a changed meaning of a key is a new version


class Document(NamedTuple):
    """One kind of document: its title and the shapes that it may have."""

    title: str
    shapes: tuple[Any, ...]
    description: str = ""


DOCUMENTS = {
    "air": Document("The answer of `curewatch air`", (AirDocument,)),
    "alerts": Document("The answer of `curewatch alerts`", (AlertsDocument,)),
    "choose": Document("The answer of `curewatch choose`", (ChooseDocument,)),
    "cure": Document(
        "The answer of `curewatch cure`; times in seconds from mixing, null where not reached",
        (CureDocument,),
    ),
    "doctor": Document("The answer of `curewatch doctor`", (DoctorDocument,)),
    "event": Document("One line of `curewatch ingest --json` or `curewatch replay --json`", (EventDocument,)),
    "explain": Document(
        "The answer of `curewatch explain TERM`; without a term, the list of names",
        (
            TermListDocument,
            TermDocument,
        ),
    ),
    "forecast": Document("The answer of `curewatch forecast`", (ForecastDocument,)),
    "job-close": Document(
        "The answer of `curewatch job close`: the entry, and the seal code", (JobCloseDocument,)
    ),
    "job-entry": Document(
        "The answer of `curewatch job open`, reopen, batch, pot-empty, peel-ply, wash, primer, quality, note, photo, correct: the entry as stored",
        (EntryDocument,),
    ),
    "job-list": Document("The answer of `curewatch job list`: the open ones first", (JobListDocument,)),
    "job-show": Document("The answer of `curewatch job show`", (JobShowDocument,)),
    "layer": Document("The answer of `curewatch layer`: every running layer", (LayerDocument,)),
    "layup": Document("The answer of `curewatch layup`", (LayupDocument,)),
    "logbook-backup": Document("The answer of `curewatch logbook backup`", (LogbookBackupDocument,)),
    "logbook-export": Document("The answer of `curewatch logbook export`", (LogbookExportDocument,)),
    "logbook-key": Document("The answer of `curewatch logbook key`", (LogbookKeyDocument,)),
    "logbook-prune": Document("The answer of `curewatch logbook prune`", (LogbookPruneDocument,)),
    "logbook-salvage": Document("The answer of `curewatch logbook salvage`", (LogbookSalvageDocument,)),
    "logbook-seal": Document("The answer of `curewatch logbook seal`", (LogbookSealDocument,)),
    "logbook-stamp": Document("The answer of `curewatch logbook stamp`", (LogbookStampDocument,)),
    "logbook-status": Document("The answer of `curewatch logbook status`", (LogbookStatusDocument,)),
    "logbook-verify": Document(
        "The answer of `curewatch logbook verify`",
        (
            LogbookWholeDocument,
            BrokenDocument,
        ),
    ),
    "mqtt-alerts": Document("Published as PREFIX/v1/alerts", (MqttAlertsDocument,)),
    "mqtt-seal": Document(
        "Published as PREFIX/v1/seal: the code of the last seal, of a day or of a closed job",
        (MqttSealDocument,),
    ),
    "mqtt-state": Document("Published as PREFIX/v1/state", (MqttStateDocument,)),
    "page": Document("The answer of `curewatch page`", (PageDocument,)),
    "page-look": Document(
        "What the page's script shows, asked for as `look`; or why there is nothing to show",
        (PageLookDocument, PageRejectedDocument),
    ),
    "page-told": Document(
        "What came of something told on the page; or why nothing was written",
        (PageToldDocument, PageRejectedDocument),
    ),
    "record-show": Document("The answer of `curewatch record show`", (RecordShowDocument,)),
    "record-verify": Document(
        "The answer of `curewatch record verify`",
        (
            RecordWholeDocument,
            BrokenDocument,
        ),
    ),
    "record-write": Document("The answer of `curewatch record write`", (RecordWriteDocument,)),
    "resin-compare": Document(
        "The answer of `curewatch resin compare`; seconds from mixing, as a film", (ResinCompareDocument,)
    ),
    "resin-fit": Document("The answer of `curewatch resin fit SHEET.toml`", (ResinFitDocument,)),
    "resin-list": Document("The answer of `curewatch resin list`", (ResinListDocument,)),
    "resin-show": Document("The answer of `curewatch resin show`", (ResinShowDocument,)),
    "observe": Document("The answer of `curewatch observe`", (ObserveDocument,)),
    "sensor-check": Document(
        "The answer of `curewatch sensor check`",
        (
            SaltCheckDocument,
            BesideDocument,
        ),
    ),
    "sensor-list": Document("The answer of `curewatch sensor list`", (SensorListDocument,)),
    "heads": Document("The answer of `curewatch heads`: the newest seal of every shed", (HeadsDocument,)),
    "sheds": Document("The answer of `curewatch sheds`: a line a shed, worst first", (ShedsDocument,)),
    "tabs": Document("The answer of `curewatch tabs lay`, broke and show", (TabsDocument,)),
    "tonight": Document(
        "The answer of `curewatch tonight`; the same document is published on MQTT as PREFIX/v1/advice",
        (TonightDocument,),
    ),
    "watch": Document("The answer of `curewatch watch --once`: the board's picture", (WatchDocument,)),
    "windows": Document("The answer of `curewatch windows`", (WindowsDocument,)),
}
SHARED = {
    "ingest": "event",
    "replay": "event",
    "demo": "event",
    "mqtt advice": "tonight",
    "fleet sheds": "sheds",
    "fleet page": "page",
    "fleet heads": "heads",
    **{f"tabs {word}": "tabs" for word in ("lay", "broke", "show")},
    **{
        f"job {word}": "job-entry"
        for word in (
            "open",
            "reopen",
            "batch",
            "peel-ply",
            "wash",
            "primer",
            "quality",
            "deviation",
            "sign",
            "note",
            "photo",
            "correct",
            "withdraw",
            "pot-empty",
        )
    },
}


def names() -> list[str]:
    """Every document there is."""
    return sorted(DOCUMENTS)


def schema(command: str) -> str:
    """The schema (JSON Schema, draft 2020-12) of a command's answer, or of a document by its own name.

    Raises
    ------
    UsageError
        Nothing of this name answers in JSON; it lists what does.
    """
    name = SHARED.get(command, command.strip().replace(" ", "-"))
    if name not in DOCUMENTS:
        raise UsageError(f"schema: found {command!r}. Use {', '.join(names())}")
    one = DOCUMENTS[name]
    shapes, parts = msgspec.json.schema_components(one.shapes, ref_template="#/$defs/{name}")
    made: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:curewatch:answer:{name}:{VERSION}",
        "version": VERSION,
        "title": one.title,
    }
    if one.description:
        made["description"] = one.description
    if len(shapes) > 1:
        made["oneOf"] = list(shapes)
    else:
        made |= parts.pop(shapes[0]["$ref"].rpartition("/")[2]) if "$ref" in shapes[0] else shapes[0]
        made["title"] = one.title
    return json.dumps(made | {"$defs": parts}, indent=1, ensure_ascii=False) + "\n"
