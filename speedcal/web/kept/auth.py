"""Who may do what: the shop's passcode, sessions, and links that open one job to one role."""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
import time
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from speedcal.web.kept import schema
from speedcal.web.kept.store import Store, new_id
from speedcal.web.settings import Limits, ServiceError

SHORTEST_PASSCODE = 8
_COST, _BLOCK, _PARALLEL = 2**15, 8, 1  # 32 MiB and about a tenth of a second a guess
_DAY_S = 86400.0
_DEVICE = "device:"
ROLES = ("owner", "customer")


class TooManyAttemptsError(Exception):
    """Too many wrong passcodes; ``wait_s`` says how long to wait."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = wait_s
        super().__init__(f"wait {wait_s:.0f} s")


@dataclass(frozen=True, slots=True)
class Link:
    """A link that opens one job to one role until it expires or is revoked."""

    id: str
    job_id: str
    role: str
    created: float
    expires: float
    revoked: bool

    @property
    def is_open(self) -> bool:
        """Tell whether the link still works."""
        return not self.revoked and time.time() < self.expires


class Auth:
    """The passcode, the sessions and the links of one store."""

    def __init__(self, store: Store, key: bytes, limits: Limits) -> None:
        self.store, self.key, self.limits = store, key, limits
        self._ends: dict[str, float] = {}
        """When a session seen here ends, by the monotonic clock: that of the day may be set back."""

    # passcode and sessions

    @property
    def has_passcode(self) -> bool:
        """Tell whether a passcode was set."""
        return self.store.fact("passcode") is not None

    def set_passcode(self, passcode: str) -> None:
        """Set the passcode, unless it is too short, and end every session."""
        self.store.set_fact("passcode", digest_of(passcode))
        with self.store.writing() as connection:
            connection.execute(schema.sessions.delete())

    def sign_in(self, passcode: str, address: str, device: str = "", *, name: str = "") -> str | None:
        """Return the cookie of a new session, or None for a wrong passcode; without a name it is that of the shop.

        A device that knew the passcode before has guesses of its own, so that strangers cannot use them up.

        Raises
        ------
        TooManyAttemptsError
            Too many wrong ones came lately: from this device, or from this address or all strangers together.
        """
        is_known = self.is_known(device)
        digest = hashlib.sha256(self.key + (device if is_known else address).encode()).hexdigest()
        who = f"{_DEVICE * is_known}{digest}"[:64]
        self._count_attempt(who)
        person, kept = self._digest_kept(name)
        if not _is_right(passcode, kept):
            return None
        cookie, now = secrets.token_urlsafe(32), time.time()
        with self.store.writing() as connection:
            connection.execute(schema.attempts.delete().where(schema.attempts.c.who == who))
            connection.execute(schema.sessions.delete().where(schema.sessions.c.expires < now))
            connection.execute(
                schema.sessions.insert().values(
                    id=_digest(cookie), expires=now + self.limits.session_hours * 3600, person=person
                )
            )
        return cookie

    def _digest_kept(self, name: str) -> tuple[str, str]:
        """Return the name as it is kept, and the digest of its passcode."""
        if not name:
            return "", self.store.fact("passcode") or ""
        people = schema.people
        with self.store.reading() as connection:
            rows = connection.execute(sa.select(people.c.name, people.c.passcode)).all()
        return next(((str(r.name), str(r.passcode)) for r in rows if r.name.casefold() == name.casefold()), (name, ""))

    def known_device(self, device: str) -> str:
        """Return the name under which a device is known from now on; one that it has already stays."""
        if self.is_known(device):
            return device
        name = secrets.token_urlsafe(18)
        return f"{name}.{self._seal(name, 'device')}"

    def is_known(self, device: str) -> bool:
        """Tell whether somebody signed in from a device before."""
        name, _, seal = device.partition(".")
        return bool(name) and hmac.compare_digest(seal.encode(), self._seal(name, "device").encode())

    def unlock(self) -> None:
        """Forget the wrong passcodes so far."""
        with self.store.writing() as connection:
            connection.execute(schema.attempts.delete())

    def _count_attempt(self, who: str) -> None:
        """Count before checking, so that guesses sent side by side count too."""
        attempts, now = schema.attempts, time.time()
        window = self.limits.attempt_minutes * 60.0
        with self.store.writing() as connection:
            not_lately = sa.or_(attempts.c.at < now - window, attempts.c.at > now)  # the clock may have stepped back
            connection.execute(attempts.delete().where(not_lately))
            rows = connection.execute(sa.select(attempts.c.who, attempts.c.at).order_by(attempts.c.at)).all()
            own = [row.at for row in rows if row.who == who]
            strangers = [row.at for row in rows if not row.who.startswith(_DEVICE)]
            bounds = [(own, self.limits.attempts)]
            if not who.startswith(_DEVICE):
                bounds.append((strangers, self.limits.attempts_overall))
            for times, most in bounds:
                if len(times) >= most:
                    raise TooManyAttemptsError(times[-most] + window - now)
            connection.execute(attempts.insert().values(who=who, at=now))

    def person_of(self, cookie: str) -> str | None:
        """Return who signed in, empty for the passcode of the shop; None when the session has ended."""
        sessions, name = schema.sessions, _digest(cookie)
        query = sa.select(sessions.c.expires, sessions.c.person).where(sessions.c.id == name)
        with self.store.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            self._ends.pop(name, None)
            return None
        left_s = min(row.expires - time.time(), self.limits.session_hours * 3600)
        ends = self._ends.setdefault(name, time.monotonic() + left_s)
        if left_s > 0 and time.monotonic() < ends:
            return str(row.person)
        self.sign_out(cookie)
        return None

    def sign_out(self, cookie: str) -> None:
        """End the session of a cookie."""
        name = _digest(cookie)
        self._ends.pop(name, None)
        with self.store.writing() as connection:
            connection.execute(schema.sessions.delete().where(schema.sessions.c.id == name))

    # links

    def add_link(self, job_id: str, role: str) -> Link:
        """Make a link for a role to a job."""
        if role not in ROLES:
            raise ValueError(f"no such role: {role!r}")
        now = time.time()
        link = Link(new_id(), job_id, role, now, now + self.limits.link_days * _DAY_S, revoked=False)
        with self.store.writing() as connection:
            connection.execute(schema.links.insert().values(**{name: getattr(link, name) for name in Link.__slots__}))
        return link

    def token(self, link: Link) -> str:
        """Return what stands in the address of a link: its id and a seal that only this installation can make.

        The store alone does not give the links away; the key lies in a file beside it.
        """
        return f"{link.id}.{self._seal(link.id, link.role)}"

    def _seal(self, link_id: str, role: str) -> str:
        seal = hmac.digest(self.key, f"{role}:{link_id}".encode(), "sha256")[:18]
        return base64.urlsafe_b64encode(seal).decode()

    def open_link(self, token: str, role: str) -> Link | None:
        """Return the link of a token when it is genuine, for this role, not expired and not revoked."""
        link_id, _, seal = token.partition(".")
        if not hmac.compare_digest(seal.encode(), self._seal(link_id, role).encode()):
            return None
        links = schema.links
        with self.store.reading() as connection:
            row = connection.execute(sa.select(links).where(links.c.id == link_id)).mappings().first()
        link = _link(row) if row else None
        return link if link and link.role == role and link.is_open else None

    def links(self, job_id: str) -> list[Link]:
        """Return the links of a job, the newest first."""
        links = schema.links
        query = sa.select(links).where(links.c.job_id == job_id).order_by(links.c.created.desc(), links.c.id)
        with self.store.reading() as connection:
            return [_link(row) for row in connection.execute(query).mappings()]

    def revoke_link(self, job_id: str, link_id: str) -> None:
        """End a link of a job for good."""
        links = schema.links
        with self.store.writing() as connection:
            connection.execute(
                links.update().where(links.c.id == link_id, links.c.job_id == job_id).values(revoked=True)
            )


def load_key(data: Path) -> bytes:
    """Return the secret key of an installation, made when it is missing, readable by its owner only."""
    path = data / "secret.key"
    if not path.exists():
        made = data / f"secret.{secrets.token_hex(6)}"
        made.touch(mode=0o600)
        made.write_bytes(secrets.token_bytes(32))
        try:
            os.link(made, path)  # the first of two servers that start together wins
        except FileExistsError:
            pass
        finally:
            made.unlink()
    key = path.read_bytes()
    if len(key) != 32:
        raise ServiceError("key_file_broken", source=path.name)
    return key


def digest_of(passcode: str) -> str:
    """Return what is kept of a passcode.

    Raises
    ------
    ServiceError
        It is too short.
    """
    if len(passcode) < SHORTEST_PASSCODE:
        raise ServiceError("passcode_too_short", shortest=SHORTEST_PASSCODE)
    salt = secrets.token_bytes(16)
    return f"scrypt${_COST}${salt.hex()}${_scrypt(passcode, salt, _COST).hex()}"


def _is_right(passcode: str, kept: str) -> bool:
    """Tell whether a passcode is the one that is kept; a name that nobody has takes as long to answer."""
    _, cost, salt, digest = (kept or f"scrypt${_COST}$00$00").split("$")
    return hmac.compare_digest(_scrypt(passcode, bytes.fromhex(salt), int(cost)), bytes.fromhex(digest))


def _scrypt(passcode: str, salt: bytes, cost: int) -> bytes:
    return hashlib.scrypt(
        passcode.encode(errors="surrogateescape"),
        salt=salt,
        n=cost,
        r=_BLOCK,
        p=_PARALLEL,
        maxmem=2 * 128 * cost * _BLOCK,
        dklen=32,
    )


def _digest(cookie: str) -> str:
    return hashlib.sha256(cookie.encode()).hexdigest()


def _link(row: sa.RowMapping) -> Link:
    return Link(**{name: row[name] for name in Link.__slots__})
