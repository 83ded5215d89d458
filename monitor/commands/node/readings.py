"""``node readings``: what a node measures, as it comes."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.node.options import NODE, listening, node_called, opened
from monitor.commands.terminal import data_dir, examples, reader_of
from monitor.errors import SourceError

if TYPE_CHECKING:
    from monitor.wire.readings import Reading

REPORT_LOOK_S = 5.0  # judgement: a person who waits for readings is told soon what the node says instead


@click.command("readings", epilog=examples("node readings tub-3", "node readings tub-3 --port /dev/ttyUSB0 --count 3"))
@NODE
@click.option("--count", type=int, metavar="N", default=0, help="End after so many (default: Ctrl-C ends it).")
@listening
@data_dir
def readings(node: str, count: int, port: str | None, wait: timedelta, data_dir: Path) -> None:
    """Show live readings, to see whether all is wired right."""
    from monitor.node.live_readings import listening as listening_at
    from monitor.node.reading_lines import pack_line, set_right_line
    from monitor.settings.reader import local_zone
    from monitor.wording.node_report import missing_texts, running_text

    urn, settings = node_called(node, data_dir)
    store, clock = opened(data_dir)
    with store, listening_at(port, urn, store, clock) as ear:
        calibrations = store.calibrations.all(urn)
        reader = reader_of(data_dir)
        click.echo(reader.text(set_right_line(calibrations)))
        height_mm = None if settings is None else settings.sensor_height_mm
        shown = 0
        told: list[str] = []
        while count <= 0 or shown < count:
            until_s, report = clock.real_s() + wait.total_seconds(), ear.report()
            pack: tuple[Reading, ...] = ()
            while not pack and clock.real_s() < until_s:
                pack = ear.hear(min(until_s, clock.real_s() + REPORT_LOOK_S))
                report = ear.report()
                missing = [] if report is None else missing_texts(report, reader)
                if missing != told:
                    told = missing
                    click.echo("\n".join(missing))
            if not pack:
                if report is not None:
                    click.echo(running_text(report, reader))
                    raise SourceError("the node is there and reads nothing; mend what it says of its sensors")
                raise SourceError(ear.explanation())
            click.echo(pack_line(pack, calibrations, height_mm, local_zone()))
            shown += 1
