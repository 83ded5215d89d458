"""``demo``: an invented bakery day, or one bread, with everything running."""

import signal
from pathlib import Path

import click

from monitor.commands.parameters import FOLDER, PORT, POSITIVE, TEMPERATURE
from monitor.commands.terminal import examples, stop
from monitor.errors import ConfigError

DAY_SPEED = 60.0
BAKE_SPEED = 480.0  # a bread takes more than a day


@click.command(
    "demo", epilog=examples("demo", "demo --bake --room 24C", "demo --seed 7 --speed 120 --no-browser --exit-when-done")
)
@click.option("--bake", is_flag=True, help="One bread instead, from its plan to the oven.")
@click.option("--room", type=TEMPERATURE, help="With --bake: how warm the kitchen really is.")
@click.option(
    "--speed", type=POSITIVE, help=f"Dough time over real time (default: {DAY_SPEED:g}; with --bake {BAKE_SPEED:g})."
)
@click.option("--seed", type=int, default=1, metavar="N", show_default=True, help="Another number, another day.")
@click.option("--port", type=PORT, help="Port of the dashboard (default: 8501 or a free one).")
@click.option("--no-browser", is_flag=True, help="Print the dashboard's address, do not open it.")
@click.option("--exit-when-done", is_flag=True, help="End with a table once every batch has ended.")
@click.option(
    "--influx-url",
    metavar="URL",
    help="Play two shops that meet in this InfluxDB (bucket: proofing). Its token: PROOFING_INFLUX_TOKEN.",
)
@click.option(
    "--data-dir", type=FOLDER, metavar="DIR", help="An empty directory for it (default: a new one among your data)."
)
def command(
    bake: bool,
    room: float | None,
    speed: float | None,
    seed: int,
    port: int | None,
    no_browser: bool,
    exit_when_done: bool,
    influx_url: str | None,
    data_dir: Path | None,
) -> int:
    """Play an invented bakery day, everything running, at high speed."""
    from monitor.demo.run import DemoOptions, run_demo

    if influx_url is not None and bake:
        raise ConfigError("--bake plays one kitchen; leave --influx-url out")
    options = DemoOptions(
        data_dir=data_dir,
        speed=speed or (BAKE_SPEED if bake else DAY_SPEED),
        seed=seed,
        port=port,
        is_ending_itself=exit_when_done,
        is_opening_browser=not (no_browser or exit_when_done),
        influx_url=influx_url,
    )
    if signal.getsignal(signal.SIGHUP) is signal.SIG_DFL:  # a closed window must not leave five processes behind
        signal.signal(signal.SIGHUP, stop)
    if not bake:
        return run_demo(options)
    from monitor.demo.bake import PLANNED_ROOM_C, run_bake

    return run_bake(options, PLANNED_ROOM_C if room is None else room)
