"""Messages as widespread senders make them, each by the public documentation of its form.

The values, names and addresses are of the demonstration's world. Each sender says 12.4 degC and 81 %.
"""

from datetime import UTC, datetime
from typing import NamedTuple


class Sender(NamedTuple):
    """One class of sender: what it says now, and the tables that a person writes for it."""

    name: str
    source: str  # where its form is documented
    topics: str  # filters of the broker's table
    sensors: dict[str, str]  # sensor -> the lines of its table
    messages: tuple[tuple[str, str], ...]  # topic, payload; TIMES are put into it
    readings: int = 1  # of each sensor


def said(payload: str, now: float) -> bytes:
    """The payload with the time of now: LOCAL without an offset, ISO in UTC, UNIX in seconds."""
    moment = datetime.fromtimestamp(now, UTC)
    local = moment.strftime("%Y-%m-%dT%H:%M:%S")
    times = {
        "LOCAL": local,
        "BLANK": local.replace("T", " "),
        "ISO": f"{local}.775023242Z",
        "UNIX": f"{now:.2f}",
    }
    for word, time in times.items():
        payload = payload.replace(word, time)
    return payload.encode()


def settings(*senders: Sender) -> str:
    """The tables for these senders."""
    tables = [
        f'[sensors.{name}]\nrole = "air"\n{lines}\n'
        for each in senders
        for name, lines in each.sensors.items()
    ]
    topics = ", ".join(dict.fromkeys(topic for each in senders for topic in each.topics.split(", ")))
    return "".join(tables) + f"[mqtt.yard]\ntopics = [{topics}]\n"


SENDERS = (
    Sender(
        "zigbee bridge, a name with blanks",
        "zigbee2mqtt.io, guide/usage/mqtt_topics_and_messages: FRIENDLY_NAME, values; the rest from memory",
        '"bridge/+"',
        {"zigbee": 'address = "Shed bench, aft"'},
        (
            (
                "bridge/Shed bench, aft",
                (
                    '{"battery":"low","humidity":81,"id":7,"last_seen":"ISO","linkquality":92,'
                    '"temperature":12.4}'
                ),
            ),
        ),
    ),
    Sender(
        "zigbee bridge, a topic for each value",
        "zigbee2mqtt.io, guide/configuration/mqtt: output attribute (from memory)",
        '"bridge2/+/+"',
        {"zigbee-values": 'address = "Shed hull"'},
        (
            ("bridge2/Shed hull/temperature", "12.4"),
            ("bridge2/Shed hull/humidity", "81"),
        ),
        readings=2,
    ),
    Sender(
        "wi-fi firmware, telemetry",
        "tasmota.github.io/docs/AM2301: tele/…/SENSOR with Time, probe, TempUnit",
        '"tele/+/SENSOR"',
        {"telemetry": 'address = "shed-one"'},
        (
            (
                "tele/shed-one/SENSOR",
                (
                    '{"Time":"LOCAL","AM2301":{"Temperature":12.4,"Humidity":81.0,"DewPoint":9.2},'
                    '"TempUnit":"C"}'
                ),
            ),
        ),
    ),
    Sender(
        "wi-fi firmware, telemetry in Fahrenheit",
        "tasmota.github.io/docs/AM2301; SetOption8: TempUnit F (from memory)",
        '"tele/+/SENSOR"',
        {"telemetry-f": 'address = "shed-f"'},
        (
            (
                "tele/shed-f/SENSOR",
                '{"Time":"LOCAL","AM2301":{"Temperature":54.32,"Humidity":81.0},"TempUnit":"F"}',
            ),
        ),
    ),
    Sender(
        "wi-fi firmware, several probes in one message",
        "tasmota.github.io/docs/DS18x20: DS18B20-1, DS18B20-2 with Id; ESP32 from memory",
        '"tele/+/SENSOR"',
        {
            "probe-air": 'address = "shed-two/AM2301"',
            "probe-a": 'address = "00000A1B2C3D"',
            "probe-b": 'address = "shed-two/DS18B20-2"',
        },
        (
            (
                "tele/shed-two/SENSOR",
                (
                    '{"Time":"LOCAL","AM2301":{"Temperature":12.4,"Humidity":81.0,"DewPoint":9.2},'
                    '"DS18B20-1":{"Id":"00000A1B2C3D","Temperature":12.4},'
                    '"DS18B20-2":{"Id":"00000A1B2C3E","Temperature":12.4},'
                    '"ESP32":{"Temperature":41.1},"TempUnit":"C"}'
                ),
            ),
        ),
    ),
    Sender(
        "wi-fi firmware, what it hears by Zigbee",
        "tasmota.github.io/docs/Zigbee: ZbReceived, the device's address or name, Device, Name, LinkQuality",
        '"tele/+/SENSOR"',
        {
            "heard-a": 'address = "0x3A47"',
            "heard-b": 'address = "Zb_hull"',
            "heard-c": 'address = "Zb_yard"',
        },
        (
            (
                "tele/shed-zb/SENSOR",
                (
                    '{"ZbReceived":{"0x3A47":{"Device":"0x3A47","Temperature":12.4,"Humidity":81,'
                    '"Endpoint":1,"LinkQuality":92}}}'
                ),
            ),
            (
                "tele/shed-zb/SENSOR",
                (
                    '{"ZbReceived":{"0x5ADF":{"Device":"0x5ADF","Name":"Zb_hull","Temperature":12.4,'
                    '"Humidity":81,"Endpoint":1,"LinkQuality":80}}}'
                ),
            ),
            (
                "tele/shed-zb/SENSOR",
                (
                    '{"ZbReceived":{"Zb_yard":{"Device":"0x128F","Temperature":12.4,"Humidity":81,'
                    '"Endpoint":1,"LinkQuality":75}}}'
                ),
            ),
        ),
    ),
    Sender(
        "wi-fi firmware, a topic for each state",
        "esphome.io/components/mqtt: <topic_prefix>/<component_type>/<name>/state (from memory)",
        '"+/sensor/+/state"',
        {"state-a": 'address = "shed-node/bench"', "state-b": 'address = "loft-node"'},
        (
            ("shed-node/sensor/bench_temperature/state", "12.4"),
            ("shed-node/sensor/bench_humidity/state", "81.0"),
            ("loft-node/sensor/temperature/state", "12.4"),
            ("loft-node/sensor/humidity/state", "81.0"),
        ),
        readings=2,
    ),
    Sender(
        "BLE gateway",
        "docs.openmqttgateway.com/use/ble.html: id, name, rssi; tempc, tempf, hum, batt",
        '"ble/+/BTtoMQTT/+"',
        {"ble": 'address = "A4:C1:38:0A:1B:2C"'},
        (
            (
                "ble/gate/BTtoMQTT/A4C1380A1B2C",
                (
                    '{"id":"A4:C1:38:0A:1B:2C","name":"Shed hull","rssi":-71,"model":"demo",'
                    '"tempc":12.4,"tempf":54.32,'
                    '"hum":81,"batt":93,"volt":2.9}'
                ),
            ),
        ),
    ),
    Sender(
        "433 MHz receiver, all devices on one topic",
        "github.com/merbanan/rtl_433, docs/DATA_FORMAT.md: time, model, id, channel, battery_ok",
        '"radio/+/events"',
        {"radio-a": 'address = "Demo-TH/1/94"', "radio-b": 'address = "Demo-TH/2/184"'},
        (
            (
                "radio/gate/events",
                (
                    '{"time":"BLANK","model":"Demo-TH","id":94,"channel":1,"battery_ok":1,'
                    '"temperature_C":12.400,"humidity":81}'
                ),
            ),
            (
                "radio/gate/events",
                (
                    '{"time":"BLANK","model":"Demo-TH","id":184,"channel":2,"battery_ok":0,'
                    '"temperature_F":54.320,"humidity":81,"mic":"CRC"}'
                ),
            ),
        ),
    ),
    Sender(
        "LoRaWAN network server, uplink message",
        "thethingsindustries.com/docs, data formats: uplink messages",
        '"v3/+/devices/+/up"',
        {"lora-a": 'address = "eui-0004a30b001c0530"'},
        (
            (
                "v3/shed@tenant/devices/eui-0004a30b001c0530/up",
                (
                    '{"end_device_ids":{"device_id":"eui-0004a30b001c0530",'
                    '"application_ids":{"application_id":"shed"},'
                    '"dev_eui":"0004A30B001C0530"},"correlation_ids":["as:up:01"],"received_at":"ISO",'
                    '"uplink_message":{"f_port":2,"f_cnt":9,"frm_payload":"DAIR","decoded_payload":'
                    '{"temperature":12.4,"humidity":81},"rx_metadata":[{"rssi":-71,'
                    '"time":"2001-01-01T00:00:00Z"}],'
                    '"settings":{"timestamp":2463457000,"time":"2001-01-01T00:00:00Z"},"received_at":"ISO"}}'
                ),
            ),
        ),
    ),
    Sender(
        "LoRaWAN network server, event up",
        "chirpstack.io/docs, integrations/events: UplinkEvent (integration.proto on docs.rs/chirpstack_api)",
        '"application/+/device/+/event/+"',
        {"lora-b": 'address = "0101010101010101"'},
        (
            (
                "application/17/device/0101010101010101/event/up",
                (
                    '{"deduplicationId":"3ac7e3c4","time":"ISO","deviceInfo":{"tenantName":"shed",'
                    '"applicationName":"a",'
                    '"deviceName":"Shed bench","devEui":"0101010101010101"},"devAddr":"00189440",'
                    '"dr":1,"fPort":1,'
                    '"data":"qg==","object":{"temperature":12.4,"humidity":81.0},"rxInfo":[{"rssi":-48}]}'
                ),
            ),
        ),
    ),
    Sender(
        "RPC, a topic for each component",
        "shelly-api-docs.shelly.cloud, gen2/ComponentsAndServices/Temperature and Humidity: status",
        '"+/status/+"',
        {"rpc-a": 'address = "plug-1"', "rpc-probe": 'address = "plug-1/100"'},
        (
            ("plug-1/status/temperature:0", '{"id":0,"tC":12.4,"tF":54.3}'),
            ("plug-1/status/humidity:0", '{"id":0,"rh":81.0}'),
            ("plug-1/status/temperature:100", '{"id":100,"tC":12.4,"tF":54.3}'),
            ("plug-1/status/temperature:100", '{"id":100,"tC":12.4,"tF":54.3}'),
        ),
        readings=2,
    ),
    Sender(
        "RPC, notices",
        "shelly-api-docs.shelly.cloud, gen2/General/Notifications: NotifyStatus, NotifyFullStatus",
        '"+/events/rpc"',
        {"rpc-b": 'address = "room-1"'},
        (
            (
                "room-1/events/rpc",
                (
                    '{"src":"room-1-0a1b2c3d4e5f","dst":"room-1/events",'
                    '"method":"NotifyFullStatus","params":{"ts":UNIX,'
                    '"ble":{},"devicepower:0":{"id":0,"battery":{"V":5.4,"percent":71}},'
                    '"humidity:0":{"id":0,"rh":81.0},'
                    '"sys":{"mac":"0A1B2C3D4E5F","time":"10:50","unixtime":1},"temperature:0":'
                    '{"id":0,"tC":12.4,"tF":54.3}}}'
                ),
            ),
        ),
    ),
    Sender(
        "Homie 4",
        "homieiot.github.io/specification/spec-core-v4_0_0: $state, $unit; degF as its sign",
        '"homie/+/+/+"',
        {"homie-a": 'address = "air"'},
        (
            ("homie/shed-one/$state", "ready"),
            ("homie/shed-one/air/temperature/$unit", "°F"),
            ("homie/shed-one/air/humidity/$unit", "%"),
            ("homie/shed-one/air/temperature", "54.32"),
            ("homie/shed-one/air/humidity", "81.0"),
        ),
        readings=2,
    ),
    Sender(
        "Homie 5",
        "homieiot.github.io, overview and version 5: $state, $description with nodes, properties, unit",
        '"homie/5/+/+/+"',
        {"homie-b": 'address = "deck"'},
        (
            (
                "homie/5/shed-two/$description",
                (
                    '{"homie":"5.0","version":12,"nodes":{"deck":{"properties":{"temperature":{"unit":"°F",'
                    '"datatype":"float"},"humidity":{"unit":"%","datatype":"float"}}}}}'
                ),
            ),
            ("homie/5/shed-two/$state", "ready"),
            ("homie/5/shed-two/deck/temperature", "54.32"),
            ("homie/5/shed-two/deck/humidity", "81.0"),
        ),
        readings=2,
    ),
    Sender(
        "hub that counts its devices",
        "domoticz.com/wiki/MQTT: domoticz/out with idx, dtype, nvalue, svalue1 (from memory)",
        '"hub/out"',
        {"hub": 'address = "idx/41"'},
        (
            (
                "hub/out",
                (
                    '{"Battery":255,"RSSI":12,"description":"","dtype":"Temp + Humidity","hwid":"2",'
                    '"id":"14051","idx":41,"name":"Shed bench","nvalue":0,"stype":"",'
                    '"svalue1":"12.4","svalue2":"81",'
                    '"svalue3":"1","unit":1}'
                ),
            ),
        ),
    ),
)
