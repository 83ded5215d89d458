"""What is told at a broker, by its topics: ``doughs/<site>/...``, and what describes it for programs for homes.

``doughs/<site>/batch/<number>`` holds a running dough, ``doughs/<site>/monitor`` the monitor itself, each as one
retained message with a state of :mod:`monitor.published.states` as JSON.

Programs that run a home look for sensors that describe themselves under ``<prefix>/sensor/<node>/<object>/config``:
https://www.home-assistant.io/integrations/mqtt (MQTT discovery, single component) and
https://www.home-assistant.io/integrations/sensor.mqtt say how. Of what they know, sensors alone are told: nothing that
takes a command.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

import msgspec

from monitor.dough.outlook import State
from monitor.published.states import BatchState, MonitorState, Work
from monitor.translatable import N_
from monitor.wording.reader import Reader

ROOT = "doughs"
"""The level under which everything is told: outside what nodes speak on."""
PROGRAM = "proofing-monitor"


class _Sensor(NamedTuple):
    key: str
    name: str
    value: str
    says: dict[str, Any]


_SECONDS = {"device_class": "duration", "unit_of_measurement": "s"}
_MOMENT = {"device_class": "timestamp"}
_DEGREES = {"device_class": "temperature", "unit_of_measurement": "°C", "state_class": "measurement"}
_SENSORS = (
    _Sensor("state", N_("State"), "state", {"device_class": "enum", "options": [each.value for each in State]}),
    _Sensor("rise", N_("Rise"), "rise_pct.p50", {"unit_of_measurement": "%", "state_class": "measurement"}),
    _Sensor("ready", N_("Ready"), "ready.p50", _MOMENT),
    _Sensor("ready-earliest", N_("Ready at the earliest"), "ready.p05", _MOMENT),
    _Sensor("ready-latest", N_("Ready at the latest"), "ready.p95", _MOMENT),
    _Sensor("peak", N_("Peak"), "peak.p50", _MOMENT),
    _Sensor("next", N_("Next"), "next.task", {}),
    _Sensor("next-at", N_("Next at"), "next.at", _MOMENT),
    _Sensor("dough", N_("Dough"), "dough_temp_c", _DEGREES),
    _Sensor("air", N_("Air"), "air_temp_c", _DEGREES),
    _Sensor("age", N_("Age of the newest reading"), "data_age_s", _SECONDS),
)  # fmt: skip


def monitor_topic(site: str) -> str:
    """Where the monitor of a site tells how it does."""
    return f"{ROOT}/{site}/monitor"


def batch_topic(site: str, batch: int | str) -> str:
    """Where a dough is told; with ``+`` the filter of all."""
    return f"{ROOT}/{site}/batch/{batch}"


def discovery_topic(prefix: str, site: str, sensor: str) -> str:
    """Where a sensor describes itself; with ``+`` the filter of all."""
    return f"{prefix}/sensor/proofing-{site}/{sensor}/config"


def descriptions(batch: BatchState, prefix: str, site: str, reader: Reader) -> Iterator[tuple[str, bytes]]:
    """What describes a dough's sensors: topic and message, the same for as long as it runs."""
    for sensor in _SENSORS:
        device = f"proofing-{site}-{batch.batch}"
        says = {
            "name": reader.say(sensor.name),
            "unique_id": f"{device}-{sensor.key}",
            "state_topic": batch_topic(site, batch.batch),
            "value_template": _template(sensor.value),
            "availability_topic": monitor_topic(site),
            "availability_template": "{{ value_json.state }}",
            "payload_available": Work.AT_WORK.value,
            "payload_not_available": Work.GONE.value,
            "device": {"identifiers": [device], "name": batch.name},
            "origin": {"name": PROGRAM},
            **sensor.says,
        }
        yield discovery_topic(prefix, site, f"{batch.batch}-{sensor.key}"), msgspec.json.encode(says)


def state_message(state: BatchState | MonitorState) -> bytes:
    """A state as the message that is kept."""
    return msgspec.json.encode(state)


def _template(path: str) -> str:
    """Takes a value out of a dough's message; "None" where it is not known, which such programs take for that.

    >>> _template("ready.p50")
    "{{ (value_json['ready'] or {'p50': none})['p50'] }}"
    """
    outer, _, inner = path.partition(".")
    found = f"value_json['{outer}']"
    return f"{{{{ ({found} or {{'{inner}': none}})['{inner}'] }}}}" if inner else f"{{{{ {found} }}}}"
