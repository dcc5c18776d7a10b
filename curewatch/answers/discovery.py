"""One document that tells an open home automation which values there are.

The form is that of its MQTT discovery for a whole device (public documentation of the project; the key names
are from memory). It is off unless ``discovery`` names the topic that the automation listens to.
"""

from typing import Any

from curewatch import __version__
from curewatch.answers.mqtt import OFFLINE, ONLINE, UNKNOWN, out

STALE_AFTER = 3600  # a value that is not renewed within this is unknown there, too [s]
COMPONENTS = {  # value -> what it is to the automation
    "dew_point_c": {"name": "Dew point", "device_class": "temperature", "unit_of_measurement": "°C"},
    "margin_k": {"name": "Surface above dew point", "unit_of_measurement": "K"},
    "verdict": {"name": "Verdict"},
    "chance": {"name": "Chance that it sets well"},
}


def discovery_topic(root: str, client_id: str, label: str = "") -> str:
    """Where the document stands, under the topic that the automation listens to."""
    return f"{root}/device/{_device(client_id, label)}/config"


def _device(client_id: str, label: str) -> str:
    return f"curewatch-{client_id}-{label}" if label else f"curewatch-{client_id}"


def discovery_document(prefix: str, client_id: str, shed: str, label: str = "") -> dict[str, Any]:
    """The document of a daemon that publishes under this prefix; ``label``: which one of several sheds."""
    device, below = _device(client_id, label), f"{label}/" if label else ""
    known = {
        "platform": "sensor",
        "availability_topic": out(prefix, "availability"),
        "payload_available": ONLINE,
        "payload_not_available": OFFLINE,
        "expire_after": STALE_AFTER,
        "value_template": f"{{{{ None if value == '{UNKNOWN}' else value }}}}",
    }
    return {
        "device": {"identifiers": [device], "name": shed},
        "origin": {"name": "curewatch", "sw_version": __version__},
        "qos": 1,
        "components": {
            name: {
                **known,
                **told,
                "unique_id": f"{device}-{name}",
                "state_topic": out(prefix, f"{below}values/{name}"),
            }
            for name, told in COMPONENTS.items()
        },
    }
