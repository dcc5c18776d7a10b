"""How fast bytes become readings, in memory: ``python -m tests.benchmarks.bench_wire``.

Floors: 200,000 lines a second of our form; about 8 us a JSON message, parsing and plausibility together.
"""

import json
import time
from collections.abc import Callable

from curewatch.clock import Instant
from curewatch.readings import Reading
from curewatch.wire import LineFramer, Parser, lines
from curewatch.wire.fields import Words

COUNT = 100_000
REPEATS = 5
START = 1_780_000_000
FIELDS = {"temperature_c": "temperature", "humidity_percent": "humidity"}
BENCH = [
    lines.encode("bench", 15 + 0.01 * (i % 50), 81.4, sequence=i, at=START + 60 * i) for i in range(COUNT)
]
PAIRS = [b"T=%.2f RH=81.4 n=%d" % (15 + 0.01 * (i % 50), i) for i in range(COUNT)]
CELLS = [b"%.2f,81.4" % (15 + 0.01 * (i % 50)) for i in range(COUNT)]
OBJECTS = [
    json.dumps({"temperature": 15 + 0.01 * (i % 50), "humidity": 81.4, "time": START + 60 * i}).encode()
    for i in range(COUNT)
]
PACKS = [
    b'[{"bn":"bench:","bt":%d,"n":"temperature","u":"Cel","v":%.2f},{"n":"humidity","u":"%%RH","v":81.4}]'
    % (START + 60 * i, 15 + 0.01 * (i % 50))
    for i in range(COUNT)
]
ARRIVALS = [Instant(START + 60.0 * i + 0.5, 60.0 * i) for i in range(COUNT)]


def frame() -> int:
    framer, data = LineFramer(from_start=True), b"\n".join(BENCH) + b"\n"
    return sum(len(framer.feed(data[i : i + 4096])) for i in range(0, len(data), 4096))


def read_lines() -> int:
    at = ARRIVALS[-1]
    return sum(isinstance(lines.parse(line, at), Reading) for line in BENCH)


def through_the_door(messages: list[bytes], form: str = "auto") -> int:
    parser, found = Parser(), 0
    for message, at in zip(messages, ARRIVALS, strict=True):
        (event,) = parser.line(message, at, "port", "bench", form=form)
        found += isinstance(event, Reading)
    return found


def payloads(messages: list[bytes], fields: dict[str, str] | None = None) -> int:
    words = Words(fields or {})
    parser, found = Parser(), 0
    for message, at in zip(messages, ARRIVALS, strict=True):
        (event,) = parser.payload(message, at, "broker", "bench", words)
        found += isinstance(event, Reading)
    return found


WORK: dict[str, Callable[[], int]] = {
    "framing, chunks of 4 KiB": frame,
    "our form, parse": read_lines,
    "our form, whole door": lambda: through_the_door(BENCH),
    "key=value, whole door": lambda: through_the_door(PAIRS),
    "CSV, whole door": lambda: through_the_door(CELLS, "csv"),
    "JSON object, whole door": lambda: payloads(OBJECTS),
    "JSON object with a mapping": lambda: payloads(OBJECTS, FIELDS),
    "SenML pack of two": lambda: payloads(PACKS),
}


def main() -> None:
    """Print a table: the best of five runs of each, in processor time."""
    print(f"{'work':32} {'us each':>9} {'a second':>12}")
    for name, work in WORK.items():
        best = float("inf")
        for _ in range(REPEATS):
            begun = time.process_time()
            if work() != COUNT:
                raise SystemExit(f"{name}: not every message became a reading")
            best = min(best, time.process_time() - begun)
        print(f"{name:32} {best / COUNT * 1e6:9.2f} {COUNT / best:12,.0f}")


if __name__ == "__main__":
    main()
