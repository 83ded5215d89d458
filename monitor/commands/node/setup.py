"""``node setup``: from a bare board on a cable to its first reading, asking what it must know."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.commands.node.options import (
    BOARDS,
    NODE,
    SENSORS,
    board_options,
    opened,
    settings_given,
)
from monitor.commands.parameters import DURATION, POSITIVE
from monitor.commands.terminal import data_dir, examples, reader_of
from monitor.errors import ConfigError
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.node.boards import Answer
    from monitor.node.first_readings import SensorVerdict
    from monitor.node.settings import NodeSettings
    from monitor.wording.reader import Reader

STATUS_WRONG_SENSOR = 1
QUESTIONS = {
    "air": N_("air sensor on the two I2C wires"),
    "probe": N_("probe in the dough"),
    "distance": N_("distance sensor over the dough"),
}


@dataclass(frozen=True, slots=True)
class Questions:
    """Asks a person; with nobody there, or who said --yes, each answer is the usual one."""

    reader: Reader
    is_asking: bool

    def one_of(self, question: str, choices: Sequence[str], usual: str) -> str:
        """One of some words."""
        if not self.is_asking:
            return usual
        return str(click.prompt(question, type=click.Choice(list(choices)), default=usual))

    def number(self, question: str, usual: int) -> int:
        """A whole number."""
        return int(click.prompt(question, type=int, default=usual)) if self.is_asking else usual

    def text(self, question: str, usual: str) -> str:
        """Anything in one line."""
        return str(click.prompt(question, default=usual)).strip() if self.is_asking else usual

    def agrees(self, question: str, *, usual: bool) -> bool:
        """Yes or no."""
        return click.confirm(question, default=usual) if self.is_asking else usual


@click.command(
    "setup",
    epilog=examples(
        "node setup tub-3",
        "node setup tub-3 --yes",
        "node setup tub-3 --port /dev/ttyUSB0 --board esp32-c3 --distance tof --pin sda=5 --yes",
        'node setup tub-4 --mqtt mqtts://bakery.lan --ca --wifi "Bakery"',
        "node setup tub-5 --beside tub-3 --distance ultrasonic",
    ),
)
@NODE
@click.option("--port", metavar="PORT", help="The board's (default: the only one there is).")
@click.option("--yes", is_flag=True, help="Ask nothing: what is not given is as before, or as usual.")
@click.option("--wait", type=DURATION, default="2m", show_default=True, help="How long to wait for the sensors.")
@click.option("--empty/--no-empty", default=None, help="The empty vessel stands under it: set it to zero.")
@click.option("--depth", type=POSITIVE, metavar="MM", help="With --empty: how deep the vessel is.")
@board_options
@data_dir
def setup(
    node: str,
    port: str | None,
    yes: bool,
    wait: timedelta,
    empty: bool | None,
    depth: float | None,
    data_dir: Path,
    **given: Any,
) -> int:
    """Set a node up over its cable, from the bare board to its first reading.

    It finds the board, asks what is wired to which pin, puts firmware and configuration on it, listens, and says of
    each sensor whether it is right. Once more with --yes, it brings an update of this program to the board.

    NODE is what you call it: letters, digits, - and _, such as tub-3. The exit status is 1 when a sensor is not right.
    """
    from monitor.node.boards import asked, copy_firmware, only_board
    from monitor.node.settings import Link, read_settings, write_settings
    from monitor.node.tubs import board_with

    reader = reader_of(data_dir)
    questions = Questions(reader, is_asking=not yes and sys.stdin.isatty())
    old = read_settings(data_dir, node)
    port = only_board().path if port is None else port
    answer = asked(port)
    click.echo(f"{port}: {answer}")
    settings = settings_given(old, _with_answers(given, old, answer, questions), data_dir)
    settings = _with_pins(settings, given, questions)
    _say_cautions(settings, reader)
    tubs = board_with(data_dir, node, settings)
    for label, tub in tubs.items():
        path = write_settings(data_dir, label, tub)
        click.echo(reader.say("{path}: written; only you can read it", path=path))
    first, *beside = tubs.values()
    copy_firmware(port, first, _let_in(first, data_dir, reader), sys.stdout, beside)
    line = port if first.link is Link.SERIAL else None
    if line is not None:
        _keep_port(line, data_dir, reader)
    found = _heard(settings, line, data_dir, wait, reader)
    if not all(each.is_right for each in found):
        again = N_("mend that with the board unplugged, then: `proofing-monitor node setup {node} --yes`")
        click.echo(reader.say(again, node=node))
        return STATUS_WRONG_SENSOR
    if any(each.sensor == "distance" for each in found):
        _set_to_zero(node, settings, line, data_dir, wait, depth, empty, questions)
    click.echo(
        reader.say("next: `proofing-monitor collect`, and `proofing-monitor dashboard` for the board and *Start*")
    )
    return 0


# -- questions ----------------------------------------------------------------------------------------------------


def _with_answers(
    given: dict[str, Any], old: NodeSettings | None, answer: Answer, questions: Questions
) -> dict[str, Any]:
    """What was given by options, and what was asked for in its place; the password is asked for elsewhere."""
    from monitor.node.profiles import board_of
    from monitor.node.settings import Link
    from monitor.wire.frames import first_tub

    say = questions.reader.say
    found = dict(given)
    is_first = given["beside"] is None and (old is None or first_tub(old.name) == old.name)
    if given["board"] is None and is_first:
        known = board_of(answer.machine)
        usual = old.board.value if old is not None else BOARDS[0] if known is None else known.value
        found["board"] = questions.one_of(say("class of board"), BOARDS, usual)
    for option, kinds in SENSORS.items():
        if given[option] is None and (is_first or option != "air"):
            usual = kinds[0] if old is None else getattr(old, "dough" if option == "probe" else option).value
            found[option] = questions.one_of(say(QUESTIONS[option]), kinds, usual)
    if given["serial"] or given["mqtt"] is not None or not questions.is_asking or not is_first:
        return found
    usual = Link.SERIAL.value if old is None else old.link.value
    cable = say("does it speak over its cable (serial), or over the network to a broker (mqtt)?")
    if questions.one_of(cable, [link.value for link in Link], usual) == Link.SERIAL:
        return found | {"serial": True}
    scheme = "mqtt" if old is None or not old.mqtt_tls else "mqtts"
    before = "mqtts://bakery.lan" if old is None else f"{scheme}://{old.mqtt_host}:{old.mqtt_port}"
    found["mqtt"] = questions.text(say("address of the broker"), before)
    found["ca"] = found["ca"] or found["mqtt"].startswith("mqtts:")
    if given["wifi"] is None:
        found["wifi"] = questions.text(say("name of the wireless network"), "" if old is None else old.wifi_name)
    return found


def _with_pins(settings: NodeSettings, given: dict[str, Any], questions: Questions) -> NodeSettings:
    """The settings with the pins that a person says, asked again until the board has them."""
    from monitor.node.settings import AirSensor

    pins = settings.pins()
    if given["pins"] or not questions.is_asking or not pins:
        return settings
    wired = ", ".join(f"{job} {pin}" for job, pin in pins.items())
    say = questions.reader.say
    if questions.agrees(say("is it wired so: {pins}?", pins=wired), usual=True):
        return settings
    while True:
        chosen: dict[str, Any] = {
            f"pin_{job}": questions.number(say("GPIO number of {job}", job=job), pin) for job, pin in pins.items()
        }
        if settings.air is not AirSensor.NONE and given["air_address"] is None:
            text = questions.text(say("address of the air sensor"), hex(settings.air_address))
            chosen["air_address"] = int(text, 16) if text[2:].isalnum() and text.startswith("0x") else 0
        try:
            return replace(settings, **chosen)
        except ConfigError as err:
            click.echo(questions.reader.text(err))


# -- what follows -------------------------------------------------------------------------------------------------


def _say_cautions(settings: NodeSettings, reader: Reader) -> None:
    for caution in settings.cautions():
        click.echo(reader.say("note: {caution}", caution=reader.text(caution)))


def _let_in(settings: NodeSettings, data_dir: Path, reader: Reader) -> Path | None:
    """Let a node in at the broker that is set up here; returns whom it is to trust."""
    from monitor.clock import SystemClock
    from monitor.node.settings import Link
    from monitor.remote_access.broker import read_options
    from monitor.remote_access.setting_up import write_broker

    options = None if settings.link is Link.SERIAL else read_options(data_dir)
    if options is None:
        return None
    files = write_broker(data_dir, options, os.environ, SystemClock().now())
    click.echo(reader.say("the broker's files know it now; send mosquitto SIGHUP, or start it again"))
    return files.pair.ca


def _keep_port(port: str, data_dir: Path, reader: Reader) -> None:
    from monitor.node.boards import lasting_name
    from monitor.remote_access.settings_files import add_port
    from monitor.settings.data_dir import CONFIG_NAME
    from monitor.store.collector_lock import is_collector_running

    name = lasting_name(port)
    if add_port(data_dir, name):
        click.echo(reader.say("{path}: the collector listens on {port}", path=data_dir / CONFIG_NAME, port=name))
        if is_collector_running(data_dir):
            click.echo(
                reader.say("a collector is at work here: end it and start it again, so that it hears this node too")
            )


def _heard(
    settings: NodeSettings, port: str | None, data_dir: Path, wait: timedelta, reader: Reader
) -> list[SensorVerdict]:
    from monitor.node.first_readings import first_verdicts
    from monitor.node.live_readings import listening
    from monitor.node.reading_lines import pack_line
    from monitor.settings.reader import local_zone
    from monitor.wording.node_report import read_text, unread_text

    click.echo(reader.say("listening to the node; it measures as it starts, and each {n} s", n=settings.period_s))
    store, clock = opened(data_dir)
    with store, listening(port, settings.name, store, clock) as ear:
        found = first_verdicts(
            ear,
            settings,
            clock,
            clock.real_s() + wait.total_seconds(),
            lambda pack: click.echo("  " + pack_line(pack, (), None, local_zone())),
        )
        if found and not any(each.readings or each.fault for each in found):
            click.echo(reader.text(ear.explanation()))
    for each in found:
        told = (
            read_text(each.sensor, each.pins, each.readings, reader)
            if each.fault is None
            else unread_text(each.sensor, each.fault, each.times, each.pins, None, reader)
        )
        click.echo(f"{'ok   ' if each.is_right else 'WRONG'}  {told}")
    return found


def _set_to_zero(
    node: str,
    settings: NodeSettings,
    line: str | None,
    data_dir: Path,
    wait: timedelta,
    depth: float | None,
    empty: bool | None,
    questions: Questions,
) -> None:
    """Take the empty vessel as zero, when it stands there."""
    from monitor.node.calibration import Wish, calibrate, heard
    from monitor.node.live_readings import listening
    from monitor.recipe.calibration import Comparison
    from monitor.wire.readings import Channel

    reader = questions.reader
    ready = reader.say("does the empty vessel stand under it, exactly as it will with dough in it?")
    if not (questions.agrees(ready, usual=False) if empty is None else empty):
        later = N_("the sensor's height is not known yet: `proofing-monitor node calibrate {node} empty`")
        if settings.sensor_height_mm is None:
            click.echo(reader.say(later, node=node))
        return
    store, clock = opened(data_dir)
    with store:

        def hear() -> tuple[float, ...]:
            with listening(line, settings.name, store, clock) as ear:
                until_s = clock.real_s() + wait.total_seconds() + 5 * settings.period_s
                return heard(ear, settings.name, Channel.DISTANCE, 5, clock.now(), until_s, sys.stdout, reader)

        wish = Wish(Comparison.EMPTY, Channel.DISTANCE, depth_mm=depth)
        calibrate(wish, settings.name, node, settings, store, data_dir, clock.now(), hear, sys.stdout, reader)
