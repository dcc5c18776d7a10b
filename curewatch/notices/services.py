"""Sending to an address through the library apprise: 60 MB, so only a short-lived process imports it.

What a service answers may repeat parts of an address. So nothing of its words is shown: only whether it took
the notice, and the status that it gave.
"""

import re
from typing import Any

from curewatch.extras import require

STATUS = re.compile(r"error=(\d{3})\b")


def library() -> Any:
    """The library.

    Raises
    ------
    UsageError
        It is not installed; the message has the line that installs it.
    """
    return require("apprise", "notify", "notices")


def send(address: str, text: str, body: str) -> str:
    """Send it; what went wrong, empty if the service took it."""
    apprise = library()
    asset = apprise.AppriseAsset(app_id="Curewatch", storage_mode="memory")
    service = apprise.Apprise(asset=asset)
    if not service.add(address):
        return "its address is of no service that apprise has. Use one that its documentation lists"
    said: list[str] = []
    took = service.notify(
        body=body or text,
        title=text,
        body_format="text",
        log_callback=lambda entry, service: said.append(str(entry.message)),
    )
    if took:
        return ""
    status = next((found[1] for line in said if (found := STATUS.search(line))), None)
    return "the service did not take it: " + (f"status {status}" if status else "no answer, or a refusal")
