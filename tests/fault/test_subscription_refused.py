"""A broker that welcomes us and refuses what we ask for: told as a trouble with its cure, not as an answer.

mosquitto's own access file lets every subscription stand and drops the messages; its plugin for dynamic
security refuses them (mosquitto.org/documentation/dynamic-security).
"""

import json
from pathlib import Path

import pytest

from tests.broker import Broker, Talker, needs_mosquitto
from tests.running import Running

PLUGIN = "mosquitto_dynamic_security.so"
FENCE = "curewatch/v1/fence/ours"
ALLOWED = "let our user publish and subscribe to {} in the broker's access list"


def refusing(folder: Path, *granted: str) -> Broker:
    """A broker that grants these subscriptions to anybody, and no other."""
    needs_mosquitto("a broker that refuses a subscription")
    plugin = next(Path("/usr").glob(f"lib*/**/{PLUGIN}"), None)
    if plugin is None:
        pytest.skip(f"needs {PLUGIN}: a broker that refuses a subscription")
    acls = [{"acltype": "subscribePattern", "topic": topic, "allow": True} for topic in granted]
    defaults = {"publishClientSend": True, "publishClientReceive": True, "subscribe": False}
    rules = {
        "defaultACLAccess": defaults | {"unsubscribe": True},
        "roles": [{"rolename": "some", "acls": acls}],
        "groups": [{"groupname": "everybody", "roles": [{"rolename": "some"}]}],
        "anonymousGroup": "everybody",
    }
    folder.mkdir()
    (folder / "rules.json").write_text(json.dumps(rules))
    return Broker(folder, f"plugin {plugin}", f"plugin_opt_config_file {folder / 'rules.json'}", saves=False)


def settings(broker: Broker, version: str, topics: str) -> str:
    return (
        f'[sensors.bench]\nrole = "air"\n[mqtt.yard]\nport = {broker.port}\nversion = "{version}"\n'
        f'client_id = "ours"\ntopics = {topics}\n'
    )


@pytest.mark.few(1)
@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_broker_that_refuses_all_does_not_answer(tmp_path: Path, version: str) -> None:
    """Welcomed is not heard: no "answers", but what is refused and what to do."""
    with (
        refusing(tmp_path / "broker", FENCE) as broker,
        Running(tmp_path, settings(broker, version, '["creek/+/state"]')) as daemon,
    ):
        daemon.start().says("yard does not answer: the broker refuses every subscription")
        told = daemon.says("the broker refuses the subscription to creek/+/state")
        assert ALLOWED.format("creek/+/state") in told
        assert "yard answers" not in told
        assert f"subscription to {FENCE}" not in told
        assert daemon.stop() == 0


@pytest.mark.long
@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_one_refused_topic_costs_no_other(tmp_path: Path, version: str) -> None:
    """The control: what is granted is read, and the other is told with its cure."""
    with (
        refusing(tmp_path / "broker", FENCE, "creek/+/state") as broker,
        Running(tmp_path, settings(broker, version, '["creek/+/state", "quay/+/state"]')) as daemon,
        Talker(broker) as device,
    ):
        daemon.start().says("yard answers")
        told = daemon.says("the broker refuses the subscription to quay/+/state")
        assert ALLOWED.format("quay/+/state") in told
        assert "does not answer" not in told
        assert "subscription to creek" not in told
        device.send("creek/bench/state", [b'{"temperature": 12.5, "humidity": 71.0, "n": 1}'])
        daemon.waits_for(1, "bench")
        assert daemon.stop() == 0
