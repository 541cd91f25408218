"""What the person who starts the service decides, and every limit of the service in one place."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote, urlsplit

from speedcal.errors import SpeedcalError

MEBIBYTE = 1024 * 1024
Network = ipaddress.IPv4Network | ipaddress.IPv6Network
LOCAL_NAMES = ("localhost", "127.0.0.1", "[::1]")
"""Host names under which a browser on the same machine reaches the service."""


class ServiceError(SpeedcalError):
    """The service cannot start or go on with what it was given."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Every limit of the service; a request beyond one gets an error message and changes nothing."""

    body_bytes: int = 48 * MEBIBYTE
    """Whole body of an upload."""
    form_bytes: int = MEBIBYTE
    """Whole body of a form without files."""
    file_bytes: int = 24 * MEBIBYTE
    """One uploaded file."""
    files: int = 2
    """Files in one form."""
    fields: int = 400
    """Fields in one form."""
    field_bytes: int = 256 * 1024
    """Text in one field."""
    text_characters: int = 500
    """Characters in a one-line field, such as a name."""
    typed_rows: int = 1000
    """Readings typed or pasted into the form."""
    track_points: int = 400_000
    """Fixes in a track."""
    readings_rows: int = 400_000
    """Rows in a readings file."""
    connections: int = 2000
    """Connections at the same time; beyond it whoever has most of them loses one. An address may have a quarter."""
    header_seconds: int = 10
    """Time for a request to be said, up to its body; also for the handshake of https."""
    receive_seconds: int = 900
    """Longest time for the body of an upload to arrive."""
    form_seconds: int = 60
    """Time for the body of a form to arrive; an upload has this and a second for every ``least_bytes_per_s``."""
    least_bytes_per_s: int = 4096
    rest_seconds: int = 20
    """Time for the rest of a body that nobody wants any more."""
    taking_seconds: int = 60
    """Time for the client to take what was sent to it."""
    drives_per_job: int = 20
    film_bytes: int = 4096 * MEBIBYTE
    """One film of a dial; 15 minutes of a phone are 1 to 2 GB."""
    film_piece_bytes: int = 4 * MEBIBYTE
    """What is sent of a film in one piece; a broken connection costs one of them."""
    films_per_job: int = 3
    """Films of a job that are there at the same time."""
    film_days: int = 7
    """A film whose readings nobody accepts is kept for this long."""
    film_seconds: int = 3600
    """Reading one film, processor time; twice that on the clock."""
    zip_bytes: int = 48 * MEBIBYTE
    """A job folder that is imported, packed."""
    zip_unpacked_bytes: int = 192 * MEBIBYTE
    zip_entries: int = 64
    look_seconds: int = 40
    """Reading the files of one drive, processor time; twice that on the clock."""
    run_seconds: int = 240
    """Analysing one job, processor time; twice that on the clock."""
    worker_bytes: int = 3 * 1024 * MEBIBYTE
    """Address space of one worker process."""
    written_bytes: int = 64 * MEBIBYTE
    """Largest file that a worker process may write."""
    uploads_at_once: int = 16
    """Uploads that are received at the same time; one more gets the busy answer."""
    uploads_per_address: int = 8
    uploads_per_link: int = 4
    patience_seconds: int = 10
    """An upload that had this time and brings less than ``slow_bytes_per_s`` gives way when places are short."""
    slow_bytes_per_s: int = 16 * 1024
    runs_waiting: int = 500
    """Analyses that may wait; an upload beyond it gets the busy answer."""
    free_disk_bytes: int = 256 * MEBIBYTE
    """Uploads are refused while the disk has less room than this."""
    link_days: int = 30
    removed_days: int = 30
    """How long a removed drive can be put back."""
    session_hours: int = 12
    attempts: int = 5
    """Wrong passcodes from one address in ``attempt_minutes``."""
    attempts_overall: int = 60
    """Wrong passcodes from all devices that never knew it in ``attempt_minutes``."""
    device_days: int = 400
    """A device on which somebody signed in is known for this long."""
    attempt_minutes: int = 15


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the service listens and where it keeps its jobs."""

    data: Path
    """Folder of the originals, the results, the secret key and, without ``database``, the SQLite file."""
    host: str = "127.0.0.1"
    port: int = 8000
    database: str = ""
    """SQLAlchemy URL; empty for SQLite in the data folder."""
    host_names: tuple[str, ...] = ()
    """Names under which browsers reach the service, besides the local ones and ``host``."""
    public_url: str = ""
    """Address under which owners and customers reach the service; links begin with it."""
    tls_cert: Path | None = None
    tls_key: Path | None = None
    trusted_proxies: tuple[str, ...] = ()
    """Addresses or networks of proxies that are believed what they say about the client."""
    keep_drives: int = 0
    """Days for which files of drives are kept after their job was closed; 0 for ever. Results stay."""
    workers: int = 2
    """Analyses at the same time; 0 leaves them to another server on the same store."""
    limits: Limits = field(default_factory=Limits)

    @property
    def is_tls(self) -> bool:
        """Tell whether the service speaks https itself."""
        return self.tls_pair is not None

    @property
    def tls_pair(self) -> tuple[Path, Path] | None:
        """Certificate and key: those named, else those that were made for the devices of the shop."""
        if self.tls_cert is not None and self.tls_key is not None:
            return self.tls_cert, self.tls_key
        return self.made_pair if self.uses_made_certificate else None

    @property
    def made_pair(self) -> tuple[Path, Path]:
        """Where a certificate of our making and its key lie."""
        return self.data / "tls" / "shop.crt", self.data / "tls" / "shop.key"

    @property
    def made_authority(self) -> Path:
        """Where the authority lies that devices are asked to trust."""
        return self.data / "tls" / "authority.crt"

    @property
    def uses_made_certificate(self) -> bool:
        """Tell whether https is spoken with a certificate of our making; this machine alone needs none."""
        return self.tls_cert is None and not self.is_local and self.made_authority.exists()

    @property
    def listens_everywhere(self) -> bool:
        """Tell whether the service listens at every address of this machine."""
        try:
            return ipaddress.ip_address(self.host.strip("[]")).is_unspecified
        except ValueError:
            return not self.host

    @property
    def is_local(self) -> bool:
        """Tell whether only this machine can reach the service, as far as the settings say."""
        named = all(is_loopback(name) for name in (*self.host_names, *self._public_host))
        return is_loopback(self.host) and named and not self.trusted_proxies

    @property
    def trusted_networks(self) -> tuple[Network, ...]:
        """Networks of the proxies that are trusted; what is no address is refused."""
        try:
            return tuple(ipaddress.ip_network(proxy, strict=False) for proxy in self.trusted_proxies)
        except ValueError:
            raise ServiceError("proxy_address_unreadable", found=" ".join(self.trusted_proxies)) from None

    @property
    def allowed_hosts(self) -> tuple[str, ...]:
        """Host names that requests may carry, without port, in lower case."""
        bound = () if self.listens_everywhere else (_bracketed(self.host),)
        return tuple(
            dict.fromkeys(name.lower() for name in (*LOCAL_NAMES, *bound, *self.host_names, *self._public_host))
        )

    @property
    def public_origin(self) -> str:
        """Scheme, host and port of ``public_url``; empty without one, and refused where it is none of a whole site."""
        if not self.public_url:
            return ""
        try:
            parts = urlsplit(self.public_url)
            _ = parts.port
        except ValueError:
            parts = urlsplit("")
        is_whole = parts.path in ("", "/") and not (parts.query or parts.fragment or parts.username)
        if parts.scheme not in ("http", "https") or not parts.hostname or not is_whole:
            raise ServiceError("public_url_unreadable", found=self.public_url)
        return f"{parts.scheme}://{parts.netloc.lower()}"

    @property
    def _public_host(self) -> tuple[str, ...]:
        host = urlsplit(self.public_origin).hostname
        return (_bracketed(host),) if host else ()

    @property
    def database_url(self) -> str:
        """SQLAlchemy URL of the store."""
        return self.database or sqlite_url(self.data / "jobs.sqlite")


def sqlite_url(path: Path) -> str:
    """Return the SQLAlchemy URL of an SQLite file, wherever it lies."""
    return f"sqlite:///{quote(str(path.absolute()))}"


def is_loopback(host: str) -> bool:
    """Tell whether a host name or address means this machine only."""
    if host.strip("[]").lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host and not host.startswith("[") else host
