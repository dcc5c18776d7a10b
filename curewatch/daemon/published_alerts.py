"""The document of standing alerts and running layers, as it is published (see ``published``)."""

from collections.abc import Iterable, Mapping
from typing import Any

from curewatch.advice.alert.alerts import ActiveAlert, Key, active_as_plain
from curewatch.advice.alert.progress import Progress
from curewatch.clock import iso_utc
from curewatch.daemon.published import VERSION
from curewatch.wording import Wording


def alerts_document(
    now: float,
    active: Mapping[Key, ActiveAlert],
    running: Iterable[Progress],
    words: Wording | None = None,
) -> dict[str, Any]:
    """The alerts that stand, worded by ``words``, and the layers in progress, each with its moments."""
    return {
        "version": VERSION,
        "at": iso_utc(now),
        "alerts": [active_as_plain(alert, now, words) for alert in active.values()],
        "layers": [
            {
                "layer": progress.layer.layer,
                "resin": progress.resin.name,
                "started": iso_utc(progress.layer.started),
                "stage": progress.stage,
                "conversion": round(progress.conversion, 3),
                "moments": {
                    moment.name: {
                        "early": _stamp(moment.early),
                        "likely": _stamp(moment.likely),
                        "late": _stamp(moment.late),
                    }
                    for moment in progress.timeline
                },
            }
            for progress in running
        ],
    }


def _stamp(utc: float | None) -> str | None:
    return None if utc is None else iso_utc(utc)
