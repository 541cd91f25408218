"""``speedcal backup``: everything of the upload page in one file."""

from __future__ import annotations

from pathlib import Path

import click

from speedcal.cli._options import store_options
from speedcal.cli._waiting import waiting
from speedcal.text.codes.command_messages import working_on


@click.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
@store_options
def command(file: Path, data: Path, database: str) -> None:
    r"""Write the jobs, drives, results and links of the upload page into FILE, while the page runs.

    What was acknowledged before the command began is in it. Whoever has the file can read everything and open every
    link: keep it like a key.

    \b
    Examples:
      speedcal backup shop.zip
      speedcal backup shop.zip --data /srv/speedcal
    """
    from speedcal.text.pages.page_labels import BACKUP
    from speedcal.web.kept.backup import make_backup
    from speedcal.web.settings import Settings

    with waiting(working_on("writing", file.name)):
        counts = make_backup(Settings(data=data, database=database), file)
    click.echo(BACKUP["made"].format(jobs=counts.jobs, drives=counts.drives, file=file))
    if counts.missing:
        click.echo(BACKUP["missing"].format(count=counts.missing), err=True)
