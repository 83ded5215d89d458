"""``check``: what is set up, what is wrong, how to mend it."""

import os
from importlib.metadata import distributions
from pathlib import Path

import click

from monitor.commands.terminal import data_dir, examples, settings_files

MOST_REFUSED = 20  # judgement: of kinds, about a screen; the dashboard lists them all


@click.command("check", epilog=examples("check", "check --data-dir practice", "check --installed"))
@click.option("--installed", is_flag=True, help="Hold every installed file against its package's record, too.")
@data_dir
@settings_files
def command(installed: bool, data_dir: Path, config: Path | None, secrets: Path | None) -> int:
    """Say what is set up, what is wrong and how to mend it.

    The exit status is 1 when something is wrong.
    """
    from monitor.clock import wall_clock
    from monitor.deploy.checks import looked_at, refusals
    from monitor.deploy.installed import looked_at_installed
    from monitor.settings.effective import effective_settings
    from monitor.wording.refusals import refusal_mend, refusal_text
    from monitor.wording.times import clock_text

    settings, findings = looked_at(data_dir, os.environ, config_path=config, secrets_path=secrets)
    if installed:
        findings += looked_at_installed(distributions())
    reader = settings.reader
    for finding in findings:
        verdict = reader.say("ok") if finding.mend is None else reader.say("WRONG")
        click.echo(f"{verdict:<5}  {reader.text(finding.what)}")
        if finding.mend is not None:
            click.echo("         " + reader.say("what to do: {mend}", mend=reader.text(finding.mend)))
    refused = refusals(settings)
    if refused:
        click.echo(reader.say("what came and could not be used, the newest first:"))
    for fault in refused[:MOST_REFUSED]:
        at = clock_text(fault.last_at, reader, wall_clock())
        what = refusal_text(fault.reason, fault.about, reader)
        click.echo(f"       {at}  {fault.node.removeprefix('urn:dev:')}  {what} ({fault.count})")
        if mend := refusal_mend(fault.reason, reader):
            click.echo("         " + reader.say("what to do: {mend}", mend=mend))
    click.echo(reader.say("settings in force:"))
    for line in effective_settings(settings):
        click.echo(f"       {line}")
    return int(any(finding.mend is not None for finding in findings))
