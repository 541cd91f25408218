"""The job store behaves the same on SQLite and on PostgreSQL."""

from __future__ import annotations

import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa

from speedcal.web.kept import schema
from speedcal.web.kept.queue import ATTEMPTS, Queue
from speedcal.web.kept.store import Store
from speedcal.web.settings import ServiceError

JOB = {
    "job": {"number": "A-17", "customer": "Zoë Łącka", "unit": "mph"},
    "vehicle": {"label": "Blue truck", "tire": "265/70R17"},
}
NEWEST = 1 + len(schema.MIGRATIONS)
DRIVE = {"track_name": "a.gpx", "track_digest": "1" * 64, "typed": "time\tspeed (mph)\n10:00\t30\n"}


def test_a_job_comes_back_as_it_was_kept(store: Store) -> None:
    """Tables of the job file are kept without loss, letters of any language included."""
    job = store.job(store.add_job(JOB))
    assert job is not None
    assert job.document == JOB
    assert (job.title, job.unit, job.stage, job.revision) == ("A-17", "mph", "waiting", 1)


def test_an_unknown_job_is_none(store: Store) -> None:
    """Asking for what is not there is no error."""
    assert store.job("0" * 20) is None
    assert store.drive("0" * 20) is None


@pytest.mark.parametrize("words", ["a-17", "zoë łącka", "BLUE a-17", "truck"])
def test_jobs_are_found_by_all_words_in_any_case(store: Store, words: str) -> None:
    """Number, label and customer are searched, each word anywhere, case folded also beyond ASCII."""
    wanted = store.add_job(JOB)
    store.add_job({"job": {"number": "B-1"}})
    assert [job.id for job in store.find_jobs(words)] == [wanted]


@pytest.mark.parametrize("words", ["%", "_", "A-17 missing", "\\"])
def test_signs_of_the_query_language_mean_themselves(store: Store, words: str) -> None:
    """A percent sign finds a percent sign and not everything."""
    store.add_job(JOB)
    assert store.find_jobs(words) == []


def test_jobs_are_listed_by_state_and_latest_change(store: Store) -> None:
    """The state follows from the complete drives and from closing."""
    first, second, third = (store.add_job({"job": {"number": n}}) for n in "123")
    store.add_drive(first, "before", DRIVE)
    store.add_drive(second, "before", {"track_name": "only a track", "track_digest": "2" * 64})
    store.close_job(third, closed=True)
    assert [job.id for job in store.find_jobs()] == [third, second, first]
    assert [job.id for job in store.find_jobs(stage="measured")] == [first]
    assert [job.id for job in store.find_jobs(stage="waiting")] == [second]
    assert [job.id for job in store.find_jobs(stage="closed")] == [third]
    store.add_drive(first, "after", DRIVE)
    assert store.job(first).stage == "tested"
    store.close_job(third, closed=False)
    assert store.job(third).stage == "waiting"


def test_every_change_counts_the_revision(store: Store) -> None:
    """A result knows by the revision whether it is still the one of the job."""
    job = store.add_job(JOB)
    drive = store.add_drive(job, "before", DRIVE)
    store.change_job(job, JOB)
    store.change_drive(drive, {"held": "30 40"})
    store.remove_drive(drive)
    assert store.job(job).revision == 5


def test_a_drive_sent_twice_is_one_drive(store: Store) -> None:
    """A phone that did not hear the answer sends again under the same key."""
    job = store.add_job(JOB)
    ids = {store.add_drive(job, "before", DRIVE, client_key="k" * 16) for _ in range(3)}
    assert len(ids) == 1
    assert len(store.drives(job)) == 1


def test_a_drive_of_a_deleted_job_is_refused(store: Store) -> None:
    """An upload that arrives while its job is being deleted is not acknowledged."""
    job = store.add_job(JOB)
    store.delete_job(job)
    with pytest.raises(KeyError):
        store.add_drive(job, "before", DRIVE)
    with pytest.raises(KeyError):
        Queue(store).put(job)


def test_deleting_a_job_takes_everything_and_remembers_its_files(store: Store) -> None:
    """Drives, runs and links go with the job; the files are remembered until somebody says they are gone."""
    job = store.add_job(JOB)
    drive = store.add_drive(job, "before", DRIVE)
    Queue(store).put(job, drive)
    store.delete_job(job)
    store.delete_job(job)
    with store.reading() as connection:
        counts = [
            connection.execute(sa.select(sa.func.count()).select_from(t)).scalar() for t in (schema.drives, schema.runs)
        ]
    assert counts == [0, 0]
    assert store.doomed() == [job]
    store.buried(job)
    assert store.doomed() == []


def test_runs_are_claimed_exactly_once_by_eight_threads(store: Store) -> None:
    """Sixty runs, eight claimers: every run is claimed by one of them."""
    queue = Queue(store)
    wanted = {queue.put(store.add_job({"job": {"number": str(n)}})) for n in range(60)}
    claimed: list[str] = []
    lock = threading.Lock()

    def work(name: int) -> None:
        while run := queue.claim(f"worker-{name}"):
            with lock:
                claimed.append(run.id)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(work, range(8)))
    assert Counter(claimed) == Counter(wanted)


def test_a_look_goes_before_a_whole_job(store: Store) -> None:
    """Somebody waits for the look."""
    queue, job = Queue(store), store.add_job(JOB)
    queue.put(job)
    look = queue.put(job, store.add_drive(job, "before", DRIVE))
    assert queue.claim("w").id == look


def test_a_waiting_run_is_not_queued_twice(store: Store) -> None:
    """Five changes in a row ask for one analysis; a running one does not count, it may have read the old state."""
    queue, job = Queue(store), store.add_job(JOB)
    assert len({queue.put(job) for _ in range(5)}) == 1
    running = queue.claim("w").id
    assert queue.put(job) != running


class Clocks:
    """The two clocks of a machine, set by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.day, self.since_start = 1_800_000_000.0, 100.0
        monkeypatch.setattr(time, "time", lambda: self.day)
        monkeypatch.setattr(time, "monotonic", lambda: self.since_start)

    def pass_by(self, seconds: float) -> None:
        """Let time go by for both."""
        self.day += seconds
        self.since_start += seconds


@pytest.fixture
def clocks(store: Store, monkeypatch: pytest.MonkeyPatch) -> Clocks:
    """Set the clocks by hand once the store is open."""
    return Clocks(monkeypatch)


@pytest.mark.parametrize("step_s", [0.0, 86400.0, -86400.0])
def test_a_lost_worker_loses_its_run_to_another(store: Store, clocks: Clocks, step_s: float) -> None:
    """After the lease another worker has the run, and the lost one can neither renew nor finish it.

    Also when the clock of the day steps by a day meanwhile.
    """
    queue, job = Queue(store, lease_s=30), store.add_job(JOB)
    queue.put(job)
    lost = queue.claim("first")
    assert queue.claim("second") is None, "seen for the first time"
    clocks.day += step_s
    for _ in range(4):  # a worker that lives keeps its run, however long that takes
        clocks.pass_by(20)
        assert queue.beat(lost)
        assert queue.claim("second") is None
    clocks.pass_by(29)
    assert queue.claim("second") is None
    clocks.pass_by(2)
    taken = queue.claim("second")
    assert (taken.id, taken.attempts) == (lost.id, 2)
    assert not queue.beat(lost)
    assert not queue.finish(lost, "done", {})
    assert queue.finish(taken, "done", {})
    assert queue.claim("third") is None


@pytest.mark.parametrize("step_s", [86400.0, -86400.0])
def test_a_clock_that_steps_hides_and_forgets_no_result(store: Store, clocks: Clocks, step_s: float) -> None:
    """The newest result is the one of the newest state of the job; the oldest are forgotten, not the newest."""
    queue, job = Queue(store), store.add_job(JOB)
    ids = []
    for n in range(5):
        store.change_job(job, JOB)
        ids.append(queue.put(job))
        assert queue.finish(queue.claim("w"), "done", {"n": n})
        clocks.pass_by(60)
        clocks.day += step_s
    assert [run.outcome["n"] for run in queue.latest_done(job, 9)] == [4, 3, 2, 1, 0]
    assert queue.latest(job).id == ids[-1]
    assert set(queue.forget_old(job)) == set(ids[:2])


def test_an_analysis_of_an_older_state_that_ends_later_is_not_the_result(store: Store) -> None:
    """Two workers had the job, the slower one its older state."""
    queue, job = Queue(store), store.add_job(JOB)
    queue.put(job)
    slow = queue.claim("slow")
    store.change_job(job, JOB)
    queue.put(job)
    assert queue.finish(queue.claim("quick"), "done", {"state": "new"})
    assert queue.finish(slow, "done", {"state": "old"})
    assert queue.latest_done(job, 1)[0].outcome == {"state": "new"}


def test_what_waits_is_taken_in_the_order_it_came_when_the_clock_steps_back(store: Store, clocks: Clocks) -> None:
    """A run asked for after the step does not overtake."""
    queue = Queue(store)
    wanted = []
    for _ in range(3):
        wanted.append(queue.put(store.add_job(JOB)))
        clocks.day -= 3600
    assert [queue.claim("w").id for _ in wanted] == wanted


def test_the_store_of_the_first_release_is_brought_up_to_date(database: str) -> None:
    """Runs keep their order; leases are judged the new way; its drives can be removed."""
    store = Store(database)
    drive = store.add_drive(store.add_job(JOB), "before", DRIVE)
    queue = Queue(store)
    ids = [queue.put(store.add_job(JOB)) for _ in range(3)]
    with store.writing() as connection:  # back to the tables of schema 1
        for statement in (
            "DROP INDEX runs_by_state", "DROP INDEX runs_by_turn",
            "ALTER TABLE jobs DROP COLUMN news", "ALTER TABLE sessions DROP COLUMN person",
            "DROP TABLE people", "DROP TABLE history",
            "ALTER TABLE drives DROP COLUMN removed", "ALTER TABLE drives DROP COLUMN said",
            "ALTER TABLE runs DROP COLUMN beat", "ALTER TABLE runs DROP COLUMN turn",
            "ALTER TABLE runs ADD COLUMN lease_until FLOAT NOT NULL DEFAULT 0",
            "CREATE INDEX runs_by_state ON runs (state, created)",
            "UPDATE meta SET value = '1' WHERE key = 'schema'",
        ):  # fmt: skip
            connection.execute(sa.text(statement))
        for n, run_id in enumerate(reversed(ids)):
            connection.execute(sa.text("UPDATE runs SET created = :at WHERE id = :id"), {"at": n, "id": run_id})
    store.close()
    store = Store(database)
    assert [Queue(store).claim("w").id for _ in ids] == ids[::-1]
    store.remove_drive(drive)
    assert store.drive(drive).removed > 0
    assert {job.news for job in store.find_jobs()} == {""}
    assert "lease_until" not in [column["name"] for column in sa.inspect(store.engine).get_columns("runs")]
    store.close()


def test_a_look_at_an_older_state_of_a_drive_is_not_kept(store: Store) -> None:
    """What was understood belongs to the version that was looked at."""
    queue, job = Queue(store), store.add_job(JOB)
    drive = store.add_drive(job, "before", DRIVE)
    queue.put(job, drive)
    run = queue.claim("w")
    store.change_drive(drive, {"held": "30"})
    assert not queue.finish_look(run, 1, {"errors": [], "fit": None})
    assert store.drive(drive).look is None


def test_a_claim_carries_the_revision_of_that_moment(store: Store) -> None:
    """Changes made while a run waits are in it."""
    queue, job = Queue(store), store.add_job(JOB)
    queue.put(job)
    store.change_job(job, JOB)
    assert queue.claim("w").revision == 2


def test_old_results_are_forgotten_but_for_three(store: Store) -> None:
    """The ids of those whose files can go are told."""
    queue, job = Queue(store), store.add_job(JOB)
    ids = []
    for _ in range(5):
        ids.append(queue.put(job))
        queue.finish(queue.claim("w"), "done", {})
    assert set(queue.forget_old(job)) == set(ids[:2])
    assert [run.id for run in queue.latest_done(job, 9)] == ids[:1:-1]
    assert ATTEMPTS == 3


def test_facts_are_kept_and_replaced(store: Store) -> None:
    """Small facts of the installation."""
    assert store.fact("last shop") is None
    for value in ("Otter Garage", "Heron Garage"):
        store.set_fact("last shop", value)
    assert store.fact("last shop") == "Heron Garage"


def test_opening_a_store_again_keeps_what_is_in_it(database: str) -> None:
    """The tables are made once."""
    for expected in (0, 1, 2):
        store = Store(database)
        assert len(store.find_jobs()) == expected
        store.add_job(JOB)
        store.close()


def test_an_older_store_is_brought_up_to_date_step_by_step(database: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A later release adds a step; it runs once, on the store that was there."""
    store = Store(database)
    job = store.add_job(JOB)
    store.close()
    calls = []

    def second(connection: sa.Connection) -> None:
        calls.append(1)
        connection.execute(sa.text("ALTER TABLE jobs ADD COLUMN colour TEXT DEFAULT 'grey'"))

    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, second))
    for _ in range(2):
        store = Store(database)
        with store.reading() as connection:
            assert connection.execute(sa.text("SELECT colour FROM jobs")).scalar() == "grey"
        assert store.job(job).document == JOB
        assert store.fact("schema") == str(NEWEST + 1)
        store.close()
    assert calls == [1]


def test_a_failed_step_leaves_the_store_as_it_was(database: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A migration is one transaction."""
    Store(database).close()

    def broken(connection: sa.Connection) -> None:
        connection.execute(sa.text("ALTER TABLE jobs ADD COLUMN half TEXT"))
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, broken))
        with pytest.raises(RuntimeError):
            Store(database)
    store = Store(database)
    assert store.fact("schema") == str(NEWEST)
    assert "half" not in [c["name"] for c in sa.inspect(store.engine).get_columns("jobs")]
    store.close()


def test_a_store_of_a_newer_release_is_refused(database: str) -> None:
    """It is left alone, with a message that says what to do."""
    store = Store(database)
    store.set_fact("schema", "99")
    store.close()
    with pytest.raises(ServiceError, match="newer release"):
        Store(database)


def test_two_servers_can_start_on_an_empty_database_at_once(database: str) -> None:
    """One makes the tables, the others wait for it."""
    with ThreadPoolExecutor(4) as pool:
        stores = list(pool.map(lambda _: Store(database), range(4)))
    assert {store.fact("schema") for store in stores} == {str(NEWEST)}
    for store in stores:
        store.close()


@pytest.mark.parametrize(
    "url",
    [
        "mysql://x/y",
        "postgresql://x/y",
        "nonsense",
        "postgresql+psycopg://u@[::1",
        "sqlite://",
        "sqlite:///",
        "sqlite:///:memory:",
        "sqlite+x:////srv/y",
    ],
)
def test_other_databases_are_refused_with_what_to_write(url: str) -> None:
    """The message names the form that works."""
    with pytest.raises(ServiceError, match=r"postgresql\+psycopg"):
        Store(url)


def test_sqlite_writes_ahead_and_syncs_every_commit(tmp_path) -> None:
    """WAL with synchronous=FULL: what is committed survives a power cut (SQLite documentation, PRAGMA synchronous)."""
    store = Store(f"sqlite:///{tmp_path / 'a.sqlite'}")
    with store.reading() as connection:
        answers = [
            connection.exec_driver_sql(f"PRAGMA {p}").scalar() for p in ("journal_mode", "synchronous", "foreign_keys")
        ]
    assert answers == ["wal", 2, 1]
    store.close()


def test_an_sqlite_that_lacks_a_statement_of_ours_is_told(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Python of today on a system of 2020; every page would fail later."""
    monkeypatch.setattr("sqlite3.sqlite_version_info", (3, 34, 1))
    with pytest.raises(ServiceError, match=r"needs 3\.35"):
        Store(f"sqlite:///{tmp_path / 'jobs.sqlite'}")
    assert not list(tmp_path.iterdir())
