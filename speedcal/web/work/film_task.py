"""What a worker process does with a film: stills to take the marks in, whether marks make a dial, the reading."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.text.codes.job_messages import step_name
from speedcal.web.kept.film_files import READINGS_FILE

if TYPE_CHECKING:
    from speedcal.logs.film.frames import Picture

Tell = Callable[[str, float], None]
_STILLS, _WIDEST_PX = 6, 1920
_QUALITY = 92


def film_stills(task: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Take stills of a film and propose where the ticks of the dial are.

    Parameters
    ----------
    task
        ``film`` (path), ``out`` (folder for the pictures).
    """
    from speedcal.logs.film.frames import open_film, picture_at
    from speedcal.logs.film.ticks import propose_ticks

    film, stills = open_film(task["film"]), []
    for number in range(_STILLS):
        tell(step_name("film_stills"), number / _STILLS)
        moment = round(film.length_s * (number + 0.5) / _STILLS, 2)
        whole = picture_at(film, moment)
        small, scale = _smaller(whole)
        found = propose_ticks(small)
        name = f"still-{number}.jpg"
        _write(Path(task["out"]) / name, small)
        height, width = small.shape[:2]
        shape = {"width": width, "height": height, "scale": scale, "time_s": moment, "file": name}
        stills.append({**shape, "ticks": found.points.round(1).tolist() if found else []})
    best = max(range(_STILLS), key=lambda n: len(stills[n]["ticks"]))
    return {"stills": stills, "best": best, "length_s": film.length_s}


def film_dial(task: Mapping[str, Any], _tell: Tell) -> dict[str, Any]:
    """Refuse marks that make no dial."""
    from speedcal.logs.film.marks import dial_from

    dial_from(task["dial"])
    return {}


def film_reading(task: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Read a film; write the readings, and the frames with the needle as it was found.

    Parameters
    ----------
    task
        ``film`` (path), ``dial`` (table of a dial file), ``version`` (of the marks), ``out`` (folder).
    """
    import numpy as np

    from speedcal.logs.film.marks import dial_from
    from speedcal.logs.film.reading import film_reading, readings_table
    from speedcal.logs.film.stills import drawn

    reading = film_reading(task["film"], dial_from(task["dial"]), progress=lambda part: tell(step_name("film"), part))
    out = Path(task["out"])
    (out / READINGS_FILE).write_bytes(readings_table(reading))
    moments = np.array([still.time_s for still in reading.stills])
    since = reading.time_s - reading.begin_s
    borders = np.searchsorted(since, (moments[1:] + moments[:-1]) / 2)
    frames = []
    for number, still in enumerate(reading.stills):
        name = f"frame-{task['version']}-{number}.jpg"
        _write(out / name, drawn(still))
        first, last = ([0, *borders][number], [*borders, len(since)][number])
        part = {"from_s": float(since[first]), "to_s": float(since[last - 1]), "rows": [int(first), int(last)]}
        frames.append({"file": name, "time_s": still.time_s, "value": round(still.value, 1), **part})
    return {
        "frames": frames,
        "count": len(reading.value),
        "left_out": dict(reading.left_out),
        "lowest": float(reading.value.min()),
        "highest": float(reading.value.max()),
        "u": float(np.median(reading.u)),
        "u_common": float(np.median(reading.u_common)),
        "unit": reading.dial.unit,
        "has_clock": reading.has_clock,
        "read_at": time.time(),
    }


def _smaller(picture: Picture) -> tuple[Picture, float]:
    """Return a picture no larger than a page needs, and how many pixels of the film are one of it."""
    import cv2
    import numpy as np

    scale = max(max(picture.shape[:2]) / _WIDEST_PX, 1.0)
    if scale == 1.0:
        return picture, 1.0
    size = (round(picture.shape[1] / scale), round(picture.shape[0] / scale))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8), scale


def _write(path: Path, picture: Picture) -> None:
    import cv2

    done, coded = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if done:
        path.write_bytes(coded.tobytes())
