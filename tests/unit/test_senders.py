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
    """A neighbour's radio, another device of the hub or behind the bridge keep their own names."""
    for name, ours, strange, called in (
        ("433 MHz receiver, all devices on one topic", '"id":94', '"id":95', "Demo-TH/1/95"),
        ("hub that counts its devices", '"idx":41', '"idx":42', "idx/42"),
        ("wi-fi firmware, what it hears by Zigbee", "0x3A47", "0x3A48", "0x3A48"),
    ):
        topic, payload = one(name).messages[0]
        (found,) = told(one(name), ((topic, payload.replace(ours, strange)),))
        assert isinstance(found, Reading)
        assert found.sensor == called


def test_what_a_bridge_cannot_be_understood_in_is_refused() -> None:
    """Nothing is heard, of two devices at once, or beside a unit that is not known."""
    sender = one("wi-fi firmware, what it hears by Zigbee")
    topic, payload = sender.messages[0]
    two = '{"ZbReceived":{"0x3A47":{"Temperature":12.4},"0x5ADF":{"Humidity":81}}}'
    other = payload.replace("}}}", '}},"TempUnit":"X"}')
    for wrong in ('{"ZbReceived":{}}', '{"ZbReceived":{"0x3A47":12.4}}', '{"ZbReceived":12.4}', two, other):
        (found,) = told(sender, ((topic, wrong),))
        assert isinstance(found, Rejected), wrong
    (control,) = told(sender, ((topic, other.replace("X", "F").replace("12.4", "54.32")),))
    assert isinstance(control, Reading)
    assert control.temperature == pytest.approx(285.55)


def test_the_notes_show_each_sender() -> None:
    """Message and configuration of each form, as the tests read them."""
    notes = (Path(__file__).parents[2] / "firmware_notes" / "SENDERS.md").read_text()
    for sender in SENDERS:
        said = "".join(f"    {topic}  {payload}\n" for topic, payload in sender.messages)
        heading = f"## {sender.name[0].upper()}{sender.name[1:]}\n\n"
        section = f"{heading}{said}\n```toml\n{settings(sender)}```\n"
        assert section in notes, f"put this section into firmware_notes/SENDERS.md:\n{section}"


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


@pytest.mark.parametrize(
    ("fields", "payload"),
    [
        ('temperature_c = "a.1.t"', '{"a":[{"t":99},{"t":12.4}],"humidity":81}'),
        ('temperature_c = { at = "raw", scale = 0.1, offset = -40 }', '{"raw":524,"humidity":81}'),
        ('temperature_f = { at = "raw", scale = 0.01 }', '{"raw":5432,"humidity":81}'),
        ('temperature_c = { at = "t", comma = true }', '{"t":"12,4","humidity":81}'),
        ('temperature_c = "t", sensor = "ids.n"', '{"ids":{"n":17},"t":12.4,"humidity":81,"id":"other"}'),
    ],
)
def test_the_configuration_says_where_a_value_stands(fields: str, payload: str) -> None:
    """Paths into lists, scale, offset, decimal comma, a device chosen by a field's value; `ignore` beside."""
    table = '[sensors.bench]\nrole = "air"\naddress = ["17", "any"]\n[mqtt.yard]\ntopics = "x/+"\n'
    message = payload.replace("}", ',"Time":"never"}') if payload.count("}") == 1 else payload

    def read(more: str) -> Reading | Rejected:
        intake = Intake(configuration.parse(table + more))
        event = MessageArrived("yard", "x/any", message.encode(), Instant(NOW, 0.0))
        (found,) = intake.message_arrived(event)
        return found

    found = read(f'fields = {{ {fields} }}\nignore = "Time"\n')
    assert isinstance(found, Reading), found
    assert (found.sensor, found.relative_humidity) == ("bench", 0.81)
    assert found.temperature == pytest.approx(285.55)
    before = read("")
    assert not isinstance(before, Reading) or before.temperature is None or before.sensor != "bench"


def test_any_level_of_a_topic_may_name_the_device() -> None:
    """The first + here, though the last one is a kind of message."""
    table = '[sensors.bench]\nrole = "air"\n[mqtt.yard]\ntopics = "+/tele/+"\n'
    event = MessageArrived("yard", "bench/tele/x", b'{"temperature":12.4}', Instant(NOW, 0.0))
    for more, name in (("", "x"), ("device_level = 1\n", "bench")):
        (found,) = Intake(configuration.parse(table + more)).message_arrived(event)
        assert found.sensor == name


def test_the_notes_own_example_reads() -> None:
    """Any other form: path, scale, offset, a number as a name, a word passed over."""
    notes = (Path(__file__).parents[2] / "firmware_notes" / "SENDERS.md").read_text()
    example = notes.split("## Any other form")[1]
    payload = example.split("\n    ")[1].split("\n")[0]
    table = example.split("```toml")[1].split("```")[0]
    event = MessageArrived("yard", "yard/gate", payload.encode(), Instant(NOW, 0.0))
    (found,) = Intake(configuration.parse(table)).message_arrived(event)
    assert isinstance(found, Reading), found
    assert (found.sensor, found.temperature) == ("bench", pytest.approx(285.55))
