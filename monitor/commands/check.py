"""``check``: what is set up, what is wrong, how to mend it."""

import os
from pathlib import Path

import click

from monitor.commands.terminal import data_dir, examples, settings_files


@click.command("check", epilog=examples("check", "check --data-dir practice"))
@data_dir
@settings_files
def command(data_dir: Path, config: Path | None, secrets: Path | None) -> int:
    """Say what is set up, what is wrong and how to mend it.

    The exit status is 1 when something is wrong.
    """
    from monitor.deploy.checks import looked_at
    from monitor.settings.effective import effective_settings

    settings, findings = looked_at(data_dir, os.environ, config_path=config, secrets_path=secrets)
    reader = settings.reader
    for finding in findings:
        verdict = reader.say("ok") if finding.mend is None else reader.say("WRONG")
        click.echo(f"{verdict:<5}  {reader.text(finding.what)}")
        if finding.mend is not None:
            click.echo("         " + reader.say("what to do: {mend}", mend=reader.text(finding.mend)))
    click.echo(reader.say("settings in force:"))
    for line in effective_settings(settings):
        click.echo(f"       {line}")
    return int(any(finding.mend is not None for finding in findings))
