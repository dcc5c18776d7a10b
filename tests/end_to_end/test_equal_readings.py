"""Equal readings are as many readings as came, whatever carried them."""

from pathlib import Path

import pytest

from tests.broker import Broker, Talker, free_port, needs_mosquitto
from tests.certificates import authority, certificate
from tests.running import Running

QUEUED, LIVE = 500, 200
SAID = b'{"temperature": 12.5, "humidity": 71.0}'


@pytest.mark.long
@pytest.mark.parametrize("secure", [False, True])
@pytest.mark.few(1)
def test_equal_readings_are_all_kept(tmp_path: Path, secure: bool) -> None:
    """Over TLS each message may be a read of its own, several in one millisecond."""
    needs_mosquitto("amqtt has no TLS here, and hands a kept session nothing")
    files = tmp_path / "broker"
    files.mkdir()
    authority(files, "yard")
    certificate(files, "broker", "yard")
    port = free_port()
    listener = [f"listener {port} 127.0.0.1", f"certfile {files}/broker.pem", f"keyfile {files}/broker.key"]
    with Broker(files, *listener, saves=False) as broker, Talker(broker) as device:
        where = f'port = {port}\nca_file = "{files}/yard.pem"' if secure else f"port = {broker.port}"
        settings = (
            '[sensors.bench]\nrole = "air"\n[mqtt.yard]\n'
            f'{where}\nclient_id = "ours"\ntopics = ["creek/+/state"]\n'
        )
        with Running(tmp_path, settings) as daemon:
            daemon.start()
            daemon.says("yard answers")
            daemon.kill()
            device.send("creek/bench/state", [SAID] * QUEUED)
            daemon.start()
            daemon.waits_for(QUEUED)
            device.send("creek/bench/state", [SAID] * LIVE)
            daemon.waits_for(QUEUED + LIVE)
            assert daemon.stop() == 0
            assert daemon.readings() == QUEUED + LIVE
