"""``node configure`` and ``node wiring``: what a board is told, and how it is wired."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from monitor.commands.node.options import NODE, board_options, configured, settings_given
from monitor.commands.parameters import FILE
from monitor.commands.terminal import data_dir, examples, reader_of
from monitor.translatable import N_


@click.command(
    "configure",
    epilog=examples(
        "node configure tub-3 --serial --air sht4x --distance tof --sensor-height 310",
        'node configure tub-3 --mqtt mqtts://bakery.lan:8883 --ca --wifi "Bakery"',
        "node configure tub-3 --board esp32-c3 --pin sda=5 --pin scl=4",
        "node configure tub-3 --period 15s",
        "node configure tub-4 --beside tub-3 --pin probe=14 --pin tx=32 --pin rx=33 --uart 1",
    ),
)
@NODE
@board_options
@data_dir
def configure(node: str, data_dir: Path, **given: Any) -> None:
    """Write what a board is told; once more changes what is given.

    NODE is what you call it: letters, digits, - and _, such as tub-3.
    """
    from monitor.node.settings import Link, read_settings, write_settings
    from monitor.node.tubs import board_with
    from monitor.wire.frames import key_of

    reader = reader_of(data_dir)
    old = read_settings(data_dir, node)
    settings = settings_given(old, given, data_dir)
    tubs = board_with(data_dir, node, settings)
    paths = {label: write_settings(data_dir, label, tub) for label, tub in tubs.items()}
    path = paths[node]
    is_kept = N_("{path}: changed; only you can read it") if old else N_("{path}: written; only you can read it")
    click.echo(reader.say(is_kept, path=path))
    click.echo(reader.say("{node} is {name}", node=node, name=settings.name))
    if settings.link is Link.MQTT:
        click.echo(
            reader.say(
                "broker {mqtt_host}:{mqtt_port}: it logs in as {name} with the mqtt_password in that "
                "file;\n  `proofing-monitor broker configure` tells the broker, and keeps it to its own "
                "topics",
                mqtt_host=settings.mqtt_host,
                mqtt_port=settings.mqtt_port,
                name=key_of(settings.name),
            )
        )
    for caution in settings.cautions():
        click.echo(reader.say("note: {caution}", caution=reader.text(caution)))
    if settings.sensor_height_mm is None:
        unknown = N_("the sensor's height is not known yet: `proofing-monitor node calibrate {node} empty`")
        click.echo(reader.say(unknown, node=node))
    click.echo(reader.say("next: `proofing-monitor node copy {node}` with the board plugged in", node=next(iter(tubs))))


@click.command("wiring", epilog=examples("node wiring tub-3 --out tub-3.svg"))
@NODE
@click.option("--out", type=FILE, required=True, metavar="FILE", help="The drawing, as SVG: a browser shows it.")
@data_dir
def wiring(node: str, out: Path, data_dir: Path) -> None:
    """Draw how the parts of a node, and of all tubs on its board, are wired to its pins."""
    from monitor.node.boards import draw_wiring
    from monitor.node.tubs import tubs_on

    settings = configured(data_dir, node)
    draw_wiring(list(tubs_on(data_dir, settings.name).values()), out)
    click.echo(reader_of(data_dir).say("{path}: drawn", path=out))
