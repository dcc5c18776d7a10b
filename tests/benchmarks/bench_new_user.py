"""A new user's first ten minutes: from a clone to the first answer, with the time of each step.

Plays it in a new home with a new environment and no configuration: installs, shows the help, runs the
demonstration, starts a simulated board on a pseudo-terminal, answers the questions of ``setup`` on a real
terminal, and asks for tonight. Needs the package registry; run as a module.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pexpect

from tests.broker import PATIENCE

SOURCE = Path(os.environ.get("CUREWATCH_SOURCE") or Path(__file__).parents[2])  # a clone to clone from
# how this machine reaches the registry: a new user's machine has its own way
PASSED_ON = (
    *("PIP_INDEX_URL", "PIP_EXTRA_INDEX_URL", "PIP_CONFIG_FILE", "PIP_RETRIES", "PIP_DEFAULT_TIMEOUT"),
    *("https_proxy", "SSL_CERT_FILE"),
)
ANSWERS = (
    ("name of the shed", "Saltmarsh Shed"),
    ("the boat", "Kittiwake Nine"),
    ("time zone", "Europe/Lisbon"),
    ("use this port", ""),
    ("address of the broker", ""),
)
SENSOR = (("it is ", ""), ("call it", ""), ("class of its chip", ""))
WORK = (
    ("you laminate on", "plywood"),
    ("its thickness", "12"),
    (r"resin \(", "epoxy-slow"),
    ("its lot number", ""),
    ("usual mass of one batch", "150"),
    ("address .https", ""),
    ("write it to", ""),
)


class Steps:
    """The steps and how long each took."""

    def __init__(self) -> None:
        self.taken: list[tuple[str, float]] = []

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        begun = time.perf_counter()
        yield
        self.taken.append((name, time.perf_counter() - begun))

    def table(self) -> str:
        """One line a step, and the sum."""
        rows = [*self.taken, ("all", sum(seconds for _, seconds in self.taken))]
        width = max(len(name) for name, _ in rows)
        return "\n".join(f"{name:<{width}}  {seconds:6.1f} s" for name, seconds in rows)


def new_environment(home: Path) -> dict[str, str]:
    """Nothing of ours but the way to the registry."""
    fresh = {"HOME": str(home), "PATH": "/usr/bin:/bin", "LANG": "C.UTF-8", "TERM": "xterm"}
    return fresh | {name: os.environ[name] for name in PASSED_ON if name in os.environ}


def first_evening(home: Path, steps: Steps) -> int:
    """Every step, one after the other; any that fails ends it. The exit status of the last `tonight`."""
    environment = new_environment(home)
    bin_folder, link = home / ".venv" / "bin", home / "board"
    program = str(bin_folder / "curewatch")

    def call(*words: str) -> None:
        subprocess.run(words, cwd=home, env=environment, check=True, stdout=subprocess.DEVNULL)

    (home / ".gitconfig").write_text("[safe]\n\tdirectory = *\n")  # the clone's source may be another user's
    with steps.step("clone"):
        call("git", "clone", "-q", str(SOURCE), str(home / "curewatch"))
    with steps.step("an environment of its own"):
        call(sys.executable, "-m", "venv", str(home / ".venv"))
    with steps.step("install"):
        call(str(bin_folder / "pip"), "install", "-q", str(home / "curewatch"))
    with steps.step("curewatch --help"):
        call(program, "--help")
    with steps.step("curewatch demo"):
        call(program, "demo")
    board = subprocess.Popen(
        [program, "simulate", "--port", "--link", str(link), "--every", "1", "--hours", "1", "--unstamped"],
        cwd=home,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        with steps.step("curewatch setup, and a first answer"):
            answer_setup(program, home, environment, link)
    finally:
        board.terminate()
        board.wait()
    with steps.step("curewatch tonight, again"):
        answer = subprocess.run(
            [program, "tonight"], cwd=home, env=environment, capture_output=True, check=False
        )
    return answer.returncode


def answer_setup(program: str, home: Path, environment: dict[str, str], link: Path) -> None:
    """The conversation, as fast as it lets us."""
    until = time.monotonic() + PATIENCE
    while not link.exists() and time.monotonic() < until:
        time.sleep(0.1)
    talk = pexpect.spawn(
        program,
        ["setup", "--port", str(link), "--seconds", "20"],
        cwd=home,
        env=environment,
        timeout=PATIENCE,
        encoding="utf-8",
    )
    for question, reply in ANSWERS:
        while talk.expect([question, "nothing that can be read; listen"]):  # the board is slow to begin
            talk.sendline("y")
        talk.sendline(reply)
    while talk.expect(["it is ", "you laminate on"]) == 0:
        for position, (question, reply) in enumerate(SENSOR):
            if position:
                talk.expect(question)
            talk.sendline(reply)
    for position, (question, reply) in enumerate(WORK):
        if position:
            talk.expect(question)
        talk.sendline(reply)
    talk.expect("GO|NO-GO|UNKNOWN")
    talk.expect(pexpect.EOF)


def main() -> None:
    """Print the table."""
    steps = Steps()
    with tempfile.TemporaryDirectory(prefix="curewatch-new-user-") as folder:
        status = first_evening(Path(folder), steps)
    print(steps.table())
    print(f"tonight's exit status: {status} (0 go, 3 no-go, 4 unknown)")


if __name__ == "__main__":
    main()
