"""Fill a small disk with uploads and go on when there is room again; needs root for a small tmpfs of its own.

Run as ``python tests/web/load/full_disk.py``. The service keeps no room free here, so the disk really fills up.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from support.web_site import Site, open_site  # noqa: E402 - the tests' own helpers
from uploads import drive, say  # noqa: E402

from speedcal.web.settings import Limits  # noqa: E402


def main() -> int:
    """Fill, check, make room, go on."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", folder], check=True)
        try:
            with open_site(Path(folder), limits=Limits(free_disk_bytes=0, drives_per_job=1000)) as site:
                return _fill(site, Path(folder))
        finally:
            subprocess.run(["umount", "-l", folder], check=True)


def _fill(site: Site, folder: Path) -> int:
    base = site.new_job()
    statuses: Counter[int] = Counter()
    for n in range(60):
        statuses[_send(site, base, f"{n}")] += 1
    drives = site.services.store.drives(base.split("/")[-1])
    whole = sum(site.services.originals.path(d.job_id, d.track_digest).stat().st_size > 200_000 for d in drives)
    reads = site.client.get(base).status_code
    spare = folder / "data" / "originals" / base.split("/")[-1]
    before = len(drives)
    site.client.post(f"{base}/drives/{drives[0].id}/remove")
    after = _send(site, base, "again")
    leftovers = len(list((folder / "data" / "incoming").iterdir()))
    known = {d.track_digest for d in site.services.store.drives(base.split("/")[-1])}
    strays = [p for p in spare.iterdir() if p.name not in known and p.stat().st_size > 10_000]
    say(f"answers while filling {dict(statuses)}; {before} drives acknowledged, {whole} whole; pages answer {reads}")
    say(f"after removing one drive: {after}; half-written files left {leftovers}; unmentioned originals {len(strays)}")
    fine = set(statuses) == {303, 507} and before == whole == statuses[303] and reads == 200 and after == 303
    return 0 if fine and not leftovers else 1


def _send(site: Site, base: str, mark: str) -> int:
    body, _ = drive(mark)
    kind = {"content-type": "multipart/form-data; boundary=b"}
    return int(
        site.client.post(f"{base}/drives/new/before", content=body, headers=kind, follow_redirects=False).status_code
    )


if __name__ == "__main__":
    if os.geteuid() != 0:
        sys.exit("this needs root, for a small disk of its own")
    sys.exit(main())
