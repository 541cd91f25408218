"""``speedcal restore``: a backup of the upload page, put back."""

from __future__ import annotations

from pathlib import Path

import click

from speedcal.cli._options import store_options
from speedcal.cli._waiting import waiting
from speedcal.text.codes.command_messages import working_on


@click.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@store_options
def command(file: Path, data: Path, database: str) -> None:
    r"""Put FILE, written by speedcal backup, into an empty data folder and an empty database.

    Links, passcode and results are those of the backup. The database may be of the other kind: this is also the way
    from SQLite to PostgreSQL and back. Stop the page first.

    \b
    Examples:
      speedcal restore shop.zip --data new-folder
      speedcal restore shop.zip --data new-folder --database postgresql+psycopg://user@host/name
    """
    from speedcal.text.pages.page_labels import BACKUP
    from speedcal.web.kept.backup import restore_backup
    from speedcal.web.settings import Settings

    with waiting(working_on("reading", file.name)):
        counts = restore_backup(Settings(data=data, database=database), file)
    click.echo(BACKUP["restored"].format(jobs=counts.jobs, drives=counts.drives, folder=data))
    if counts.missing:
        click.echo(BACKUP["missing"].format(count=counts.missing), err=True)
