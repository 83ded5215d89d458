"""``node boards``, ``copy``, ``probes`` and ``verify``: boards on a cable."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from monitor.commands.node.options import NODE, configured
from monitor.commands.parameters import FILE
from monitor.commands.terminal import data_dir, examples, reader_of
from monitor.translatable import N_


@click.command("boards", epilog=examples("node boards", "node boards --ask --port /dev/ttyUSB0"))
@click.option("--ask", is_flag=True, help="Ask each what it runs (this stops a node until its reset).")
@click.option("--port", metavar="PORT", help="Look at this port alone.")
@data_dir
def boards(ask: bool, port: str | None, data_dir: Path) -> int:
    """List the boards that are plugged in.

    The exit status is 1 when there is none, or one that was asked does not answer.
    """
    from monitor.node.boards import NO_BOARD, BoardError, FoundPort, asked, found_boards

    reader = reader_of(data_dir)
    found = found_boards() if port is None else [FoundPort(port, "", "")]
    if not found:
        click.echo(reader.text(NO_BOARD))
        return 1
    is_any_silent = False
    for board in found:
        click.echo("  ".join(part for part in (board.path, board.hwid, board.description) if part))
        if ask:
            try:
                click.echo(f"    {asked(board.path)}")
            except BoardError as err:
                is_any_silent = True
                click.echo(f"    {reader.text(err)}")
    return int(is_any_silent)


@click.command("copy", epilog=examples("node copy tub-3", "node copy tub-3 --port /dev/ttyUSB0 --ca ca.pem"))
@NODE
@click.option("--port", metavar="PORT", help="The board's (default: the only one there is).")
@click.option("--ca", type=FILE, metavar="FILE", help="Certificate (PEM) of the broker to trust.")
@data_dir
def copy(node: str, port: str | None, ca: Path | None, data_dir: Path) -> None:
    """Put firmware and configuration on a board; those of all tubs that hang on it."""
    from monitor.node.boards import copy_firmware, only_board
    from monitor.node.tubs import board_with

    reader = reader_of(data_dir)
    settings, *beside = board_with(data_dir, node, configured(data_dir, node)).values()
    port = only_board().path if port is None else port
    copy_firmware(port, settings, ca, sys.stdout, beside)
    click.echo(reader.say("the board starts as {name}", name=settings.name))
    click.echo(reader.say("next: `proofing-monitor node readings {node} --port {port}`", node=node, port=port))


@click.command("probes", epilog=examples("node probes tub-3"))
@NODE
@click.option("--port", metavar="PORT", help="The board's (default: the only one there is).")
@data_dir
def probes(node: str, port: str | None, data_dir: Path) -> int:
    """List the probes on a board's wires: warm one in your hand, look again, and you know which it is.

    This stops the node until its reset. The exit status is 1 when no probe answers.
    """
    from monitor.node.boards import only_board, probes_on
    from monitor.node.tubs import probe_pins, tubs_on
    from monitor.wording.phrases import temp_text

    reader = reader_of(data_dir)
    tubs = tubs_on(data_dir, configured(data_dir, node).name)
    called = {tub.probe_id: label for label, tub in tubs.items()}
    port = only_board().path if port is None else port
    n_found = 0
    for pin in probe_pins(tubs):
        found = probes_on(port, pin)
        n_found += len(found)
        for address, temp_c in found:
            click.echo(f"GPIO {pin}  {address}  {temp_text(temp_c, reader)}  {called.get(address, '')}".rstrip())
        if not found:
            click.echo(reader.say("GPIO {pin}: no probe answers", pin=pin))
    return int(not n_found)


@click.command("verify", epilog=examples("node verify", "node verify --port /dev/ttyUSB0"))
@click.option("--port", metavar="PORT", help="The board's (default: the only one there is).")
@data_dir
def verify(port: str | None, data_dir: Path) -> int:
    """Compare a board's programs with those that `node copy` would put there (this stops a node until its reset).

    The exit status is 1 when one is changed or missing.
    """
    from monitor.node.boards import Deviation, deviations, firmware_files, only_board
    from monitor.wording.phrases import printable

    reader = reader_of(data_dir)
    words = {
        Deviation.CHANGED: N_("{name}: is not as this program would copy it"),
        Deviation.MISSING: N_("{name}: is missing"),
        Deviation.FOREIGN: N_("{name}: is none of this program's; look into it, or delete it"),
    }
    found = deviations(only_board().path if port is None else port)
    for name, deviation in found:
        click.echo(reader.say(words[deviation], name=printable(name)))
    wrong = [name for name, deviation in found if deviation is not Deviation.FOREIGN]
    if wrong:
        click.echo(reader.say("next: `proofing-monitor node copy NODE` puts them there as they should be"))
    else:
        n = len(firmware_files())
        click.echo(reader.count(n, "{n} file is as it should be", "{n} files are as they should be"))
    return int(bool(wrong))
