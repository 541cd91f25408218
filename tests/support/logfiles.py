"""One small drive, written as every kind of log, by code that shares nothing with the readers."""

from __future__ import annotations

import gzip
import io
import struct
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import reduce
from operator import xor

import numpy as np

START_S = 1_600_000_000  # 2020-09-13T12:26:40Z
KNOT_MPS = 1852 / 3600


@dataclass(frozen=True)
class SmallDrive:
    """Fixes of an invented drive, one a second, and what an instrument that reads 8 % high showed."""

    time_s: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    elevation_m: np.ndarray
    speed_mps: np.ndarray
    shown_mph: np.ndarray

    @property
    def iso(self) -> list[str]:
        """Times as ISO 8601 in UTC."""
        return [datetime.fromtimestamp(t, UTC).strftime("%Y-%m-%dT%H:%M:%SZ") for t in self.time_s]


def small_drive(n: int = 40) -> SmallDrive:
    """Return a drive of ``n`` seconds heading north-east, its speed swinging between 10 and 20 m/s."""
    t = np.arange(n, dtype=float)
    speed = np.round(15 + 5 * np.sin(t / 6), 2)
    way = np.concatenate(([0.0], np.cumsum((speed[1:] + speed[:-1]) / 2)))
    return SmallDrive(
        time_s=START_S + t,
        latitude_deg=np.round(45.1 + way * 0.7 / 111_132.0, 7),
        longitude_deg=np.round(-93.2 + way * 0.71 / 78_847.0, 7),
        elevation_m=np.round(250 + way / 100, 1),
        speed_mps=speed,
        shown_mph=np.round(speed / 0.44704 * 1.08),
    )


def gpx_11(drive: SmallDrive) -> bytes:
    """GPX 1.1 with speed in the TrackPointExtension v2 under an unusual prefix."""
    points = "\n".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{ele}</ele><time>{time}</time><extensions>'
        f"<q:TrackPointExtension><q:speed>{speed}</q:speed></q:TrackPointExtension></extensions></trkpt>"
        for lat, lon, ele, time, speed in _rows(drive)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="test" '
        'xmlns="http://www.topografix.com/GPX/1/1" '
        'xmlns:q="http://www.garmin.com/xmlschemas/TrackPointExtension/v2">\n'
        f"<trk><trkseg>\n{points}\n</trkseg></trk></gpx>\n"
    ).encode()


def gpx_10(drive: SmallDrive) -> bytes:
    """GPX 1.0 with its own speed element."""
    points = "\n".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{ele}</ele><time>{time}</time><speed>{speed}</speed></trkpt>'
        for lat, lon, ele, time, speed in _rows(drive)
    )
    return (
        '<?xml version="1.0"?>\n<gpx version="1.0" creator="test" xmlns="http://www.topografix.com/GPX/1/0">\n'
        f"<trk><trkseg>\n{points}\n</trkseg></trk></gpx>\n"
    ).encode()


def tcx(drive: SmallDrive) -> bytes:
    """Training Center XML with speed in the ActivityExtension v2."""
    points = "\n".join(
        f"<Trackpoint><Time>{time}</Time><Position><LatitudeDegrees>{lat:.7f}</LatitudeDegrees>"
        f"<LongitudeDegrees>{lon:.7f}</LongitudeDegrees></Position><AltitudeMeters>{ele}</AltitudeMeters>"
        f"<Extensions><x:TPX><x:Speed>{speed}</x:Speed></x:TPX></Extensions></Trackpoint>"
        for lat, lon, ele, time, speed in _rows(drive)
    )
    return (
        '<?xml version="1.0"?>\n'
        '<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2" '
        'xmlns:x="http://www.garmin.com/xmlschemas/ActivityExtension/v2"><Activities><Activity Sport="Other"><Lap>\n'
        f"<Track>\n{points}\n</Track></Lap></Activity></Activities></TrainingCenterDatabase>\n"
    ).encode()


def kml(drive: SmallDrive) -> bytes:
    """KML with a gx:Track and an array of speeds."""
    whens = "\n".join(f"<when>{time}</when>" for time in drive.iso)
    coords = "\n".join(f"<gx:coord>{lon:.7f} {lat:.7f} {ele}</gx:coord>" for lat, lon, ele, _, _ in _rows(drive))
    values = "\n".join(f"<gx:value>{speed}</gx:value>" for speed in drive.speed_mps)
    return (
        '<?xml version="1.0"?>\n<kml xmlns="http://www.opengis.net/kml/2.2" '
        'xmlns:gx="http://www.google.com/kml/ext/2.2"><Document><Placemark><gx:Track>\n'
        f"{whens}\n{coords}\n<ExtendedData><SchemaData><gx:SimpleArrayData name='speed'>\n{values}\n"
        "</gx:SimpleArrayData></SchemaData></ExtendedData></gx:Track></Placemark></Document></kml>\n"
    ).encode()


def sentence(body: str) -> str:
    """Return an NMEA 0183 sentence with dollar sign and checksum."""
    return f"${body}*{reduce(xor, body.encode('ascii')):02X}"


def nmea(drive: SmallDrive) -> bytes:
    """NMEA 0183: GGA, RMC and VTG of every second."""
    lines = []
    for lat, lon, ele, time, speed in _rows(drive):
        clock, day = time[11:19].replace(":", "") + ".00", f"{time[8:10]}{time[5:7]}{time[2:4]}"
        place = f"{_minutes(lat, 2)},{'N' if lat >= 0 else 'S'},{_minutes(lon, 3)},{'E' if lon >= 0 else 'W'}"
        knots = speed / KNOT_MPS
        lines.append(sentence(f"GPGGA,{clock},{place},1,09,0.9,{ele},M,-30.0,M,,"))
        lines.append(sentence(f"GPRMC,{clock},A,{place},{knots:.2f},45.0,{day},,,A"))
        lines.append(sentence(f"GPVTG,45.0,T,,M,{knots:.2f},N,{speed * 3.6:.3f},K,A"))
    return ("\r\n".join(lines) + "\r\n").encode()


def track_table(drive: SmallDrive) -> bytes:
    """Table of fixes with a column about the fix."""
    rows = [f"{time},{lat:.7f},{lon:.7f},{ele},{speed},3" for lat, lon, ele, time, speed in _rows(drive)]
    return ("time,latitude,longitude,altitude m,speed m/s,fix\n" + "\n".join(rows) + "\n").encode()


def readings_table(drive: SmallDrive) -> bytes:
    """Table of readings."""
    rows = [f"{time},{shown:.0f}" for time, shown in zip(drive.iso, drive.shown_mph, strict=True)]
    return ("time,indicated mph\n" + "\n".join(rows) + "\n").encode()


def web_table(drive: SmallDrive) -> bytes:
    """Table of a web page."""
    rows = readings_table(drive).decode().split("\n")[:-1]
    cells = "\n".join("<tr><td>" + row.replace(",", "</td><td>") + "</td></tr>" for row in rows)
    return f"<html><body><table>\n{cells}\n</table></body></html>\n".encode()


def notes(drive: SmallDrive) -> bytes:
    """Plain notes, one reading every ten seconds."""
    pairs = list(zip(drive.iso, drive.shown_mph, strict=True))[::4]
    return "\n".join(f"{shown:.0f} mph at {time[11:19]}" for time, shown in pairs).encode()


def one_table(drive: SmallDrive) -> bytes:
    """One table of fixes and readings."""
    rows = [
        f"{time},{lat:.7f},{lon:.7f},{speed},{shown:.0f}"
        for (lat, lon, _, time, speed), shown in zip(_rows(drive), drive.shown_mph, strict=True)
    ]
    return ("time,lat,lon,gps speed (m/s),indicated speed (mph)\n" + "\n".join(rows) + "\n").encode()


def waypoints(drive: SmallDrive) -> bytes:
    """GPX with a track and waypoints named with the reading."""
    marks = "".join(
        f'<wpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{time}</time><name>{shown:.0f} mph</name></wpt>\n'
        for (lat, lon, _, time, _), shown in list(zip(_rows(drive), drive.shown_mph, strict=True))[::5]
    )
    return gpx_11(drive).replace(b"<trk>", marks.encode() + b"<trk>")


_FIT_EPOCH_S = 631_065_600  # 1989-12-31T00:00:00Z


def fit(drive: SmallDrive) -> bytes:
    """Return a FIT file by the published protocol: a header, one definition, the records, a checksum."""
    fields = ((253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (2, 2, 0x84), (6, 2, 0x84))
    body = bytes((0x40, 0, 0)) + struct.pack("<HB", 20, len(fields)) + b"".join(bytes(field) for field in fields)
    rows = zip(drive.time_s, drive.latitude_deg, drive.longitude_deg, drive.elevation_m, drive.speed_mps, strict=True)
    for time_s, lat, lon, ele, speed in rows:
        semicircles = (round(angle * 2**31 / 180) for angle in (lat, lon))
        body += struct.pack(
            "<BIiiHH", 0, int(time_s) - _FIT_EPOCH_S, *semicircles, round((ele + 500) * 5), round(speed * 1000)
        )
    head = struct.pack("<BBHI4s", 14, 0x10, 2132, len(body), b".FIT")
    head += struct.pack("<H", fit_crc(head))
    return head + body + struct.pack("<H", fit_crc(head + body))


def fit_with_sensor(drive: SmallDrive, *, wheel: bool, fields: tuple[tuple[str, str, float], ...] = ()) -> bytes:
    """Return a FIT file of a device with, perhaps, a wheel sensor and developer fields (name, unit, factor to m/s).

    The speed of the records is then the sensor's, 3 % low; a developer field holds it 5 % low.
    """
    body = b""
    if wheel:
        body += _fit_message(1, 23, ((0, 1, 2), (1, 1, 2), (25, 1, 0)), bytes((1, 123, 1)))
    if fields:
        body += _fit_message(2, 207, ((3, 1, 2), (1, 16, 13)), bytes((0, *range(16))))
    for number, (name, unit, _) in enumerate(fields):
        told = bytes((0, number, 0x88)) + name.encode().ljust(24, b"\0") + unit.encode().ljust(8, b"\0")
        body += _fit_message(3, 206, ((0, 1, 2), (1, 1, 2), (2, 1, 2), (3, 24, 7), (8, 8, 7)), told)
    own = b"".join(bytes((number, 4, 0)) for number in range(len(fields)))
    known = ((253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (6, 2, 0x84))
    body += bytes((0x60, 0, 0)) + struct.pack("<HB", 20, len(known)) + b"".join(map(bytes, known))
    body += bytes((len(fields),)) + own
    for time_s, lat, lon, speed in zip(
        drive.time_s, drive.latitude_deg, drive.longitude_deg, drive.speed_mps, strict=True
    ):
        semicircles = (round(angle * 2**31 / 180) for angle in (lat, lon))
        shown = round(speed * (0.97 if wheel else 1.0) * 1000)
        body += struct.pack("<BIiiH", 0, int(time_s) - _FIT_EPOCH_S, *semicircles, shown)
        body += b"".join(struct.pack("<f", 0.95 * speed / factor) for _, _, factor in fields)
    return _fit_file(body)


def fit_of_camera(drive: SmallDrive, *, clock_s: float = 68.609, correlated: bool = True) -> bytes:
    """Return a FIT file of a camera: its records have no fixes, those stand in gps_metadata on the clock of the camera.

    ``clock_s`` is what that clock had at the first fix; the file tells which UTC it had a quarter of a second later.
    """
    first, later = float(drive.time_s[0]), 0.25
    body = _fit_message(0, 20, ((253, 4, 0x86), (2, 2, 0x84)), struct.pack("<IH", int(clock_s), 2600))
    if correlated:
        told = divmod(round((first + later - _FIT_EPOCH_S) * 1000), 1000), divmod(round((clock_s + later) * 1000), 1000)
        fields = ((253, 4, 0x86), (4, 2, 0x84), (1, 4, 0x86), (5, 2, 0x84))
        body += _fit_message(1, 162, fields, struct.pack("<IHIH", *told[0], *told[1]))
    fields = ((253, 4, 0x86), (0, 2, 0x84), (1, 4, 0x85), (2, 4, 0x85), (4, 4, 0x86), (6, 4, 0x86))
    rows = zip(drive.time_s, drive.latitude_deg, drive.longitude_deg, drive.speed_mps, strict=True)
    for time_s, lat, lon, speed in rows:
        clock = divmod(round((clock_s + time_s - first) * 1000), 1000)
        semicircles = (round(angle * 2**31 / 180) for angle in (lat, lon))
        values = (*clock, *semicircles, round(speed * 1000), int(time_s) - _FIT_EPOCH_S)
        body += _fit_message(2, 160, fields, struct.pack("<IHiiII", *values))
    return _fit_file(body)


def _fit_file(body: bytes) -> bytes:
    head = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    head += struct.pack("<H", fit_crc(head))
    return head + body + struct.pack("<H", fit_crc(head + body))


def _fit_message(local: int, number: int, fields: tuple[tuple[int, int, int], ...], values: bytes) -> bytes:
    head = bytes((0x40 | local, 0, 0)) + struct.pack("<HB", number, len(fields))
    return head + b"".join(map(bytes, fields)) + bytes((local,)) + values


def fit_crc(data: bytes) -> int:
    """Return the 16-bit checksum of the FIT protocol."""
    table = (0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401)
    table += (0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400)
    crc = 0
    for byte in data:
        for nibble in (byte & 15, byte >> 4):
            crc = ((crc >> 4) & 0x0FFF) ^ table[crc & 15] ^ table[nibble]
    return crc


def zipped(name: str, data: bytes, **others: bytes) -> bytes:
    """Return a zip archive with the file, and others by name."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, data)
        for other, content in others.items():
            archive.writestr(other, content)
    return stream.getvalue()


def gzipped(data: bytes) -> bytes:
    """Return the data compressed by gzip."""
    return gzip.compress(data, mtime=0)


TRACKS = {
    "gpx 1.1": gpx_11,
    "gpx 1.0": gpx_10,
    "tcx": tcx,
    "kml": kml,
    "nmea": nmea,
    "fit": fit,
    "fit of a camera": fit_of_camera,
    "track table": track_table,
    "one table": one_table,
    "zip": lambda drive: zipped("drive.gpx", gpx_11(drive)),
    "gzip": lambda drive: gzipped(nmea(drive)),
}
WITHOUT_HEIGHTS = {"one table", "fit of a camera"}
READINGS = {
    "table": readings_table,
    "web table": web_table,
    "notes": notes,
    "one table": one_table,
    "waypoints": waypoints,
}


def _rows(drive: SmallDrive):  # type: ignore[no-untyped-def]
    return zip(drive.latitude_deg, drive.longitude_deg, drive.elevation_m, drive.iso, drive.speed_mps, strict=True)


def _minutes(angle: float, digits: int) -> str:
    degrees, minutes = divmod(abs(angle) * 60, 60)
    return f"{int(degrees):0{digits}d}{minutes:08.5f}"
