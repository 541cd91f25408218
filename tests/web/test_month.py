"""The jobs of the upload page in one list."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.documents import ROOT

import speedcal
from speedcal.cli import cli
from speedcal.web.originals import Originals
from speedcal.web.store import Store

DEMO = ROOT / "data_demo"


def test_every_job_with_a_drive_is_a_vehicle(tmp_path: Path) -> None:
    """Files and typed readings; a job without a drive and one whose drive was taken away are not in it."""
    data = tmp_path / "data"
    data.mkdir()
    store, originals = Store(f"sqlite:///{data / 'jobs.sqlite'}"), Originals(data)
    made = [store.add_job({"vehicle": {"label": label}}) for label in ("red pickup", "van", "empty", "gone")]
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
    done = CliRunner().invoke(cli, ["fleet", str(data), "--out", str(tmp_path / "out"), "--unit", "mph"])
    assert done.exit_code == 0, done.output
    rows = (tmp_path / "out" / "fleet.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert sorted(row.split(",")[0][:-7] for row in rows) == ["red pickup", "van"]
    for row in rows:
        low, high = (float(cell) for cell in row.split(",")[4:6])
        assert low < 1.152642 < high  # the truth of the demo drive
    with pytest.raises(speedcal.SpeedcalError, match="data folder of the upload page"):
        speedcal.fleet(data)
