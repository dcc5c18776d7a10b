"""Envelopes that gateways, hubs and network servers put around a device's values.

Each form here has its own place for the values, the time and the device's name. What else stands in it, such
as the gateway's own clock, is left out. Names come best first; the configuration may know one of them.
"""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

Object = Mapping[str, Any]


class Contents(NamedTuple):
    """What an envelope holds."""

    fields: dict[str, Any]
    names: tuple[str, ...]  # of the device, the best first
    many: bool = False  # one topic carries all devices: it names none of them


def opened(found: Object) -> Contents | None:
    """What is in an envelope; None where the object is none that is known."""
    if MARKS.isdisjoint(found):
        return None
    return next((contents for form in _FORMS if (contents := form(found)) is not None), None)


def _network_server(found: Object) -> Contents | None:
    """LoRaWAN: ``{"end_device_ids": …, "uplink_message": {"decoded_payload": …, "received_at": …}}``."""
    identity, uplink = found.get("end_device_ids"), found.get("uplink_message")
    if type(identity) is not dict or type(uplink) is not dict:
        return None
    time = uplink.get("received_at") or found.get("received_at")
    names = _texts(identity.get("device_id"), identity.get("dev_eui"))
    return Contents(_stamped(uplink.get("decoded_payload"), time), names)


def _event_server(found: Object) -> Contents | None:
    """LoRaWAN: ``{"deviceInfo": …, "time": …, "object": …}``."""
    identity = found.get("deviceInfo")
    if type(identity) is not dict or "object" not in found:
        return None
    names = _texts(identity.get("devEui"), identity.get("deviceName"))
    return Contents(_stamped(found["object"], found.get("time")), names)


def _hub(found: Object) -> Contents | None:
    """A hub that counts its devices: ``{"idx": …, "dtype": …, "svalue1": …}``."""
    kind = found.get("dtype")
    if "idx" not in found or type(kind) is not str:
        return None
    told, fields = kind.lower(), dict[str, Any]()
    if "temp" in told:
        fields["temperature"] = found.get("svalue1")
    if "humidity" in told:
        fields["humidity"] = found.get("svalue2") if "temp" in told else found.get("nvalue")
    return Contents(fields, _texts(f"idx/{found['idx']}", found.get("name")), many=True)


def _receiver(found: Object) -> Contents | None:
    """A radio receiver: ``{"time": …, "model": …, "id": …, "channel": …, "temperature_C": …}``."""
    model, number, channel = (found.get(word) for word in ("model", "id", "channel"))
    if type(model) is not str or (type(number) is not int and type(channel) not in (int, str)):
        return None
    name = "/".join(str(part) for part in (model, channel, number) if type(part) in (int, str))
    return Contents({word: value for word, value in found.items() if word not in _NAMES}, (name,), many=True)


def _notice(found: Object) -> Contents | None:
    """RPC: ``{"src": …, "method": …, "params": {"ts": …, "temperature:0": {"tC": …}}}``."""
    told = found.get("params")
    if type(told) is not dict or "method" not in found:
        return None
    fields = {key: value for key, value in told.items() if key.partition(":")[0] in _COMPONENTS}
    return Contents(fields, _texts(found.get("src")))


def _bridge(found: Object) -> Contents | None:
    """What a bridge hears by Zigbee: ``{"ZbReceived": {"0x3A47": {"Device": "0x3A47", "Temperature": …}}}``.

    The key is the device's address, or the name that it was given there. One message is of one device.
    """
    if "ZbReceived" not in found:
        return None
    heard = found["ZbReceived"]
    key, told = next(iter(heard.items())) if type(heard) is dict and len(heard) == 1 else ("", None)
    if type(told) is not dict:
        return Contents({}, ())
    beside = {word: value for word, value in found.items() if word != "ZbReceived"}
    return Contents(beside | told, _texts(told.get("Name"), key, told.get("Device")), many=True)


_FORMS: tuple[Callable[[Object], Contents | None], ...] = (
    _network_server,
    _event_server,
    _hub,
    _receiver,
    _notice,
    _bridge,
)
MARKS = frozenset(("end_device_ids", "deviceInfo", "idx", "model", "params", "ZbReceived"))
_NAMES = frozenset(("sensor", "name", "id"))
_COMPONENTS = frozenset(("ts", "temperature", "humidity"))


def _texts(*names: object) -> tuple[str, ...]:
    return tuple(name for name in names if type(name) is str and name)


def _stamped(fields: object, time: object) -> dict[str, Any]:
    """Decoded values with the server's time; nothing where the server could not decode them."""
    return {"time": time, **fields} if type(fields) is dict else {}
