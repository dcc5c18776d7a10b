"""Real RabbitMQ nodes for tests: a cluster of our own on 127.0.0.1 with the MQTT plugin.

Under CUREWATCH_REQUIRE_SYSTEM_TOOLS=1 a missing RabbitMQ is a failure.
"""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
from contextlib import suppress
from pathlib import Path

import pytest

from tests.broker import PATIENCE, REQUIRED, free_port, until

FOUND = sorted(Path("/usr/lib/rabbitmq/lib").glob("rabbitmq_server-*/sbin/rabbitmq-server"))


def needs_rabbitmq() -> None:
    """Stand aside where none is installed; fail where it is required."""
    assert FOUND or not REQUIRED, "RabbitMQ is required here and is not installed"
    if not FOUND:
        pytest.skip("needs RabbitMQ")


class Node:
    """One node: where it listens, and its process."""

    def __init__(self, number: int, folder: Path) -> None:
        self.name = f"node{number}@localhost"
        self.folder = folder / f"node{number}"
        self.folder.mkdir()
        self.queues, self.mqtt, self.others = free_port(), free_port(), free_port()
        self.process: subprocess.Popen[bytes] | None = None


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class QueueBrokers:
    """A cluster whose nodes can be killed and started again."""

    def __init__(self, count: int) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="curewatch-queues-", dir="/tmp"))
        self.names = free_port()  # of epmd, Erlang's name service: ours alone
        self.nodes = [Node(number, self.folder) for number in range(1, count + 1)]
        self.epmd: subprocess.Popen[bytes] | None = None

    def environment(self, node: Node) -> dict[str, str]:
        """All that keeps it apart from any other on this machine."""
        inner = (  # three nodes share this machine: one scheduler each, and none waits busily
            "-kernel inet_dist_use_interface {127,0,0,1} -setcookie curewatch"
            " +S 1:1 +SDcpu 1:1 +SDio 2 +sbwt none +sbwtdcpu none +sbwtdio none"
        )
        return {
            "PATH": os.environ["PATH"] + ":/usr/sbin:/sbin",
            "HOME": str(self.folder),
            "ERL_EPMD_ADDRESS": "127.0.0.1",
            "ERL_EPMD_PORT": str(self.names),
            "RABBITMQ_NODENAME": node.name,
            "RABBITMQ_DIST_PORT": str(node.others),
            "RABBITMQ_MNESIA_BASE": str(node.folder / "data"),
            "RABBITMQ_LOG_BASE": str(node.folder / "logs"),
            "RABBITMQ_CONFIG_FILE": str(node.folder / "rabbitmq.conf"),
            "RABBITMQ_ENABLED_PLUGINS_FILE": str(node.folder / "plugins"),
            "RABBITMQ_SERVER_ADDITIONAL_ERL_ARGS": inner,
            "RABBITMQ_CTL_ERL_ARGS": inner,
        }

    def start(self) -> "QueueBrokers":
        names = shutil.which("epmd")
        assert names is not None
        self.epmd = subprocess.Popen([names, "-address", "127.0.0.1", "-port", str(self.names)])
        for node in self.nodes:
            peers = "\n".join(  # the first begins the cluster, and looks for no other
                f"cluster_formation.classic_config.nodes.{n} = {one}"
                for n, one in enumerate(sorted({self.nodes[0].name, node.name}), 1)
            )
            (node.folder / "plugins").write_text("[rabbitmq_mqtt].\n")
            (node.folder / "rabbitmq.conf").write_text(
                f"listeners.tcp.1 = 127.0.0.1:{node.queues}\n"
                f"mqtt.listeners.tcp.1 = 127.0.0.1:{node.mqtt}\n"
                "cluster_formation.peer_discovery_backend = classic_config\n"
                f"{peers}\nloopback_users = none\n"
                "default_worker_pool_size = 16\n"  # or as many as schedulers: one binding after the other
                "queue_leader_locator = balanced\n"  # or the first node leads all queues
                "raft.wal_max_size_bytes = 32000000\n"  # all of it is read when a node comes back
            )
        self.boot(self.nodes[0])
        for node in self.nodes[1:]:
            self.begin(node)
        for node in self.nodes[1:]:
            until(lambda node=node: self._listens(node))
        return self

    def boot(self, node: Node) -> None:
        """Start a node, and wait until it takes messages."""
        self.begin(node)
        until(lambda: self._listens(node))

    def begin(self, node: Node) -> None:
        """Start a node."""
        with (node.folder / "out").open("ab") as out:
            node.process = subprocess.Popen(
                [str(FOUND[-1])],
                env=self.environment(node),
                stdout=out,
                stderr=out,
                cwd=node.folder,
                start_new_session=True,
            )

    @staticmethod
    def _listens(node: Node) -> bool:
        assert node.process is not None
        assert node.process.poll() is None, (node.folder / "out").read_text()[-2000:]
        return _answers(node.mqtt)

    def kill(self, node: Node) -> None:
        """All of its processes at once."""
        if node.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(node.process.pid, signal.SIGKILL)
            node.process.wait(PATIENCE)
            node.process = None
            # its beam outlives its shell by a moment, and closes one port after the other
            ports = (node.mqtt, node.queues, node.others)
            until(lambda: not any(map(_answers, ports)))

    def remove(self) -> None:
        for node in self.nodes:
            self.kill(node)
        if self.epmd is not None:
            self.epmd.kill()
            self.epmd.wait(PATIENCE)
        shutil.rmtree(self.folder, ignore_errors=True)
