"""The jobs of the upload page in one list."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.documents import ROOT
from support.postgres_server import new_schema

import speedcal
from speedcal.cli import cli
from speedcal.web.app import make_services
from speedcal.web.kept.month import vehicle_names
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.store import Store
from speedcal.web.settings import Settings

DEMO = ROOT / "data_demo"


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_every_job_with_a_drive_is_a_vehicle(kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """Files and typed readings; a job without a drive and one whose drive was taken away are not in it."""
    data = tmp_path / "data"
    database = new_schema(request.getfixturevalue("postgres")) if kind == "postgresql" else ""
    make_services(Settings(data=data, database=database)).store.close()
    store, originals = Store(Settings(data=data, database=database).database_url), Originals(data)
    labels = {"J-7": "pickup, red/white", "J-8": "van", "J-9": "empty", "J-10": "gone"}
    made = [store.add_job({"job": {"number": n}, "vehicle": {"label": label}}) for n, label in labels.items()]
    track, notes = (DEMO / "before.gpx").read_bytes(), (DEMO / "before_notes.csv").read_bytes()
    for job, typed in ((made[0], False), (made[1], True), (made[3], False)):
        put = originals.put(job, io.BytesIO(track), limit=10**7)
        values = {"track_name": "before.gpx", "track_digest": put.digest}
        if typed:
            values["typed"] = notes.decode()
        else:
            values["readings_name"] = "notes.csv"
            values["readings_digest"] = originals.put(job, io.BytesIO(notes), limit=10**7).digest
        drive = store.add_drive(job, "before", values)
    store.remove_drive(drive)
    store.close()
    asked = ["fleet", str(data), "--out", str(tmp_path / "out"), "--unit", "mph"]
    if database:
        assert "--database" in str(CliRunner().invoke(cli, asked).exception)
        asked += ["--database", database]
    done = CliRunner().invoke(cli, asked)
    assert done.exit_code == 0, done.output
    rows = list(csv.DictReader((tmp_path / "out" / "fleet.csv").read_text(encoding="utf-8").splitlines()))
    assert sorted(row["vehicle"] for row in rows) == ["pickup, red/white", "van"]
    for row in rows:
        low, high = float(row["low"]), float(row["high"])
        assert low < 1.152642 < high  # the truth of the demo drive
    with pytest.raises(speedcal.SpeedcalError, match="data folder of the upload page"):
        speedcal.fleet(data)


def test_jobs_of_one_label_are_told_apart_by_their_numbers(tmp_path: Path) -> None:
    """And by their ids where those are the same too; a job without a label is called by its number."""
    store = Store(f"sqlite:///{tmp_path / 'jobs.sqlite'}")
    said = [("1", "van"), ("2", "van"), ("3", "bus"), ("4", ""), ("5", "car"), ("5", "car")]
    made = [store.add_job({"job": {"number": number}, "vehicle": {"label": label}}) for number, label in said]
    names = vehicle_names(store.find_jobs())
    store.close()
    twice = [f"car (5, {job[:6]})" for job in made[4:]]
    assert [names[job] for job in made] == ["van (1)", "van (2)", "bus", "4", *twice]
