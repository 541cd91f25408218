"""``speedcal film``: the dial read from a film."""

from __future__ import annotations

from pathlib import Path

import click

from speedcal.cli._options import FILE, Number, refuse_other, write_file, writing
from speedcal.cli._waiting import progress_bar
from speedcal.errors import ReadingsFormatError


@click.command("film")
@click.argument("video", type=FILE)
@click.argument("dial", type=FILE)
@click.option("--out", type=FILE, required=True, help="File for the readings (CSV).")
@click.option("--check", type=FILE, help="Picture (PNG) of a dozen frames with the needle found.")
@click.option("--per-second", type=Number(0.1, 30), default=2.0, show_default=True, help="Frames to read.")
def command(video: Path, dial: Path, out: Path, check: Path | None, per_second: float) -> None:
    r"""Read the speedometer from a film of it.

    VIDEO is a film of a phone in a holder, or a folder of pictures with the time in their EXIF data. DIAL is a file
    that says where a few marks of the dial stand in one frame:

    \b
      unit = "mph"
      frame_s = 3.0
      marks = [[0, 402, 655], [20, 331, 480], [40, 420, 318], [60, 618, 262], [80, 815, 322], [100, 902, 483]]

    \b
    Example:
      speedcal film drive.mp4 dial.toml --out readings.csv

    Fix the holder before the drive, out of the driver's view of the road. Nobody touches the phone while the vehicle
    moves. Local law on devices at the windshield comes first.
    """
    from speedcal.logs.film.reading import film_reading, readings_table
    from speedcal.logs.film.stills import contact_sheet
    from speedcal.text.codes.command_messages import READING_FILM
    from speedcal.text.codes.film_messages import frames_text

    for path, mark in ((out, b",u_common ("), (check, b"PNG")):  # before the film is read, which takes minutes
        if path is not None:
            with writing(path, ReadingsFormatError):
                path.parent.stat()
            refuse_other(path, mark, ReadingsFormatError)
    with progress_bar(READING_FILM) as move:
        reading = film_reading(video, dial, per_s=per_second, progress=lambda part: move(completed=part))
    write_file(out, readings_table(reading), ReadingsFormatError)
    if check is not None:
        with writing(check, ReadingsFormatError):
            contact_sheet(reading.stills, reading.dial.unit, check)
    click.echo(frames_text(len(reading.value), reading.left_out), err=True)
