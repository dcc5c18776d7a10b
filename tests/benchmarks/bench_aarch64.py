"""Install, demonstration, daemon and answers on a 64-bit ARM processor, emulated: equal to the last byte?

    python -m tests.benchmarks.bench_aarch64 FOLDER     root is not needed; 600 MB in FOLDER; 15 to 30 minutes

Debian's packages of Python 3.11 for arm64 and of qemu-user are unpacked into FOLDER, the wheels for aarch64
are installed beside those of this machine, in the same versions. Each command runs in both, at one frozen
moment, on one logbook. Memory is of the emulator with what it runs.
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

from curewatch.logbook import open_logbook
from curewatch.wire.lines import encode
from tests import demo_world
from tests.broker import Broker, Talker, until

NOW = 1_792_267_200.0
MESSAGES = 300
DEBIAN = (
    *(
        "libc6",
        "libgcc-s1",
        "libstdc++6",
        "python3.11-minimal",
        "libpython3.11-minimal",
        "libpython3.11-stdlib",
    ),
    *("libexpat1", "zlib1g", "libssl3", "libffi8", "libbz2-1.0", "liblzma5", "libsqlite3-0", "libreadline8"),
    *("libuuid1", "libtinfo6", "libncursesw6", "libcrypt1", "libdb5.3", "tzdata"),
)
ANSWERS = (
    "cure --resin epoxy-slow --temperature 12 --json",
    "cure --resin polyester-laminating --temperature 15 --json",
    "tonight --json",
    "windows --json",
    "layup round --length 120 --thickness 6 --json",
    "logbook verify --json",
    "demo",
)
# One moment for both, and children of the emulated Python that are emulated, too.
FROZEN = """
import os, sys, time
if os.environ.get("FROZEN"):
    time.time = lambda at=float(os.environ["FROZEN"]): at
if os.environ.get("EMULATED"):
    sys.executable = os.environ["EMULATED"]
"""


class Python(NamedTuple):
    """One of the two."""

    program: Path
    site: Path
    emulated: bool

    def environment(self, folder: Path, moment: str) -> dict[str, str]:
        return {
            **os.environ,
            "PYTHONPATH": f"{folder / 'frozen'}:{self.site}",
            "FROZEN": moment,
            "EMULATED": str(self.program) if self.emulated else "",
            "CUREWATCH_CONFIG": str(folder / "world" / "curewatch.toml"),
            "OPENBLAS_NUM_THREADS": "1",
        }


class Ran(NamedTuple):
    """What one command gave and took."""

    said: bytes
    status: int
    processor: float  # s
    megabytes: float


def prepare(folder: Path) -> None:
    """Both Pythons, with the same libraries."""
    _unpacked(folder)
    wheels = folder / "wheel"
    _run(sys.executable, "-m", "build", "--wheel", "--outdir", str(wheels), ".")
    (wheel,) = wheels.glob("*.whl")
    install = (
        sys.executable,
        "-m",
        "pip",
        "install",
        "-q",
        "--only-binary",
        ":all:",
        "--python-version",
        "3.11",
    )
    for name, platforms in {
        "x86": ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64"),
        "arm": ("manylinux_2_28_aarch64", "manylinux_2_17_aarch64"),
    }.items():
        wanted = [word for each in platforms for word in ("--platform", each)]
        _run(*install, *wanted, "--target", str(folder / name), str(wheel))
    (folder / "frozen").mkdir(exist_ok=True)
    (folder / "frozen" / "sitecustomize.py").write_text(FROZEN)
    emulated = folder / "python-arm"
    emulator, root = folder / "qemu/usr/bin/qemu-aarch64-static", folder / "root"
    emulated.write_text(f'#!/bin/sh\nexec {emulator} -L {root} {root}/usr/bin/python3.11 "$@"\n')
    emulated.chmod(0o755)


def _unpacked(folder: Path) -> None:
    for name in ("state/lists/partial", "cache/archives/partial", "debs", "root", "qemu"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    (folder / "state/status").touch()
    arm = {
        "Dir::State": f"{folder}/state",
        "Dir::State::status": f"{folder}/state/status",
        "Dir::Cache": f"{folder}/cache",
        "APT::Architecture": "arm64",
        "APT::Architectures::": "arm64",
    }
    options = [word for key, value in arm.items() for word in ("-o", f"{key}={value}")]
    _run("apt-get", "-q", *options, "update")
    _run("apt-get", "-q", *options, "download", *DEBIAN, cwd=folder / "debs")
    _run("apt-get", "-q", "download", "qemu-user-static", cwd=folder / "qemu")
    for package in (folder / "debs").glob("*.deb"):
        _run("dpkg-deb", "-x", str(package), str(folder / "root"))
    (emulator,) = (folder / "qemu").glob("*.deb")
    _run("dpkg-deb", "-x", str(emulator), str(folder / "qemu"))


def _run(*words: str, cwd: Path | None = None) -> None:
    subprocess.run(words, cwd=cwd, check=True, stdout=subprocess.DEVNULL)


# What a process takes is counted with what its parent held when it was forked, so the parent must be small.
MEASURED = """
import json, resource, subprocess, sys
status = subprocess.run(sys.argv[1:], stderr=subprocess.DEVNULL).returncode
used = resource.getrusage(resource.RUSAGE_CHILDREN)
json.dump([status, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024], sys.stderr)
"""


def ran(python: Python, words: list[str], folder: Path) -> Ran:
    """One command, to its end."""
    environment = python.environment(folder, "" if words == ["demo"] else str(NOW))
    command = [sys.executable, "-S", "-c", MEASURED, str(python.program), "-m", "curewatch", *words]
    done = subprocess.run(command, capture_output=True, check=True, env=environment, cwd=folder / "world")
    status, processor, megabytes = json.loads(done.stderr)
    return Ran(done.stdout, status, processor, megabytes)


def daemon(python: Python, folder: Path) -> tuple[int, float]:
    """Readings that an emulated daemon took from a broker, and its resident megabytes."""
    place = folder / "daemon"
    place.mkdir(exist_ok=True)
    with Broker(place) as broker, Talker(broker) as talker:
        settings = place / "curewatch.toml"
        settings.write_text(
            f'[mqtt.yard]\nhost = "127.0.0.1"\nport = {broker.port}\ntopics = ["creek/+"]\n'
            '[logbook]\npath = "shed.sqlite"\n[sensors.bench]\nrole = "air"\n'
        )
        environment = python.environment(folder, "") | {"CUREWATCH_CONFIG": str(settings)}
        command = [str(python.program), "-m", "curewatch", "ingest"]
        with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as process:
            try:
                talker.listen("curewatch/v1/availability")
                until(lambda: talker.heard, 300.0)
                lines = [encode("bench", 15.0 + n / 1000, 60.0, sequence=n, age=0.0) for n in range(MESSAGES)]
                talker.send("creek/bench", lines)
                until(lambda: _rows(place) == MESSAGES, 300.0)
                status = Path(f"/proc/{process.pid}/status").read_text()
                resident = int(status.partition("VmRSS:")[2].split()[0]) / 1024
            finally:
                process.terminate()
        return _rows(place), resident


def _rows(place: Path) -> int:
    with open_logbook(place / "shed.sqlite", read_only=True) as logbook:
        known = logbook.sensors().get("bench")
        return 0 if known is None else known.readings


def main() -> None:
    folder = Path(sys.argv[1]).absolute()
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "python-arm").exists():
        prepare(folder)
    here = Python(Path(sys.executable), folder / "x86", False)
    emulated = Python(folder / "python-arm", folder / "arm", True)
    (folder / "world").mkdir(exist_ok=True)
    demo_world.shed_in_use(folder / "world", NOW)
    for name in ("x86", "arm"):
        size = sum(file.stat().st_size for file in (folder / name).rglob("*") if file.is_file())
        print(f"installed, {name}: {size / 1e6:.0f} MB", flush=True)
    for typed in ANSWERS:
        one, other = (ran(python, typed.split(), folder) for python in (here, emulated))
        same = "equal" if one.said == other.said else "OTHER"
        took = f"{one.processor:.1f} and {other.processor:.1f} s of processor"
        memory = f"{one.megabytes:.0f} and {other.megabytes:.0f} MB"
        status = f"status {one.status} and {other.status}"
        print(f"{typed}: {same}, {len(one.said)} bytes, {status}; {took}; {memory}", flush=True)
    rows, resident = daemon(emulated, folder)
    print(f"daemon, emulated: {rows} of {MESSAGES} readings, {resident:.0f} MB resident")


if __name__ == "__main__":
    main()
