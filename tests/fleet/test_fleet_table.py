"""Long tables with a column that names the vehicle, in any order, as CSV and as Parquet, alone or in many files."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from support.fleets import TELEMATICS_HEADER, drive_on, telematics_rows
from support.needs import missing

import speedcal
from speedcal.cli import cli
from speedcal.fleet import FleetResult, FleetRow, exports, table
from speedcal.fleet.likenesses import with_likenesses
from speedcal.simulate import KINDS

TRUTH = {"bus 7": 1.0, "bus 8": 1.04}


@pytest.fixture(scope="module")
def rows() -> list[str]:
    """Two vehicles, two drives each on two days, shuffled."""
    made = [
        row
        for number, (vehicle, factor) in enumerate(TRUTH.items())
        for day in (0, 1)
        for row in telematics_rows(
            vehicle, drive_on(day, 10 * number + day, 1.0, kind=KINDS["logged"], minutes=8), factor, every_s=2
        )
    ]
    return [made[i] for i in np.random.default_rng(1).permutation(len(made))]


def check(result: FleetResult) -> None:
    found = {row.vehicle: row for row in result.rows}
    assert set(found) == set(TRUTH)
    for vehicle, truth in TRUTH.items():
        calibration, odometer = found[vehicle].calibration, found[vehicle].odometer_factor
        assert found[vehicle].drives == 2
        assert calibration is not None
        assert odometer is not None
        assert calibration.error_factor.contains(truth)
        assert odometer.contains(truth)
        assert odometer.half_width < 0.01
    assert [row.vehicle for row in result.wrong] == ["bus 8"]


def test_rows_in_any_order_become_the_drives_of_each_vehicle(
    rows: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Held in pieces of 97 rows; what lies in between, which has positions, is gone afterwards."""
    monkeypatch.setattr(table, "_ROWS", 97)
    path = tmp_path / "month.csv"
    path.write_text("\n".join([TELEMATICS_HEADER, *rows]) + "\n", encoding="utf-8")
    check(speedcal.fleet(path, remember=tmp_path / "out"))
    assert [item.name for item in (tmp_path / "out").iterdir()] == ["drives.sqlite"]
    semicolons = tmp_path / "semicolons.csv"
    text = "\n".join(["Export of May", TELEMATICS_HEADER, *rows]).replace(",", ";") + "\n"
    semicolons.write_text(text, encoding="utf-8-sig")
    with monkeypatch.context() as patched:  # the same drives, so nothing is measured
        patched.setattr("speedcal.fleet.drive.measure", None)
        check(speedcal.fleet(semicolons, remember=tmp_path / "out"))


def test_many_parquet_files_are_one_table(rows: list[str], tmp_path: Path) -> None:
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        missing("pyarrow")
    records = list(csv.DictReader(io.StringIO("\n".join([TELEMATICS_HEADER, *rows]))))
    folder = tmp_path / "month"
    folder.mkdir()
    for part in range(3):
        some = [
            {name: value if name in {"time", "vehicle id"} else float(value) for name, value in record.items()}
            for record in records[part::3]
        ]
        parquet.write_table(pyarrow.Table.from_pylist(some), folder / f"part-{part}.parquet")
    check(speedcal.fleet(folder))


def test_one_table_of_several_vehicles_does_not_make_tables_of_the_drives_beside_it(tmp_path: Path) -> None:
    """All drives of the other vehicles were asked for a column that names the vehicle."""
    drive = "time,latitude,longitude,GPS speed (mph),vehicle speed (mph)\n2031-05-17 14:02:00,47.2,-97.4,0,0\n"
    several = "vehicle,time,latitude,longitude\n" + "".join(f"van {k},2031-05-17 14:02:00,47,-97\n" for k in (1, 2))
    for name, text in (("van 7/day0", drive), ("van 7/day1", drive), ("export/all", several), ("van 8/day0", drive)):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).with_suffix(".csv").write_text(text, encoding="utf-8")
    assert exports.tables_in(str(tmp_path), None) == []
    assert len(exports.tables_in(str(tmp_path / "export"), None)) == 1


@pytest.mark.parametrize(
    ("header", "column", "words"),
    [
        (TELEMATICS_HEADER.replace("vehicle id", "tag"), None, "without a column that names the vehicle"),
        (TELEMATICS_HEADER, "wagon", "there is no column 'wagon'; its columns are time, vehicle id"),
        (TELEMATICS_HEADER.replace("gps speed (m/s)", "vehicle no"), None, "vehicle id and vehicle no may each name"),
    ],
)
def test_a_column_that_is_unclear_is_asked_for(
    header: str, column: str | None, words: str, rows: list[str], tmp_path: Path
) -> None:
    path = tmp_path / "month.csv"
    path.write_text("\n".join([header, *rows[:50]]) + "\n", encoding="utf-8")
    with pytest.raises(speedcal.SpeedcalError, match=words):
        speedcal.fleet(path, vehicle=column)


def test_a_folder_of_tables_is_one_whatever_else_lies_in_it(rows: list[str], tmp_path: Path) -> None:
    """A day without a row, a note and a letter; the columns of another day differ; opened by its address too."""
    folder = tmp_path / "month"
    (folder / "week 2").mkdir(parents=True)
    header = TELEMATICS_HEADER.replace("vehicle id", "Truck #")
    names = [f"{row.split(',')[1]}" for row in rows]
    day = {name: [row for row, owner in zip(rows, names, strict=True) if owner == name][:400] for name in set(names)}
    (folder / "day 1.csv").write_text("\n".join([header, *day["bus 7"], *day["bus 8"]]), encoding="utf-8")
    swapped = [",".join([*cells[2:], *cells[:2]]) for cells in (row.split(",") for row in day["bus 7"])]
    names_swapped = ",".join([*header.split(",")[2:], *header.split(",")[:2]])
    later = [row.replace("2030-03-1", "2030-04-1") for row in swapped]
    (folder / "week 2" / "day 8.csv").write_text("\n".join([names_swapped, *later]), encoding="utf-8")
    (folder / "day 2.csv").write_text("", encoding="utf-8")
    (folder / "read me.txt").write_text("Export of May.\n", encoding="utf-8")
    (folder / "letter.pdf").write_bytes(b"%PDF")
    for source in (folder, folder.as_uri()):
        found = {row.vehicle: row for row in speedcal.fleet(source, remember=tmp_path / "out").rows}
        assert {name for name, row in found.items() if row.calibration} == set(TRUTH)
        reasons = {name: row.reason["error"] for name, row in found.items() if row.reason}
        assert reasons == {"day 2.csv": "empty_file", "read me.txt": "no_vehicle_column"}
        assert found["bus 7"].drives == 2 * found["bus 8"].drives


@pytest.mark.parametrize(
    "name", ["truck", "Unit No.", "Truck #", "Asset", "asset id", "VIN", "License Plate", "Trailer", "IMEI", "unit"]
)
def test_columns_that_name_the_vehicle(name: str) -> None:
    assert exports.named_columns(["time", name, "latitude", "longitude", "unit of speed"]) == [name]


def test_a_number_of_a_vehicle_is_written_as_such(rows: list[str], tmp_path: Path) -> None:
    """As CSV with its zeros in front, and with a sign that elsewhere begins a remark.

    A column of floats, as a missing number makes it, is read without a decimal point.
    """
    some = [row for row in rows if ",bus 7," in row]
    path = tmp_path / "month.csv"
    text = "\n".join([TELEMATICS_HEADER, *some])
    path.write_text(text.replace("bus 7", "0012"), encoding="utf-8")
    assert [row.vehicle for row in speedcal.fleet(path).rows] == ["0012"]
    first = TELEMATICS_HEADER.split(",").index("vehicle id")
    turned = [[row[first], *row[:first], *row[first + 1 :]] for row in csv.reader(text.splitlines())]
    path.write_text("\n".join(map(",".join, turned)).replace("bus 7", "#07"), encoding="utf-8")
    assert [(row.vehicle, row.drives) for row in speedcal.fleet(path).rows] == [("#07", 2)]
    parquet = pytest.importorskip("pyarrow.parquet")
    import pyarrow

    records = [{**record, "vehicle id": 12.0} for record in csv.DictReader(io.StringIO(text))]
    parquet.write_table(pyarrow.Table.from_pylist(records), tmp_path / "month.parquet")
    assert [row.vehicle for row in speedcal.fleet(tmp_path / "month.parquet").rows] == ["12"]


def test_units_and_columns_that_a_header_leaves_open(tmp_path: Path) -> None:
    """An odometer in km beside mph is known by the speed; which speed is the dial's is asked for, and can be said."""
    made = telematics_rows("x", drive_on(0, 5, 1.0, kind=KINDS["logged"], minutes=8), 1.03, every_s=2)
    cells = [row.split(",") for row in made]
    mph = [",".join([*row[:-2], f"{float(row[-2]) / 1.609344:.0f}", row[-1]]) for row in cells]
    header = "time,vehicle id,latitude,longitude,gps speed (m/s),{} (mph),odometer"
    path = tmp_path / "month.csv"
    path.write_text("\n".join([header.format("vehicle speed"), *mph]), encoding="utf-8")
    (row,) = speedcal.fleet(path).rows
    assert row.error_percent is not None
    assert row.error_percent.contains(3.0)
    assert [f.text for f in row.findings] == [
        "The odometer has no unit in the files; taken as km, since only so it agrees with the speed."
    ]
    path.write_text("\n".join([header.format("speed"), *mph]), encoding="utf-8")
    (row,) = speedcal.fleet(path).rows
    assert row.reason is not None
    assert "name it with --column" in row.reason["remedy"]
    (row,) = speedcal.fleet(path, column="speed (mph)").rows
    assert row.error_percent is not None
    assert row.error_percent.contains(3.0)


def test_a_speed_that_a_box_logs_every_half_minute_is_judged(tmp_path: Path) -> None:
    """4 % off, without an odometer: 54 rows are few for a log, but no hand writes fixes and readings."""
    made = telematics_rows("x", drive_on(0, 5, 1.0, kind=KINDS["logged"], minutes=27), 1.04, every_s=30)
    path = tmp_path / "month.csv"
    rows = [TELEMATICS_HEADER.rpartition(",")[0], *(row.rpartition(",")[0] for row in made)]
    path.write_text("\n".join(rows), encoding="utf-8")
    (row,) = speedcal.fleet(path).rows
    assert row.judged_by == "speed"
    assert row.error_percent is not None
    assert row.error_percent.contains(4.0)


def test_the_only_speed_of_a_table_is_not_held_against_itself(tmp_path: Path) -> None:
    """Named as the dial's it is not the receiver's too, of which a heading without an origin may speak: 4 % off."""
    made = telematics_rows("x", drive_on(0, 5, 1.0, kind=KINDS["logged"], minutes=14), 1.04, every_s=2)
    cells = [row.split(",") for row in made]
    header = "time,vehicle id,latitude,longitude,speed (km/h)"
    path = tmp_path / "month.csv"
    path.write_text("\n".join([header, *(",".join([*row[:4], row[5]]) for row in cells)]), encoding="utf-8")
    (row,) = speedcal.fleet(path, column="speed (km/h)").rows
    assert row.error_percent is not None
    assert row.error_percent.contains(4.0)
    assert row.error_percent.half_width < 2.0
    read = CliRunner().invoke(cli, ["calibrate", str(path), str(path), "--column", "speed (km/h)", "--json"])
    assert json.loads(read.stdout)["speed_source"] == "positions"


def test_one_speed_in_half_a_minute_is_the_receivers_and_the_odometer_is_judged(tmp_path: Path) -> None:
    """Positions so far apart tell no speed; the odometer counts 6 % more than was driven."""
    made = telematics_rows("x", drive_on(0, 5, 1.0, kind=KINDS["logged"], minutes=27), 1.06, every_s=30)
    cells = [row.split(",") for row in made]
    header = "time,vehicle id,latitude,longitude,speed (km/h),odometer (km)"
    path = tmp_path / "month.csv"
    path.write_text("\n".join([header, *(",".join([*row[:4], *row[5:]]) for row in cells)]), encoding="utf-8")
    (row,) = speedcal.fleet(path, column="speed (km/h)").rows
    assert (row.judged_by, [f.code for f in row.findings]) == ("odometer", ["odometer_only"])
    assert row.error_factor is None  # the dial against itself would be 1.000
    assert row.to_dict()["error_factor"] is None
    assert row.odometer_factor is not None
    assert row.odometer_factor.contains(1.06)
    assert row.odometer_factor.half_width < 0.03
    path.write_text(path.read_text("utf-8").replace("odometer", "engine hours").replace(" (km)", ""), encoding="utf-8")
    (row,) = speedcal.fleet(path, column="speed (km/h)").rows
    assert row.calibration is None or row.trust != "TRUSTED"


def test_the_order_of_day_and_month_is_told_by_the_whole_table(tmp_path: Path) -> None:
    """A day after the twelfth in the rows of one vehicle tells it for the others; without one it is asked for."""
    place = [f"{45 + i * 1e-4:.6f},9,{50 + i % 9}" for i in range(12)]
    early = [f"05/06/2030,01:{i:02d}:00 PM,van,{place[i]}" for i in range(12)]
    late = [f"05/16/2030,01:{i:02d}:00 PM,bus,{place[i]}" for i in range(12)]
    path = tmp_path / "month.csv"
    lines = ["Date,Time,Truck,Latitude,Longitude,Vehicle Speed (mph)", *early]
    path.write_text("\n".join(lines), encoding="utf-8")
    (row,) = speedcal.fleet(path).rows
    assert row.reason is not None
    assert row.reason["error"] == "dates_unclear"
    path.write_text("\n".join([*lines, *late]), encoding="utf-8")
    made = list(table.vehicles_of_tables([str(path)], None, tmp_path))
    assert [(one.vehicle, one.drives[0].name[:10]) for one in made] == [("bus", "2030-05-16"), ("van", "2030-05-06")]


def test_a_long_day_is_cut_into_drives() -> None:
    """A pause of eleven minutes ends a drive, one of nine does not; seven hours without one are cut every three."""
    minutes = np.cumsum([1.0] * 30 + [9.0] + [1.0] * 30 + [11.0] + [1.0] * 420)
    assert np.diff(np.r_[0, table._ends(minutes * 60), len(minutes)]).tolist() == [61, 180, 180, 61]


def with_odometer(rows: list[str], first_km: float, *, rolls_at_km: float = np.inf) -> list[str]:
    """Return rows whose odometer begins at a figure and begins anew at another."""
    begin = float(rows[0].rpartition(",")[2])
    shown = [(float(row.rpartition(",")[2]) - begin + first_km) % rolls_at_km for row in rows]
    return [f"{row.rpartition(',')[0]},{km:.1f}" for row, km in zip(rows, shown, strict=True)]


def test_an_odometer_that_did_not_go_on_is_told_and_is_no_error(tmp_path: Path) -> None:
    """It rolls over within one drive of the first, and the second got another cluster; both count right."""
    made = [
        telematics_rows(name, drive_on(day, day, 1.0, kind=KINDS["logged"], minutes=8), 1.0, every_s=4)
        for name, day in (("rolls", 0), ("rolls", 3), ("other", 0), ("other", 3), ("same", 0), ("same", 3))
    ]
    first = (999_997.0, 50.0, 200_000.0, 3.0, 200_000.0, 200_300.0)
    rows = [with_odometer(*pair, rolls_at_km=1e6) for pair in zip(made, first, strict=True)]
    path = tmp_path / "year.csv"
    path.write_text("\n".join([TELEMATICS_HEADER, *(row for several in rows for row in several)]), encoding="utf-8")
    found = {row.vehicle: row for row in speedcal.fleet(path).rows}
    for row in found.values():
        assert row.error_percent is not None
        assert row.error_percent.contains(0.0)
        assert row.error_percent.half_width < 0.6
        assert not row.wrong
    told = {name: [f for f in row.findings if f.code == "odometer_leaps"] for name, row in found.items()}
    assert told["same"] == []
    for name in ("rolls", "other"):
        assert [(f.values["earliest"], f.values["latest"]) for f in told[name]] == [("2030-03-18", "2030-03-21")]


def test_rows_that_make_no_drive_are_told(tmp_path: Path) -> None:
    """Times without an offset among those with one; two rows alone."""
    made = {name: [f"2030-05-16T08:{i:02d}:00Z,{name},{45 + i / 1e4},9,50" for i in range(20)] for name in ("a", "b")}
    mixed = [row.replace("Z,", ",") if i > 11 else row for i, row in enumerate(made["a"])]
    path = tmp_path / "month.csv"
    head = "time,truck,latitude,longitude,vehicle speed (km/h)"
    path.write_text("\n".join([head, *mixed, *made["b"][:2]]), encoding="utf-8")
    both, short = table.vehicles_of_tables([str(path)], None, tmp_path)
    assert len(both.drives) == 1
    ((_, lost),) = both.refused
    assert (lost.code, lost.values["count"]) == ("rows_without_time", 8)
    ((_, few),) = short.refused
    assert (few.code, few.values["count"]) == ("rows_no_drive", 2)


@pytest.mark.parametrize("encoding", ["cp1252", "utf-8", "utf-8-sig", "utf-16"])
def test_tables_as_spreadsheets_write_them(encoding: str, tmp_path: Path) -> None:
    """Letters with dots in each encoding, a number kept as text, a cross in a name, remarks, an end cut off."""
    names = {"Müller 7": "Müller 7", '="007"': "007", "truck #12": "truck #12"}
    head = "time;latitude;longitude;vehicle speed (km/h);truck"
    rows = [f"2030-05-16T08:{i:02d}:00Z;{45 + i / 1e4};9;50;{name}" for name in names for i in range(12)]
    lines = [head, *rows[:20], "# a remark", *rows[20:], "2030-05-16T09:00:00Z;45"]
    path = tmp_path / "month.csv"
    path.write_bytes("\n".join(lines).encode(encoding))
    found = {one.vehicle: one for one in table.vehicles_of_tables([str(path)], None, tmp_path)}
    assert set(found) == set(names.values())
    for one in found.values():
        (drive,) = one.drives
        assert len(Path(drive.paths[0]).read_text(encoding="utf-8").splitlines()) == 13
        assert one.refused == ()


def test_a_table_without_positions_is_asked_for_them(tmp_path: Path) -> None:
    path = tmp_path / "month.csv"
    path.write_text("time,truck,vehicle speed (km/h)\n2030-05-16T08:00:00Z,a,50\n", encoding="utf-8")
    with pytest.raises(speedcal.SpeedcalError, match="holds no positions"):
        speedcal.fleet(path)


@pytest.mark.parametrize(
    ("names", "alike"),
    [
        (("07", "7"), True),
        (("AB-07", "ab 7"), True),
        (("A-B", "AB"), True),
        (("1-12", "11-2"), False),
        (("70", "7"), False),
        (("A", "B"), False),
        (("-", "--"), False),
    ],
)
def test_names_that_may_be_one_vehicle(names: tuple[str, str], alike: bool) -> None:
    """They are told of each other, and not joined."""
    rows = with_likenesses([FleetRow(name, 0) for name in names])
    assert [row.vehicle for row in rows] == list(names)
    assert [[f.values["names"] for f in row.findings] for row in rows] == 2 * [[sorted(names)] if alike else []]
