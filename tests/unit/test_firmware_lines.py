"""The line form's vectors, through the reader and through every encoder: ours, MicroPython's, and C++."""

import csv
import os
import platform
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire import Parser, lines

NOTES = Path(__file__).parents[2] / "firmware_notes"
NOW = Instant(1_792_250_000.0, 0.0)


def vectors() -> list[dict[str, str]]:
    text = (NOTES / "line_vectors.csv").read_text(encoding="ascii").splitlines()
    return list(csv.DictReader(row for row in text if not row.startswith("#")))


def fields() -> str:
    return "".join(",".join(list(row.values())[:-1]) + "\n" for row in vectors())


def expected() -> list[str]:
    return [row["line"] for row in vectors()]


def value(row: dict[str, str], key: str) -> float | None:
    return float(row[key]) if row[key] else None


def whole(row: dict[str, str], key: str) -> int | None:
    return int(row[key]) if row[key] else None


def test_the_reader_reads_each_vector():
    """Each line of the vectors gives its fields back."""
    for row in vectors():
        reading = lines.parse(row["line"].encode(), NOW)
        assert isinstance(reading, Reading), row
        assert reading.sensor == row["sensor"]
        t, h = value(row, "t"), value(row, "h")
        assert reading.temperature == (None if t is None else pytest.approx(t + 273.15, abs=0.00501))
        assert reading.relative_humidity == (None if h is None else pytest.approx(h / 100, abs=0.0000501))
        assert reading.sequence == whole(row, "n")
        at, age = whole(row, "at"), whole(row, "age")
        assert reading.time == (at if at is not None else NOW.utc - (age or 0))


def test_the_reader_refuses_what_must_be_refused():
    """Each line that must be refused is, for the reason that the notes give."""
    rows = (NOTES / "rejected_lines.txt").read_text(encoding="ascii").splitlines()
    checked = 0
    for row in rows:
        if not row.startswith("#"):
            reason, line = row.split("\t")
            event = lines.parse(line.encode(), NOW)
            assert isinstance(event, Rejected), row
            assert event.reason == reason
            checked += 1
    assert checked >= 10


def test_our_own_encoder_makes_each_vector():
    """What the simulated shed prints is what a board would."""
    made = [
        lines.encode(
            row["sensor"],
            value(row, "t"),
            value(row, "h"),
            carbon_dioxide_ppm=value(row, "c"),
            battery_percent=value(row, "b"),
            sequence=whole(row, "n"),
            age=value(row, "age"),
            at=value(row, "at"),
        ).decode()
        for row in vectors()
    ]
    assert made == expected()


def compiled(source: Path, folder: Path) -> Path:
    """The program that this source makes, with every warning an error."""
    compiler = shutil.which("g++") or shutil.which("c++")
    if compiler is None:
        if os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS") == "1":
            pytest.fail("g++ is missing: install it, the C++ code is not checked without")
        pytest.skip("no C++ compiler here; .ci/run installs one and insists")
    options = ["-std=c++11", "-Wall", "-Wextra", "-Werror", "-pedantic", f"-I{folder}"]
    subprocess.run([compiler, *options, "-o", folder / "program", source], check=True)
    return folder / "program"


# As much of a board as board_example.ino asks for: a chip on the bus, and time that passes at once.
SIMULATED_BOARD = """
#include <cstddef>
#include <cstdint>
#include <cstdio>

static unsigned long now_ms = 0;
static int reads = 0;
inline unsigned long millis() { return now_ms; }
inline void delay(unsigned long ms) { now_ms += ms; }

struct SimulatedSerial {
    void begin(long) {}
    void println(const char *text) { std::puts(text); }
} Serial;

struct SimulatedWire {
    int place;
    uint8_t command;
    void begin() { place = 0; command = 0; }
    void beginTransmission(uint8_t) {}
    void write(uint8_t value) { command = value; }
    uint8_t endTransmission() { return command == 0xFD ? 0 : 4; }
    uint8_t requestFrom(uint8_t, uint8_t count) { place = 0; ++reads; return reads == 2 ? 0 : count; }
    int read() {  // 20.00 degC and 60 % by the data sheet; the third answer has a byte changed on the way
        static const uint8_t said[6] = {0x5F, 0x15, CRC_T, 0x87, 0x2A, CRC_H};
        return said[place++] ^ (reads == 3 ? 0x10 : 0);
    }
} Wire;
"""

RUNS_THE_BOARD = """
#include "BOARD"
int main() {
    setup();
    for (; millis() < 4 * 60000UL; delay(500)) loop();
}
"""


def chip_checksum(data: bytes) -> int:
    """CRC-8 with polynomial 31, start FF; BE EF gives 92 (data sheet of the SHT4x class)."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = ((crc << 1) ^ 0x31 if crc & 0x80 else crc << 1) & 0xFF
    return crc


@pytest.mark.long
def test_the_cpp_board_reads_a_chip_and_prints_lines(tmp_path):
    """The whole example runs against a simulated bus: a silent chip and a changed byte are said, not sent."""
    assert chip_checksum(b"\xbe\xef") == 0x92
    sums = {"CRC_T": chip_checksum(b"\x5f\x15"), "CRC_H": chip_checksum(b"\x87\x2a")}
    header = SIMULATED_BOARD
    for name, crc in sums.items():
        header = header.replace(name, hex(crc))
    (tmp_path / "Wire.h").write_text(header, encoding="ascii")
    main = tmp_path / "main.cpp"
    main.write_text(
        RUNS_THE_BOARD.replace("BOARD", str(NOTES / "cpp" / "board_example.ino")), encoding="ascii"
    )
    said = subprocess.run([compiled(main, tmp_path)], capture_output=True, text=True, check=True).stdout
    events = Parser().corpus(said.encode(), NOW, "usb")
    assert [event.sequence for event in events] == [0, 3]
    assert events[0].temperature == pytest.approx(293.15, abs=0.01)
    assert events[0].relative_humidity == pytest.approx(0.60, abs=0.0005)
    assert said.count("# bench: the chip does not answer") == 2


@pytest.mark.long
def test_the_cpp_encoder_makes_each_vector(tmp_path):
    """The header compiles without a warning and prints the vectors' lines."""
    program = compiled(NOTES / "cpp" / "encode_vectors.cpp", tmp_path)
    made = subprocess.run([program], input=fields(), capture_output=True, text=True, check=True).stdout
    assert made.splitlines() == expected()


MICROPYTHON_ENCODES = """
import sys
sys.path.insert(0, sys.argv[1])
from line_form import encode
for row in sys.stdin.read().split("\\n"):
    if row:
        cells = [cell if cell else None for cell in row.split(",")]
        t, h, c, b = [None if cell is None else float(cell) for cell in cells[1:5]]
        n, age, at = [None if cell is None else int(cell) for cell in cells[5:8]]
        print(encode(cells[0], t, h, c, b, n, age, at).decode())
print(encode("bench", float("nan"), None, n=1))
print(encode("bench", float("nan"), 50.0, n=1).decode())
"""


def test_the_micropython_encoder_makes_each_vector(tmp_path):
    """The node's own code, run by real MicroPython, prints the vectors' lines; nan is left out."""
    if (sys.platform, platform.machine()) != ("linux", "x86_64"):
        pytest.skip("MicroPython's unix build is packaged for Linux on x86_64")
    script = tmp_path / "encode.py"
    script.write_text(MICROPYTHON_ENCODES, encoding="ascii")
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", script, NOTES / "micropython"],
        input=fields(),
        capture_output=True,
        text=True,
        check=True,
    )
    *made, nothing, half = done.stdout.splitlines()
    assert made == expected()
    assert nothing == "None"
    assert lines.parse(half.encode(), NOW).temperature is None


def indented(file: str) -> list[str]:
    """The samples of a page: what is indented by four."""
    text = (NOTES / file).read_text(encoding="utf-8").splitlines()
    return [line[4:] for line in text if line.startswith("    ") and line.strip()]


def test_the_samples_of_the_notes_are_read():
    """Each line and each pack that the notes show as a sample is a reading, but for two CSV headers.

    Columns without a header are told apart by a person.
    """
    parser, said = Parser(), []
    for sample in indented("LINE_FORM.md"):
        if "say which is what" in sample:
            continue
        line, _, number = (part.strip() for part in sample.partition("   "))
        if "/" in line:  # a topic of its own for each quantity, and the number that comes on it
            quantity, payload = line.rpartition("/")[2], number.partition("   ")[0].encode()
            said.append(parser.payload(payload, NOW, "notes", "bench", quantity=quantity))
        else:
            said.append(parser.line(line.encode(), NOW, "notes", "bench"))
    assert sum(not events for events in said) == 2
    assert all(isinstance(event, Reading) for events in said for event in events)
    assert len(said) >= 6
    pack = " ".join(indented("SENML.md")).encode()
    (reading,) = parser.payload(pack, NOW, "notes")
    assert reading.sensor == "bench"
    assert reading.battery == pytest.approx(0.88)
