"""One drive with its instrument, as loggers of every habit lay it out in a file."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import openpyxl
import pandas as pd
from support.logfiles import small_drive

DRIVE = small_drive(60)
SHOWN_KMH = np.round(DRIVE.speed_mps * 3.6 * 1.05)
MS = [f"{int(t) * 1000}" for t in DRIVE.time_s]


def rows_text(rows: list[list[object]], mark: str = ",", *, quoted: bool = False) -> str:
    stream = io.StringIO()
    csv.writer(stream, delimiter=mark, quoting=csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL).writerows(rows)
    return stream.getvalue()


def wide(times: list[str], names: list[str], *, above: list[list[object]] = (), below: list[list[object]] = ()) -> str:
    body = [
        [time, f"{lat:.7f}", f"{lon:.7f}", f"{speed:.2f}", f"{shown:.0f}"]
        for time, lat, lon, speed, shown in zip(
            times, DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH, strict=True
        )
    ]
    return rows_text([*above, names, *below, *body])


NAMES = ["time", "latitude", "longitude", "gps speed (m/s)", "vehicle speed (km/h)"]
PREAMBLE = [
    ["Logger", "export"],
    ["Format", 3],
    ["Title", "Sunday"],
    ["Created", "31/12/2025", "02:54"],
    ["Note", ""],
    [],
]
SAME = ["time", "latitude", "longitude", "speed", "speed"]
LONG = [
    [time, name, value, unit]
    for i, time in enumerate(DRIVE.iso)
    for name, value, unit in (
        ("latitude", f"{DRIVE.latitude_deg[i]:.7f}", "deg"),
        ("longitude", f"{DRIVE.longitude_deg[i]:.7f}", "deg"),
        ("gps speed", f"{DRIVE.speed_mps[i]:.2f}", "m/s"),
        ("vehicle speed", f"{SHOWN_KMH[i]:.0f}", "km/h"),
        ("coolant temperature", "90", "C"),
    )
]
OBJECTS = [
    {
        "timestamp": time,
        "position": {"latitude": lat, "longitude": lon},
        "gps": {"speed": {"value": speed, "unit": "m/s"}},
        "vehicle": {"speed": {"value": shown, "unit": "km/h"}},
    }
    for time, lat, lon, speed, shown in zip(
        DRIVE.iso,
        *(x.tolist() for x in (DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH)),
        strict=True,
    )
]
LISTS = {
    "meta": {"device": "logger", "channels": [1, 2, 3]},
    "data": {
        "time": DRIVE.iso,
        "latitude": DRIVE.latitude_deg.tolist(),
        "longitude": DRIVE.longitude_deg.tolist(),
        "gps speed m/s": DRIVE.speed_mps.tolist(),
        "vehicle speed km/h": SHOWN_KMH.tolist(),
    },
}
GEOJSON = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [lon, lat]},
            "properties": {"time": time, "gps speed m/s": speed, "vehicle speed km/h": shown},
        }
        for time, lat, lon, speed, shown in zip(
            DRIVE.iso,
            *(x.tolist() for x in (DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH)),
            strict=True,
        )
    ],
}


def _instrument_by_instrument() -> str:
    lines = []
    for i in range(len(MS)):
        lines.append(f"{int(MS[i]) - 1300};010D;{SHOWN_KMH[i]:.1f}")
        place = f"{DRIVE.latitude_deg[i]:.7f}:{DRIVE.longitude_deg[i]:.7f}:{DRIVE.speed_mps[i]}:{MS[i]}:251.4:3.3:0.1"
        lines.append(f"{int(MS[i]) - 1290};gps;{place}")
    return "\n".join(lines) + "\n"


BOTH: dict[str, str | bytes] = {
    "plain": wide(DRIVE.iso, NAMES),
    "preamble": wide(DRIVE.iso, NAMES, above=PREAMBLE),
    "a hundred lines of settings": wide(DRIVE.iso, NAMES, above=[["setting", i] for i in range(100)]),
    "units in a row of their own": wide(
        DRIVE.iso,
        ["time", "latitude", "longitude", "gps speed", "vehicle speed"],
        below=[["utc", "deg", "deg", "m/s", "km/h"]],
    ),
    "names, units and sources": wide(
        [f"{int(m) / 1000:.3f}" for m in MS],
        ["timestamp", *SAME[1:]],
        above=PREAMBLE,
        below=[["unix time", "deg", "deg", "m/s", "km/h"], ["", "100: gps", "100: gps", "100: gps", "200: obd"]],
    ),
    "everything quoted": rows_text(list(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES)))), quoted=True),
    "semicolons": rows_text(list(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES)))), ";"),
    "semicolons and decimal commas": rows_text(
        [
            [cell.replace(".", ",") if i else cell for cell in row]
            for i, row in enumerate(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))
        ],
        ";",
    ),
    "tabs": rows_text(list(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES)))), "\t"),
    "blank rows": wide(DRIVE.iso, NAMES).replace("\n", "\n\n"),
    "epoch in milliseconds": wide(MS, ["timestamp", *NAMES[1:]]),
    "epoch in seconds": wide([m[:-3] for m in MS], ["epoch", *NAMES[1:]]),
    "a time that stands still": rows_text(
        [
            ["session start time", *row] if i == 0 else ["2020-09-13T12:00:00Z", *row]
            for i, row in enumerate(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))
        ]
    ),
    "cells with their unit": wide(DRIVE.iso, [*NAMES[:4], "vehicle speed"])
    .replace("\r\n", " km/h\r\n")
    .replace("vehicle speed km/h", "vehicle speed"),
    "header once more": wide(DRIVE.iso, NAMES) + wide(DRIVE.iso, NAMES).split("\r\n")[0] + "\r\n",
    "precision beside position": rows_text(
        [
            [row[0], "3.5" if i else "latitude accuracy", *row[1:]]
            for i, row in enumerate(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))
        ]
    ),
    "a mode that is no status": rows_text(
        [
            [*row, "drive mode" if i == 0 else "0"]
            for i, row in enumerate(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))
        ]
    ),
    "long form": rows_text([["time", "quantity", "value", "unit"], *LONG]),
    "long form without the other quantities": rows_text([["timestamp", "signal", "value", "unit"], *LONG], ";"),
    "json lines": "\n".join(map(json.dumps, OBJECTS)),
    "json list": json.dumps(OBJECTS),
    "nested json": json.dumps({"trip": {"id": 7, "samples": OBJECTS}}),
    "json of lists": json.dumps(LISTS),
    "geojson": json.dumps(GEOJSON),
    "long form in json": json.dumps([dict(zip(("time", "name", "value", "unit"), row, strict=True)) for row in LONG]),
    "one file an instrument": _instrument_by_instrument(),
}


FRAME = pd.DataFrame(
    {
        "time": pd.to_datetime(DRIVE.iso),
        "latitude": DRIVE.latitude_deg,
        "longitude": DRIVE.longitude_deg,
        "gps speed (m/s)": DRIVE.speed_mps,
        "vehicle speed (km/h)": SHOWN_KMH,
    }
)
PLAIN_ROWS = list(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))


def _beside(name: str, cells: list[str], *, before: bool = True) -> str:
    """Return the plain table with one more column."""
    more = [name, *cells]
    return rows_text([[cell, *row] if before else [*row, cell] for cell, row in zip(more, PLAIN_ROWS, strict=True)])


def _sheet() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    for row in [["Sunday", None], [], NAMES, *PLAIN_ROWS[1:]]:
        sheet.append([float(cell) if i and cell and cell[0] in "-0123456789" else cell for i, cell in enumerate(row)])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _two_lists() -> str:
    names = ("time", "latitude", "longitude", "speed m/s")
    fixes = [dict(zip(names, row[:4], strict=True)) for row in PLAIN_ROWS[1:]]
    car = [{"time": row[0], "speed km/h": float(row[4])} for row in PLAIN_ROWS[1:]]
    return json.dumps({"gps": fixes, "obd": car})


def _split(row: list[str]) -> list[str]:
    return [*("date", "time")] if row[0] == "time" else [row[0][:10], row[0][11:19]]


BOTH |= {
    "written by pandas": FRAME.to_csv(index=False),
    "written by pandas with its numbers of rows": FRAME.to_csv(),
    "records of pandas": FRAME.to_json(orient="records", date_format="iso"),
    "records of pandas in milliseconds": FRAME.assign(time=[int(ms) for ms in MS]).to_json(orient="records"),
    "lines of pandas": FRAME.to_json(orient="records", lines=True, date_format="iso"),
    "names and rows in json": FRAME.to_json(orient="split", date_format="iso", index=False),
    "a table of pandas in json": FRAME.to_json(orient="table", index=False),
    "columns in json": FRAME.to_json(orient="columns", date_format="iso"),
    "bars": rows_text(PLAIN_ROWS, "|"),
    "blanks around every cell": rows_text([[f" {cell} " for cell in row] for row in PLAIN_ROWS], ";"),
    "date and time apart": rows_text([[*_split(row), *row[1:]] for row in PLAIN_ROWS]),
    "the time since the start as well": _beside("elapsed s", [str(i) for i in range(60)]),
    "the time of the device, an hour off, as well": _beside(
        "device time", [time.replace("T12", "T13").replace("Z", "") for time in DRIVE.iso]
    ).replace("\r\ntime", "\r\ngps time"),
    "two instruments in two lists": _two_lists(),
    "a column that is empty": _beside("speed limit km/h", [""] * 60, before=False),
    "the limit of the road as well": _beside("speed limit km/h", ["50"] * 60, before=False),
    "the engine as well": _beside("engine speed rpm", [str(1500 + i) for i in range(60)], before=False),
    "a comment above": "# written by a logger\n# version 3\n" + wide(DRIVE.iso, NAMES),
    "names in capitals with underscores": wide(
        DRIVE.iso, ["TIMESTAMP", "GPS_LATITUDE", "GPS_LONGITUDE", "GPS_SPEED_M/S", "VEHICLE_SPEED_KM/H"]
    ),
    "missing values in words": wide(DRIVE.iso, NAMES) + ",".join([DRIVE.iso[-1].replace("39Z", "40Z"), *["N/A"] * 4]),
    "a sheet": _sheet(),
}


def _minutes(angle: float, width: int) -> str:
    degrees = int(abs(angle))
    return f"{degrees:0{width}d}{60 * (abs(angle) - degrees):011.8f}"


def _seconds(angle: float, mark: str) -> str:
    degrees = int(abs(angle))
    minutes = int(60 * (abs(angle) - degrees))
    return f"{degrees}{mark[0]}{minutes:02d}{mark[1]}{3600 * (abs(angle) - degrees) - 60 * minutes:08.5f}{mark[2:]}"


DRIVE_PLACES = (DRIVE.latitude_deg.tolist(), DRIVE.longitude_deg.tolist())
SIDES = [("N" if lat > 0 else "S", "E" if lon > 0 else "W") for lat, lon in zip(*DRIVE_PLACES, strict=True)]


def _placed(latitudes: list[str], longitudes: list[str]) -> list[list[str]]:
    """Return the plain table with its positions written otherwise."""
    body = [[row[0], lat, lon, *row[3:]] for row, lat, lon in zip(PLAIN_ROWS[1:], latitudes, longitudes, strict=True)]
    return [NAMES, *body]


PACKED = [[_minutes(angle, width) for angle in place] for place, width in zip(DRIVE_PLACES, (2, 3), strict=True)]
SIGNS = [["-" if angle < 0 else "" for angle in place] for place in DRIVE_PLACES]
BOTH |= {
    "degrees and minutes, letters beside them": rows_text(
        [["time", "latitude", "n/s", "longitude", "e/w", *NAMES[3:]]]
        + [
            [row[0], row[1], ns, row[2], ew, *row[3:]]
            for row, (ns, ew) in zip(_placed(*PACKED)[1:], SIDES, strict=True)
        ]
    ),
    "degrees and minutes with letters": rows_text(
        _placed(*([f"{a}{side[k]}" for a, side in zip(PACKED[k], SIDES, strict=True)] for k in (0, 1)))
    ),
    "degrees and minutes with signs": rows_text(
        _placed(*([sign + a for a, sign in zip(PACKED[k], SIGNS[k], strict=True)] for k in (0, 1)))
    ),
    "degrees, minutes, seconds": rows_text(
        _placed(*([_seconds(a, "°'\"") + s[k] for a, s in zip(DRIVE_PLACES[k], SIDES, strict=True)] for k in (0, 1))),
        ";",
    ),
    "degrees, minutes, seconds and colons": rows_text(
        _placed(*([f"{s[k]} {_seconds(a, '::')}" for a, s in zip(DRIVE_PLACES[k], SIDES, strict=True)] for k in (0, 1)))
    ),
    "ten-millionths of a degree": rows_text(
        _placed(*([f"{round(1e7 * angle)}" for angle in place] for place in DRIVE_PLACES))
    ),
    "semicircles": rows_text(
        [
            ["time", "position_lat", "position_long", *NAMES[3:]],
            *_placed(*([f"{round(2**31 / 180 * angle)}" for angle in place] for place in DRIVE_PLACES))[1:],
        ]
    ),
    "named values": "".join(
        f"ts={row[0]} lat={row[1]} lon={row[2]} gps_mps={row[3]} dash_kmh={row[4]}\n" for row in PLAIN_ROWS[1:]
    ),
    "named values behind the time": "".join(
        f"{row[0]} lat={row[1]}, lon={row[2]}, gps_mps={row[3]}, dash_kmh={row[4]}\n" for row in PLAIN_ROWS[1:]
    ),
    "statements of a database": "INSERT INTO log (id, time, latitude, longitude, gps_speed_mps, dash_kmh) VALUES\n"
    + ",\n".join(f"({i}, '{row[0]}', {', '.join(row[1:])})" for i, row in enumerate(PLAIN_ROWS[1:]))
    + ";\n",
    "columns aligned by blanks": "  TIME       LATITUDE    LONGITUDE   GPS M/S   DASH KM/H\n"
    + "".join("  ".join(f"{cell:>12}" for cell in row) + "\n" for row in PLAIN_ROWS[1:]),
    "position in one cell": rows_text(
        [["time", "location", *NAMES[3:]]] + [[row[0], f"{row[1]}, {row[2]}", *row[3:]] for row in PLAIN_ROWS[1:]]
    ),
    "points of a map": rows_text(
        [["time", "geom", *NAMES[3:]]] + [[row[0], f"POINT({row[2]} {row[1]})", *row[3:]] for row in PLAIN_ROWS[1:]],
        ";",
    ),
    "sums below": rows_text([*PLAIN_ROWS, ["Min", "", "", "0", "0"], ["Max", "", "", "40", "150"]]),
    "in Japanese": rows_text([["日時", "緯度", "経度", "GPS速度(m/s)", "車速(km/h)"], *PLAIN_ROWS[1:]]),
    "in French": rows_text(
        [["Horodatage", "Latitude", "Longitude", "Vitesse GPS (m/s)", "Vitesse compteur (km/h)"], *PLAIN_ROWS[1:]], ";"
    ),
}
FILES: dict[str, bytes] = {name: text if isinstance(text, bytes) else text.encode() for name, text in BOTH.items()}
