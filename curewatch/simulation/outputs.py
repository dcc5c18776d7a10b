"""Where a simulated shed speaks: a port, a broker, or a file. Each takes reports and knows no time."""

import json
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Protocol, Self

from curewatch.clock import iso_utc
from curewatch.errors import SourceLost, UsageError, reason
from curewatch.simulation.faults import CLOCKS, FaultKind
from curewatch.simulation.port import SimulatedPort
from curewatch.simulation.reports import Report

FORMS = ("line", "senml", "json")
NUMBERS = "numbers"  # a form of its own kind: two messages a report, each a bare number on its topic
PATIENCE = 5.0  # s a broker may take to answer


def _line(report: Report) -> bytes:
    return report.line


def _senml(report: Report) -> bytes:
    records: list[dict[str, Any]] = [
        {
            "bn": f"{report.sensor}:",
            "bt": report.at,
            "n": "temperature",
            "u": "Cel",
            "v": report.said.temperature_c,
        }
    ]
    if report.said.humidity_percent is not None:
        records.append({"n": "humidity", "u": "%RH", "v": report.said.humidity_percent})
    return json.dumps(records, separators=(",", ":")).encode("ascii")


def _json(report: Report) -> bytes:
    said: dict[str, Any] = {"time": iso_utc(report.at), "temperature": report.said.temperature_c}
    if report.said.humidity_percent is not None:
        said["humidity"] = report.said.humidity_percent
    return json.dumps(said, separators=(",", ":")).encode("ascii")


_FORMS: dict[str, Callable[[Report], bytes]] = {"line": _line, "senml": _senml, "json": _json}


def payload(report: Report, form: str) -> bytes:
    """A report in one of the forms; a fault of the cable shows in every one of them.

    Raises
    ------
    UsageError
        There is no such form.
    """
    if form not in _FORMS:
        raise UsageError(f"form: found {form!r}. Use {', '.join((*FORMS, NUMBERS))}")
    broken = {FaultKind.NOISE, FaultKind.CUT, FaultKind.FAILED, *CLOCKS} & set(report.faults)
    return report.line if broken else _FORMS[form](report)


def numbers(report: Report) -> list[tuple[str, bytes]]:
    """A report as bare numbers, each under the word its topic ends in; a chip that failed sends ``nan``."""
    failed = FaultKind.FAILED in report.faults
    said = {"temperature": report.said.temperature_c, "humidity": report.said.humidity_percent}
    return [
        (word, b"nan" if failed else f"{value:.2f}".encode("ascii"))
        for word, value in said.items()
        if value is not None
    ]


class Output(Protocol):
    """Takes reports, one after the other; used in a ``with`` block."""

    def send(self, report: Report) -> None: ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class PortOutput:
    """Prints each report on a simulated port, and pulls the cable while a fault says so."""

    def __init__(self, port: SimulatedPort) -> None:
        self.port = port

    def send(self, report: Report) -> None:
        if FaultKind.UNPLUG in report.faults:
            self.port.unplug()
            return
        self.port.plug()
        self.port.write(report.line + b"\n")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.port.close()


class FileOutput:
    """Writes each report as a line, after a header of comments."""

    def __init__(self, stream: BinaryIO, header: str = "") -> None:
        self._stream = stream
        for line in header.splitlines():
            stream.write(f"# {line}".rstrip().encode("utf-8") + b"\n")

    def send(self, report: Report) -> None:
        if report.line:
            self._stream.write(report.line + b"\n")
            self._stream.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.flush()


class BrokerOutput:
    """Publishes each report, at quality of service 1, under a topic of its sensor."""

    def __init__(self, host: str, port: int, topic: str, form: str) -> None:
        if "{sensor}" not in topic or "+" in topic or "#" in topic:
            raise UsageError(f"topic: found {topic!r}. Use a topic with {{sensor}} in it and no + or #")
        if form not in {*FORMS, NUMBERS}:
            raise UsageError(f"form: found {form!r}. Use {', '.join((*FORMS, NUMBERS))}")
        self._topic, self._form, self._place = topic, form, f"{host}:{port}"
        from paho.mqtt.client import Client, MQTTv311  # what every yard's broker speaks; no more is needed
        from paho.mqtt.enums import CallbackAPIVersion

        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv311)
        try:
            self._client.connect(host, port, keepalive=30)
        except OSError as trouble:
            raise SourceLost(
                f"no broker at {self._place} ({trouble}); start one, e.g. mosquitto"
            ) from trouble
        self._client.loop_start()

    def send(self, report: Report) -> None:
        topic = self._topic.format(sensor=report.sensor)
        if report.line and self._form == NUMBERS:
            for word, number in numbers(report):
                self._publish(f"{topic}/{word}", number)
        elif report.line:
            self._publish(topic, payload(report, self._form))

    def _publish(self, topic: str, told: bytes) -> None:
        sent = self._client.publish(topic, told, qos=1)
        try:
            sent.wait_for_publish(PATIENCE)
            done = sent.is_published()
        except (RuntimeError, ValueError) as trouble:
            raise SourceLost(f"broker {self._place}: {trouble}") from trouble
        if not done:
            raise SourceLost(f"broker {self._place} did not confirm within {PATIENCE:.0f} s")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def file_output(path: Path, header: str) -> tuple[FileOutput, BinaryIO]:
    """A file to write to, and the stream to close after. Raises UsageError when it cannot be opened."""
    try:
        stream = path.open("wb")
    except OSError as trouble:
        raise UsageError(f"{path}: {reason(trouble)}; give a file that can be written") from trouble
    return FileOutput(stream, header), stream
