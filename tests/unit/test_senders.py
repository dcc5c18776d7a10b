"""Every sender of the table reads as it comes, with its names in the configuration and nothing else."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.clock import Instant
from curewatch.daemon.events import MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.readings import Reading, Rejected
from curewatch.wire import Reason
from tests.senders import SENDERS, Sender, said, settings

NOW = 1_790_000_000.0


def told(sender: Sender, messages: tuple[tuple[str, str], ...] | None = None) -> list[Reading | Rejected]:
    intake, found = Intake(configuration.parse(settings(sender))), []
    for number, (topic, payload) in enumerate(messages or sender.messages):
        at = Instant(NOW + number, float(number))
        found += intake.message_arrived(MessageArrived("yard", topic, said(payload, NOW - 3.0), at))
    return found


@pytest.mark.parametrize("sender", SENDERS, ids=[each.name for each in SENDERS])
def test_each_sender_reads_as_it_comes(sender: Sender) -> None:
    """Its sensors, each with its readings, and no message refused but one's own chip."""
    found = told(sender)
    read = [each for each in found if isinstance(each, Reading) and each.sensor in sender.sensors]
    assert {each.sensor for each in read} == set(sender.sensors), found
    assert len(read) == sender.readings * len(sender.sensors), found
    assert not [each for each in found if isinstance(each, Rejected)]
    for each in read:
        assert each.temperature is None or each.temperature == pytest.approx(285.55, abs=0.06)
        assert each.relative_humidity is None or each.relative_humidity == pytest.approx(0.81)
        assert each.battery is None or 0 <= each.battery <= 1
    assert any(each.relative_humidity is not None for each in read)


def one(name: str) -> Sender:
    (found,) = [each for each in SENDERS if each.name == name]
    return found


def test_two_values_of_one_temperature_must_agree() -> None:
    """The same in degC and degF is one; where they differ, which one is true cannot be told."""
    payload = '{"id":"A4:C1:38:0A:1B:2C","tempc":12.4,"tempf":64.3,"hum":81}'
    (refused,) = told(one("BLE gateway"), (("ble/gate/BTtoMQTT/x", payload),))
    assert isinstance(refused, Rejected)


def test_a_probe_that_fails_costs_no_other() -> None:
    """One probe of a message is refused with its reason, the other is read."""
    sender = one("wi-fi firmware, several probes in one message")
    payload = sender.messages[0][1].replace('3E","Temperature":12.4', '3E","Temperature":"nan"')
    found = told(sender, ((sender.messages[0][0], payload),))
    read = {each.sensor for each in found if isinstance(each, Reading)}
    assert {"probe-air", "probe-a"} <= read
    assert "probe-b" not in read
    assert [each.sensor for each in found if isinstance(each, Rejected)] == ["probe-b"]


def test_a_device_of_the_air_that_is_not_ours_is_not_taken_for_one_that_is() -> None:
    """A neighbour's radio, and another device of the hub, keep their own names."""
    for name in ("433 MHz receiver, all devices on one topic", "hub that counts its devices"):
        sender = one(name)
        topic, payload = sender.messages[0]
        other = payload.replace('"id":94', '"id":95').replace('"idx":41', '"idx":42')
        (found,) = told(sender, ((topic, other),))
        assert isinstance(found, Reading)
        assert found.sensor not in sender.sensors


def test_the_notes_show_each_sender() -> None:
    """Message and configuration of each form, as the tests read them."""
    notes = (Path(__file__).parents[2] / "firmware_notes" / "SENDERS.md").read_text()
    for sender in SENDERS:
        assert f"```toml\n{settings(sender)}```" in notes, sender.name
        assert f"{sender.messages[0][0]}  {sender.messages[0][1]}" in notes, sender.name


@pytest.mark.parametrize("name", ["Homie 4", "Homie 5"])
def test_an_old_number_waits_for_its_unit(name: str) -> None:
    """A kept or held temperature may come before its unit: 54 degF is then not taken as 54 degC."""
    sender = one(name)
    values = [each for each in sender.messages if each[0].endswith("/temperature")]
    intake = Intake(configuration.parse(settings(sender)))
    for old in ({"backlog": True}, {"retained": True}):
        topic, payload = values[0]
        event = MessageArrived("yard", topic, payload.encode(), Instant(NOW, 0.0), **old)
        (refused,) = intake.message_arrived(event)
        assert isinstance(refused, Rejected)
        assert refused.reason == Reason.UNIT_TO_COME
