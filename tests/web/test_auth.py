"""Passcode, sessions and links."""

from __future__ import annotations

import stat
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from speedcal.web.kept import schema
from speedcal.web.kept.auth import Auth, TooManyAttemptsError, load_key
from speedcal.web.kept.store import Store
from speedcal.web.settings import Limits, ServiceError

PASSCODE = "brass kettle tide"


@pytest.fixture
def auth(store: Store) -> Auth:
    """Return the rights of an empty store."""
    return Auth(store, b"k" * 32, Limits())


def test_the_right_passcode_opens_a_session_and_the_wrong_one_does_not(auth: Auth) -> None:
    """And without a passcode set, nothing does."""
    assert auth.sign_in(PASSCODE, "10.0.0.1") is None
    auth.set_passcode(PASSCODE)
    assert auth.sign_in(PASSCODE + " ", "10.0.0.1") is None
    cookie = auth.sign_in(PASSCODE, "10.0.0.1")
    assert auth.person_of(cookie) is not None
    assert auth.person_of(cookie[:-1]) is None
    assert auth.person_of("") is None


def test_neither_passcode_nor_cookie_stands_in_the_store(auth: Auth) -> None:
    """A stolen store opens nothing: only digests are in it."""
    auth.set_passcode(PASSCODE)
    cookie = auth.sign_in(PASSCODE, "10.0.0.1")
    with auth.store.reading() as connection:
        everything = str([connection.execute(sa.select(t)).all() for t in schema.metadata.sorted_tables])
    assert PASSCODE not in everything
    assert cookie not in everything
    assert "10.0.0.1" not in everything


def test_the_digest_of_the_passcode_costs_as_much_as_it_should(monkeypatch: pytest.MonkeyPatch, auth: Auth) -> None:
    """Scrypt with N = 2^15, r = 8: 32 MiB a guess."""
    monkeypatch.undo()
    auth.set_passcode(PASSCODE)
    assert auth.store.fact("passcode").startswith("scrypt$32768$")
    assert auth.sign_in(PASSCODE, "a")


def test_a_short_passcode_is_refused(auth: Auth) -> None:
    """Seven characters are refused, eight are taken."""
    with pytest.raises(ServiceError, match="shorter than 8"):
        auth.set_passcode("1234567")
    auth.set_passcode("12345678")


def test_signing_out_and_a_new_passcode_end_sessions(auth: Auth) -> None:
    """Signing out ends one, a new passcode all."""
    auth.set_passcode(PASSCODE)
    first, second = (auth.sign_in(PASSCODE, "a") for _ in range(2))
    auth.sign_out(first)
    assert [auth.person_of(c) is not None for c in (first, second)] == [False, True]
    auth.set_passcode("another passcode")
    assert auth.person_of(second) is None


def test_a_session_ends_by_itself(auth: Auth, monkeypatch: pytest.MonkeyPatch) -> None:
    """After twelve hours, not before."""
    auth.set_passcode(PASSCODE)
    cookie, now = auth.sign_in(PASSCODE, "a"), time.time()
    monkeypatch.setattr(time, "time", lambda: now + 12 * 3600 - 5)
    assert auth.person_of(cookie) is not None
    monkeypatch.setattr(time, "time", lambda: now + 12 * 3600 + 5)
    assert auth.person_of(cookie) is None


def test_a_clock_that_is_set_back_makes_no_session_longer(auth: Auth, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve hours by the monotonic clock are its end, and it stays ended."""
    auth.set_passcode(PASSCODE)
    cookie, now, running = auth.sign_in(PASSCODE, "a"), time.time(), time.monotonic()
    assert auth.person_of(cookie) is not None
    monkeypatch.setattr(time, "time", lambda: now - 86400)
    monkeypatch.setattr(time, "monotonic", lambda: running + 12 * 3600 - 5)
    assert auth.person_of(cookie) is not None
    monkeypatch.setattr(time, "monotonic", lambda: running + 12 * 3600 + 5)
    assert auth.person_of(cookie) is None
    monkeypatch.setattr(time, "monotonic", lambda: running)
    assert auth.person_of(cookie) is None


def test_five_wrong_passcodes_close_the_door_for_a_quarter_of_an_hour(
    auth: Auth, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even the right one is refused then, from this address only; later it opens again."""
    auth.set_passcode(PASSCODE)
    for _ in range(5):
        assert auth.sign_in("wrong passcode", "10.0.0.1") is None
    with pytest.raises(TooManyAttemptsError) as stopped:
        auth.sign_in(PASSCODE, "10.0.0.1")
    assert 14 * 60 < stopped.value.wait_s <= 15 * 60
    assert auth.sign_in(PASSCODE, "10.0.0.2")
    later = time.time() + 15 * 60 + 1
    monkeypatch.setattr(time, "time", lambda: later)
    assert auth.sign_in(PASSCODE, "10.0.0.1")


def test_guesses_from_many_addresses_are_limited_together(auth: Auth) -> None:
    """Sixty in all, whatever the addresses."""
    auth.set_passcode(PASSCODE)
    for n in range(60):
        auth.sign_in("wrong passcode", f"10.0.0.{n}")
    with pytest.raises(TooManyAttemptsError):
        auth.sign_in("wrong passcode", "10.9.9.9")


def test_strangers_cannot_lock_out_a_device_that_knew_the_passcode(auth: Auth) -> None:
    """Neither by guessing from its own address (one line for the whole shop) nor from many."""
    auth.set_passcode(PASSCODE)
    assert auth.sign_in(PASSCODE, "10.0.0.1")
    device = auth.known_device("")
    for n in range(60):
        for address in ("10.0.0.1", f"10.0.1.{n}"):
            try:
                auth.sign_in("wrong passcode", address)
            except TooManyAttemptsError:
                continue
    with pytest.raises(TooManyAttemptsError):
        auth.sign_in(PASSCODE, "10.9.9.9")
    assert auth.sign_in(PASSCODE, "10.0.0.1", device)
    assert auth.known_device(device) == device


def test_a_device_has_five_guesses_of_its_own_and_a_made_up_one_is_a_stranger(auth: Auth) -> None:
    """A stolen phone may not guess on."""
    auth.set_passcode(PASSCODE)
    device, forged = auth.known_device(""), "x" * 24 + "." + "y" * 24
    for _ in range(5):
        auth.sign_in("wrong passcode", "10.0.0.1", device)
    with pytest.raises(TooManyAttemptsError):
        auth.sign_in(PASSCODE, "10.0.0.1", device)
    for n in range(60):
        auth.sign_in("wrong passcode", f"10.0.0.{n}", forged)
    with pytest.raises(TooManyAttemptsError):
        auth.sign_in(PASSCODE, "10.9.9.9", forged)
    with pytest.raises(TooManyAttemptsError):
        auth.sign_in(PASSCODE, "10.9.9.9", Auth(auth.store, b"z" * 32, Limits()).known_device(""))


def test_unlocking_forgets_the_wrong_ones(auth: Auth) -> None:
    """For every address and device."""
    auth.set_passcode(PASSCODE)
    for _ in range(5):
        auth.sign_in("wrong passcode", "10.0.0.1")
    auth.unlock()
    assert auth.sign_in(PASSCODE, "10.0.0.1")


def test_a_clock_that_steps_back_does_not_lengthen_the_wait(auth: Auth, monkeypatch: pytest.MonkeyPatch) -> None:
    """Guesses of the future do not count."""
    auth.set_passcode(PASSCODE)
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 86400)
    for _ in range(5):
        auth.sign_in("wrong passcode", "10.0.0.1")
    monkeypatch.setattr(time, "time", lambda: now)
    assert auth.sign_in(PASSCODE, "10.0.0.1")


def test_a_right_passcode_clears_the_count_of_its_address(auth: Auth) -> None:
    """Four typing errors a day do not add up."""
    auth.set_passcode(PASSCODE)
    for _ in range(3):
        for _ in range(4):
            auth.sign_in("wrong passcode", "10.0.0.1")
        assert auth.sign_in(PASSCODE, "10.0.0.1")


@pytest.fixture
def job(store: Store) -> str:
    """Return the id of a job."""
    return store.add_job({"job": {"number": "A-17"}})


def test_a_link_opens_its_job_to_its_role_only(auth: Auth, job: str) -> None:
    """An owner's link is no customer's link, and no other link at all."""
    owner = auth.add_link(job, "owner")
    token = auth.token(owner)
    assert auth.open_link(token, "owner").job_id == job
    assert auth.open_link(token, "customer") is None
    other = auth.add_link(job, "customer")
    swapped = f"{other.id}.{token.split('.')[1]}"
    assert auth.open_link(swapped, "owner") is None
    assert auth.open_link(swapped, "customer") is None


@pytest.mark.parametrize("token", ["", ".", "x", "x.y", "é.ü", "a" * 5000])
def test_what_is_no_link_opens_nothing(auth: Auth, token: str) -> None:
    """No error, no difference to a link that ended."""
    assert auth.open_link(token, "owner") is None


def test_every_changed_letter_of_a_link_closes_it(auth: Auth, job: str) -> None:
    """The seal covers the whole id; it is 144 bits long."""
    token = auth.token(auth.add_link(job, "owner"))
    assert len(token.split(".")[1]) * 6 == 144
    for i, letter in enumerate(token):
        if letter != ".":
            changed = token[:i] + ("A" if letter != "A" else "B") + token[i + 1 :]
            assert auth.open_link(changed, "owner") is None


def test_a_revoked_link_an_expired_one_and_one_of_a_deleted_job_open_nothing(
    auth: Auth, job: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three ends of a link."""
    links = [auth.add_link(job, "customer") for _ in range(2)]
    auth.revoke_link("0" * 20, links[0].id)
    assert auth.open_link(auth.token(links[0]), "customer"), "another job's page must not end it"
    auth.revoke_link(job, links[0].id)
    assert auth.open_link(auth.token(links[0]), "customer") is None
    assert auth.open_link(auth.token(links[1]), "customer")
    with monkeypatch.context() as later:
        moment = time.time() + 30 * 86400 + 1
        later.setattr(time, "time", lambda: moment)
        assert auth.open_link(auth.token(links[1]), "customer") is None
    auth.store.delete_job(job)
    assert auth.open_link(auth.token(links[1]), "customer") is None


def test_links_of_another_installation_open_nothing(auth: Auth, job: str) -> None:
    """The key that seals is not in the store."""
    token = auth.token(auth.add_link(job, "owner"))
    assert Auth(auth.store, b"z" * 32, Limits()).open_link(token, "owner") is None


def test_the_key_is_made_once_and_is_private(tmp_path: Path) -> None:
    """The same key after a restart; readable by its owner only; a damaged one is told."""
    key = load_key(tmp_path)
    assert load_key(tmp_path) == key
    assert len(key) == 32
    assert stat.S_IMODE((tmp_path / "secret.key").stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["secret.key"]
    (tmp_path / "secret.key").write_bytes(b"short")
    with pytest.raises(ServiceError, match="32 bytes"):
        load_key(tmp_path)
