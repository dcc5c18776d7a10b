"""Dew point, margin, verdict and chance as plain values, as SenML, as OpenMetrics, and told to others."""

import json
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from curewatch.advice.judge.answer import Status, Verdict
from curewatch.answers.discovery import discovery_document, discovery_topic
from curewatch.answers.document import SentenceDocument
from curewatch.answers.metrics import families_of, open_metrics
from curewatch.answers.sensor import SensorStateDocument
from curewatch.answers.values import ValuesDocument, plain_values, senml_pack, values_document
from curewatch.clock import Instant
from curewatch.configuration import MqttSource
from curewatch.wire import senml

NOW = 1_795_600_000.0
KNOWN = ValuesDocument(
    at="2026-11-25T09:46:40.000Z", verdict="no-go", chance=0.41, dew_point_c=8.25, margin_k=2.5
)
UNTOLD = ValuesDocument(at=KNOWN.at, verdict="unknown", chance=None, dew_point_c=None, margin_k=None)


def look(status: Status, verdict: Verdict, margin: float | None = 2.5) -> ValuesDocument:
    check = SimpleNamespace(name="condensation-now", status=status, value=margin)
    advice: Any = SimpleNamespace(checks=(check,), verdict=verdict, probability=0.4125, at=NOW)
    air = SimpleNamespace(temperature=283.15, relative_humidity=0.8)
    return values_document(advice, SimpleNamespace(air=air))  # type: ignore[arg-type]


def test_the_values_are_those_of_the_look() -> None:
    """10 degC and 80 % have their dew point at 6.71 degC (psychrometric tables give 6.7)."""
    values = look(Status.FAILS, Verdict.NO_GO)
    assert values.dew_point_c == pytest.approx(6.7, abs=0.05)
    assert (values.margin_k, values.verdict, values.chance) == (2.5, "no-go", 0.412)


def test_what_rests_on_stale_readings_is_unknown() -> None:
    """No number of yesterday: an unknown check takes dew point and margin, an unknown verdict the chance."""
    values = look(Status.UNKNOWN, Verdict.UNKNOWN)
    assert plain_values(values) == dict.fromkeys(("dew_point_c", "margin_k", "verdict", "chance"), "unknown")


def test_the_pack_is_senml() -> None:
    """Resolved by the rules of RFC 8428; what cannot be told has no record."""
    records = senml.resolve(json.dumps(senml_pack(KNOWN)).encode(), Instant(NOW, 0.0))
    told = {one.name.removeprefix("urn:curewatch:"): (one.value, one.unit, one.time) for one in records}
    assert told["dew_point"] == (8.25, "Cel", NOW)
    assert told["margin"] == (2.5, "K", NOW)
    assert told["chance"] == (0.41, "/", NOW)
    assert told["verdict"][0] == "no-go"
    assert [
        one.name for one in senml.resolve(json.dumps(senml_pack(UNTOLD)).encode(), Instant(NOW, 0.0))
    ] == ["urn:curewatch:verdict"]


def state(name: str, **values: Any) -> SensorStateDocument:
    told = {"role": "air", "health": "fresh", "time": None, "age_s": 4.0, "temperature_c": 12.4}
    reason = SentenceDocument(text="", words="", numbers={})
    return SensorStateDocument(sensor=name, reason=reason, **{**told, "humidity_percent": 81.0, **values})


def samples(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    families = list(text_string_to_metric_families(text))
    return {(s.name, tuple(sorted(s.labels.items()))): s.value for f in families for s in f.samples}


def test_metrics_are_read_by_a_strict_parser() -> None:
    """Every number comes back; the unit ends the name; what is not known has no sample."""
    sensors = [state("bench"), state("hull", humidity_percent=None)]
    text = open_metrics({"": families_of(KNOWN, sensors, {"bench": 7}, {"not a number": 2})})
    found = samples(text)
    air = (("role", "air"), ("sensor", "bench"))
    assert found["curewatch_temperature_celsius", air] == 12.4
    assert found["curewatch_relative_humidity_ratio", air] == 0.81
    assert sum(name == "curewatch_relative_humidity_ratio" for name, _ in found) == 1
    assert found["curewatch_margin_kelvins", ()] == 2.5
    verdicts = {labels[0][1]: value for (name, labels), value in found.items() if name == "curewatch_verdict"}
    assert verdicts == {"go": 0.0, "no-go": 1.0, "unknown": 0.0}
    assert found["curewatch_readings_total", (("sensor", "bench"),)] == 7
    assert found["curewatch_rejected_total", (("reason", "not a number"),)] == 2
    untold = {name for name, _ in samples(open_metrics({"": families_of(UNTOLD, [], {}, {})}))}
    assert untold == {"curewatch_verdict"}


@given(st.text(max_size=20))
def test_no_name_breaks_the_text(name: str) -> None:
    """Whatever a sensor calls itself, the parser gives it back and every other sample stands."""
    found = samples(open_metrics({"": families_of(KNOWN, [state(name)], {name: 1}, {name: 1})}))
    assert found["curewatch_readings_total", (("sensor", name),)] == 1
    assert found["curewatch_dew_point_celsius", ()] == 8.25


def test_discovery_names_topics_that_are_published() -> None:
    """One document; each component has an identity of its own and turns unknown when nobody renews it."""
    document = discovery_document("creek", "ours", "Saltmarsh Shed")
    assert discovery_topic("homeassistant", "ours") == "homeassistant/device/curewatch-ours/config"
    parts = document["components"].values()
    assert {one["state_topic"] for one in parts} == {
        f"creek/v1/values/{name}" for name in plain_values(KNOWN)
    }
    assert len({one["unique_id"] for one in parts}) == len(parts) == 4
    assert all(one["expire_after"] and one["availability_topic"] == "creek/v1/availability" for one in parts)
    with pytest.raises(ValueError, match="discovery with publish only"):
        MqttSource(publish=None, discovery="homeassistant")
