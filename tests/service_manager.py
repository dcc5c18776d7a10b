"""The unit of `curewatch service` under a real systemd, in a box: `python -m tests.service_manager`.

By hand, as root, two minutes. A second systemd is the first process of its own namespaces: processes, mounts,
network without a way out. It sees this machine's files; what it writes goes into memory and is gone with it.
The old root is taken away before it starts, so nothing of the machine is changed. Each row that tells of a
restart, or of none, has its control: the unit without that line must fail it.
"""

import os
import shlex
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import curewatch
from curewatch.cli.commands.service import unit

LONGEST = 300  # s for all of it; then the box is killed
CGROUPS = (Path("/sys/fs/cgroup/systemd"), Path("/sys/fs/cgroup/unified"), Path("/sys/fs/cgroup"))
PROGRAM = Path("/opt/curewatch/bin/curewatch")
SERVICE, OWNER, STRANGER = "curewatch", "owner", "stranger"
QUIET = (  # of Debian's units, what would look after the machine itself, or is not of this trial
    "systemd-tmpfiles-setup.service systemd-tmpfiles-setup-dev.service systemd-tmpfiles-clean.timer"
    " systemd-tmpfiles-clean.service systemd-sysctl.service systemd-udevd.service"
    " systemd-udev-trigger.service systemd-modules-load.service systemd-random-seed.service"
    " systemd-remount-fs.service systemd-binfmt.service systemd-update-utmp.service"
    " systemd-pstore.service systemd-logind.service"
    " systemd-networkd.service systemd-timesyncd.service getty.target remote-fs.target local-fs.target"
    " swap.target dev-hugepages.mount dev-mqueue.mount sys-kernel-debug.mount sys-kernel-tracing.mount"
    " sys-kernel-config.mount sys-fs-fuse-connections.mount"
)
BOX = r"""
set -e
mount --make-rprivate /
B=$1 N=$1/new
mount -t tmpfs -o size=1g tmpfs $B
mkdir $B/upper $B/work $N
mount -t overlay overlay -o lowerdir=/,upperdir=$B/upper,workdir=$B/work $N
mount -t proc proc $N/proc
for each in tmp var/tmp run dev; do mount -t tmpfs tmpfs $N/$each; done
for each in null zero full random urandom tty; do
    touch $N/dev/$each
    mount --bind /dev/$each $N/dev/$each
done
mkdir $N/dev/pts $N/dev/shm
mount -t devpts -o newinstance,ptmxmode=0666 devpts $N/dev/pts
ln -s pts/ptmx $N/dev/ptmx
touch $N/dev/console && mount --bind $2 $N/dev/console
mount -t sysfs -o ro sysfs $N/sys
if [ -d /sys/fs/cgroup/systemd ]; then
    mount -t tmpfs tmpfs $N/sys/fs/cgroup
    mkdir $N/sys/fs/cgroup/systemd $N/sys/fs/cgroup/unified
    mount -t cgroup -o none,name=systemd cgroup $N/sys/fs/cgroup/systemd
    mount -t cgroup2 cgroup2 $N/sys/fs/cgroup/unified
else
    mount -t cgroup2 cgroup2 $N/sys/fs/cgroup
fi
mkdir -p $N/opt/base $N/opt/libraries $N/opt/source $N/opt/trial $N/opt/curewatch/bin $N/oldroot
mount --bind "$3" $N/opt/base
mount --bind "$4" $N/opt/libraries
mount --bind "$5" $N/opt/source
mount --bind "$6" $N/opt/trial
cd $N && pivot_root . oldroot && umount -l /oldroot && cd /
mount -o bind,ro /proc/sys /proc/sys
hostname trial && ip link set lo up
rm -rf /etc/systemd/system && mkdir /etc/systemd/system && : > /etc/fstab
for each in $7; do ln -s /dev/null /etc/systemd/system/$each; done
printf '[Unit]\nRequires=trial.service\n' > /etc/systemd/system/trial.target
printf '[Unit]\nAfter=basic.target\n[Service]\nType=oneshot\nStandardOutput=file:/dev/console\n%s\n' \
    "ExecStart=$8" > /etc/systemd/system/trial.service
printf '#!/bin/sh\nexec env LD_LIBRARY_PATH=/opt/base/lib PYTHONDONTWRITEBYTECODE=1 %s %s\n' \
    'PYTHONPATH=/opt/source:/opt/libraries' '/opt/base/bin/python3 -m curewatch "$@"' \
    > /opt/curewatch/bin/curewatch
chmod 755 /opt/curewatch/bin/curewatch
export container=trial
exec /lib/systemd/systemd --system --unit=trial.target --log-target=null --show-status=0
"""
CONFIG = """[shed]
name = "Saltmarsh Shed"
[sensors.bench]
role = "air"
every_s = 5
[sensors.hull]
role = "surface"
every_s = 5
[serial.far]
url = "socket://127.0.0.1:{port}"
[notices]
command = ["/usr/local/bin/bell"]
[logbook]
path = "/var/lib/curewatch/logbook.sqlite"
"""
EVENING = (
    "job open --name rudder-cheek --title cheek --by Reed",
    "job batch --resin-mass '150 g' --hardener-mass '33 g'",
    "layer --batch B1",
    "layer --running",
    "job note --text dry",
    "observe gelled --force",
    "alerts",
    "watch --once",
    "logbook verify",
    "job close --outcome done",
)


def main() -> None:
    """Build the box, run the trial in it, show its rows; the status is 1 if one of them fails."""
    if os.geteuid() != 0:
        sys.exit("this builds a box of namespaces: run it as root")
    with tempfile.TemporaryDirectory(prefix="cw-box-") as place:
        box, console = Path(place, "box"), Path(place, "console.txt")
        box.mkdir()
        console.touch()
        groups = [each / "curewatch-trial" for each in CGROUPS if (each / "cgroup.procs").exists()]
        enter = "".join(f"mkdir -p {each}; echo $$ > {each}/cgroup.procs; " for each in groups)
        libraries = next(one for one in sys.path if "site-packages" in one)
        source = Path(curewatch.__file__).parents[1]
        inside = (
            "/usr/bin/env LD_LIBRARY_PATH=/opt/base/lib PYTHONDONTWRITEBYTECODE=1 "
            "PYTHONPATH=/opt/trial:/opt/source:/opt/libraries "
            "/opt/base/bin/python3 -m tests.service_manager inside"
        )
        box_of = [
            *("bash", "-c", BOX, "box", str(box), str(console), sys.base_prefix, libraries, str(source)),
            *(str(Path(__file__).parents[1]), QUIET, inside),
        ]
        spaces = "unshare --mount --pid --uts --ipc --net --cgroup --fork --kill-child "
        command = [
            "timeout",
            "-s",
            "KILL",
            str(LONGEST),
            "bash",
            "-ec",
            enter + "exec " + spaces + shlex.join(box_of),
        ]
        ran = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
        for each in groups:
            for folder, *_ in os.walk(each, topdown=False):
                with suppress(OSError):  # the kernel is not done with it yet
                    Path(folder).rmdir()
        shown = console.read_text()
        print(shown, end="")
        if ran.returncode or "of which 0 fail" not in shown:
            sys.exit(f"the trial did not pass (status {ran.returncode}) {ran.stderr}")


# ---- inside the box


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


def person(user: str, words: str) -> subprocess.CompletedProcess[str]:
    """A command at a login of this user."""
    return run("runuser", "-l", user, "-c", f"{PROGRAM} {words}")


def shown(name: str) -> str:
    """A property of the unit."""
    return run("systemctl", "show", "-p", name, "--value", SERVICE).stdout.strip()


def comes(what: Callable[[], bool], seconds: float) -> bool:
    """Whether it comes to hold within this time."""
    until = time.monotonic() + seconds
    while not what():
        if time.monotonic() > until:
            return False
        time.sleep(0.2)
    return True


def install(port: int) -> None:
    """The steps in the unit's first lines, and two more users."""
    for user in (OWNER, STRANGER):
        run("useradd", "--create-home", user)
    home = "/var/lib/curewatch"
    run("useradd", "--system", "--user-group", "--groups", "dialout", "--home-dir", home, SERVICE)
    run("usermod", "--append", "--groups", SERVICE, OWNER)
    Path("curewatch.toml").write_text(CONFIG.format(port=port))
    target = "/etc/curewatch/curewatch.toml"
    run("install", "-D", "-m", "640", "-g", SERVICE, "curewatch.toml", target)
    Path("/etc/profile.d/curewatch.sh").write_text(f"export CUREWATCH_CONFIG={target}\n")
    bell = Path("/usr/local/bin/bell")
    bell.write_text("#!/bin/sh\ncat >> /var/lib/curewatch/rung.txt\n")
    bell.chmod(0o755)
    Path("/etc/systemd/system/curewatch.service").write_text(unit(PROGRAM))


def changed(line: str) -> None:
    """The unit with one line more, or none, started anew."""
    folder = Path("/etc/systemd/system/curewatch.service.d")
    folder.mkdir(exist_ok=True)
    (folder / "trial.conf").write_text(f"[Service]\nRestartSec=1\n{line}\n")
    run("systemctl", "daemon-reload")
    run("systemctl", "reset-failed", SERVICE)
    run("systemctl", "restart", SERVICE)


def another(signal: str, seconds: float) -> bool:
    """Whether another process serves so long after this signal."""
    before = shown("MainPID")
    run("kill", f"-{signal}", before)
    came = comes(lambda: shown("MainPID") not in {before, "0"} and shown("SubState") == "running", seconds)
    if not came:
        run("kill", "-KILL", before)
    return came


def rejected() -> bool:
    """Whether the manager leaves a service alone whose configuration is wrong."""
    return not comes(lambda: shown("NRestarts") != "0", 8.0) and shown("ActiveState") == "failed"


def rows() -> list[tuple[str, bool]]:
    """Each thing that was tried, and whether it held."""
    from curewatch.logbook import Logbook
    from tests.end_to_end.test_two_users import Board

    board = Board()
    install(board.port)
    run("systemctl", "daemon-reload")
    found = []

    def row(name: str, held: bool) -> None:
        found.append((name, held))
        print("held " if held else "FAILS", name, flush=True)

    path, config = Path("/var/lib/curewatch/logbook.sqlite"), Path("/etc/curewatch/curewatch.toml")

    def heard() -> set[str]:
        with Logbook(path, read_only=True) as logbook:
            return {name for name, one in logbook.sensors().items() if one.readings}

    row("enabled, and told ready", run("systemctl", "enable", "--now", SERVICE).returncode == 0)
    row("active", comes(lambda: shown("SubState") == "running", 10.0))
    row("readings come", comes(lambda: path.exists() and heard() == {"bench", "hull"}, 60.0))
    for words in EVENING:
        if words.startswith("observe"):
            time.sleep(5.0)  # after the layer
        done = person(OWNER, words)
        row(f"owner: {words}", done.returncode in {0, 3, 4} and "Traceback" not in done.stderr)
    row("a stranger is let in nowhere", person(STRANGER, "job note --text forged").returncode != 0)
    rung = Path("/var/lib/curewatch/rung.txt")
    row("the alert command ran", comes(lambda: rung.exists() and "raised" in rung.read_text(), 120.0))
    row("killed: started again", another("KILL", 30.0))
    row("the logbook holds after it", person(OWNER, "logbook verify").returncode == 0)
    changed("Restart=no")
    row("control: without Restart it is not", not another("KILL", 6.0))
    changed("WatchdogSec=4")
    row("hung: started again", another("STOP", 60.0))
    changed("WatchdogSec=0")
    row("control: without the watchdog it is not", not another("STOP", 15.0))
    whole = config.read_text()
    config.write_text(whole + "nonsense = 3\n")
    changed("")
    row("a wrong configuration: status 78, left alone", rejected() and shown("ExecMainStatus") == "78")
    changed("RestartPreventExitStatus=")
    row("control: without that line it is started on and on", not rejected())
    config.write_text(whole)
    changed("")
    row("mended: it serves", comes(lambda: shown("SubState") == "running", 20.0))
    row("a copy beside the service", person(OWNER, "logbook backup copy.sqlite").returncode == 0)
    row("uninstalled", run("systemctl", "disable", "--now", SERVICE).returncode == 0)
    row("it stopped by itself", shown("Result") == "success")
    board.close()
    return found


def inside() -> None:
    """The trial, run by the box's own systemd, which ends with it."""
    try:
        found = rows()
        print(f"{len(found)} rows, of which {sum(not held for _, held in found)} fail", flush=True)
    finally:
        run("systemctl", "--no-block", "exit", "0")


if __name__ == "__main__":
    inside() if sys.argv[1:] == ["inside"] else main()
