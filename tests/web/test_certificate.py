"""The certificate for the shop's own devices, as openssl and other clients see it."""

from __future__ import annotations

import shutil
import ssl
import subprocess
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization as form
from support.needs import missing
from support.web_site import open_site
from support.web_thread import serve_in_thread

from speedcal.cli.serve import _tell_certificate
from speedcal.text.pages.page_labels import HEALTH
from speedcal.web.app import make_services
from speedcal.web.entry.certificate import DAYS, facts_of, make_authority, make_certificate, sign
from speedcal.web.settings import Limits, ServiceError, Settings

NAMES = ("shop-pc.example", "192.0.2.20", "localhost", "127.0.0.1", "::1")
TODAY = datetime.now(UTC)


def openssl_says(authority: Path, certificate: Path, *options: str) -> bool:
    """Tell whether openssl trusts a certificate for what the options name."""
    if shutil.which("openssl") is None:
        missing("openssl")
    done = subprocess.run(
        ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", str(authority), *options,
         str(certificate)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.returncode == 0


def pem(path: Path, certificate: object) -> Path:
    """Write a certificate and return where."""
    path.write_bytes(certificate.public_bytes(form.Encoding.PEM))
    return path


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, dict[str, Path]]:
    """Return an authority, its certificate of a server, and what else its key could have signed."""
    folder = tmp_path_factory.mktemp("signed")
    authority = make_authority(NAMES, TODAY)
    foreign = {
        name: pem(folder / f"{n}.crt", sign(authority, (name,), TODAY)[0])
        for n, name in enumerate(("bank.example", "other-pc.example", "198.51.100.7", "2001:db8::7"))
    }
    return (
        pem(folder / "ca.crt", authority.certificate),
        pem(folder / "s.crt", sign(authority, NAMES, TODAY)[0]),
        foreign,
    )


@pytest.mark.parametrize("name", NAMES)
def test_openssl_trusts_it_for_every_name_of_the_machine(signed: tuple[Path, Path, dict[str, Path]], name: str) -> None:
    """Names and addresses; for another name it does not."""
    option = "-verify_ip" if ":" in name or name[0].isdigit() else "-verify_hostname"
    assert openssl_says(signed[0], signed[1], option, name)
    assert not openssl_says(signed[0], signed[1], "-verify_hostname", "bank.example")


def test_its_authority_can_vouch_for_nothing_else(signed: tuple[Path, Path, dict[str, Path]]) -> None:
    """Not even with the key, which is gone: openssl refuses other names and addresses by the constraints."""
    for name, certificate in signed[2].items():
        assert not openssl_says(signed[0], certificate), name


def test_phones_take_it_by_its_length(signed: tuple[Path, Path, dict[str, Path]]) -> None:
    """825 days at the most, from memory; nothing ends before anything else."""
    day = 86400
    assert openssl_says(signed[0], signed[1], "-attime", str(int(TODAY.timestamp() + (DAYS - 1) * day)))
    assert not openssl_says(signed[0], signed[1], "-attime", str(int(TODAY.timestamp() + (DAYS + 1) * day)))
    assert DAYS + 1 < 825


def shop(folder: Path, **more: object) -> Settings:
    """Return the settings of a page in a workshop."""
    return Settings(data=folder / "data", host="0.0.0.0", host_names=("shop-pc.example",), **more)  # noqa: S104


def test_the_key_that_signed_it_lies_nowhere(tmp_path: Path) -> None:
    """In the folder there is one key, that of the server, for its owner's eyes only."""
    settings = shop(tmp_path)
    names = make_certificate(settings, TODAY)
    assert {"shop-pc.example", "localhost"} <= set(names)
    folder = settings.made_authority.parent
    assert sorted(path.name for path in folder.iterdir()) == ["authority.crt", "shop.crt", "shop.key"]
    assert all(path.stat().st_mode & 0o077 == 0 for path in folder.iterdir())
    key = form.load_pem_private_key((folder / "shop.key").read_bytes(), None)
    public = key.public_key().public_bytes(form.Encoding.DER, form.PublicFormat.SubjectPublicKeyInfo)
    authority = settings.made_authority.read_bytes()
    assert public not in authority
    assert public in ssl.PEM_cert_to_DER_cert((folder / "shop.crt").read_text())


def test_who_is_alone_on_the_machine_needs_none(tmp_path: Path) -> None:
    """And is told which options would name somebody."""
    with pytest.raises(ServiceError, match="--host-name"):
        make_certificate(Settings(data=tmp_path / "data"), TODAY)


def test_https_and_plain_http_come_in_at_one_port(tmp_path: Path) -> None:
    """Http leads to https, except for what a device needs to trust it, and on the machine itself."""
    settings = Settings(data=tmp_path / "data", host_names=("lan.test",))
    make_certificate(settings, TODAY)
    services = make_services(settings)
    services.auth.set_passcode("brass kettle tide")
    services.store.close()
    with serve_in_thread(tmp_path, Limits(free_disk_bytes=0), host_names=("lan.test",)) as served:
        authority = ssl.DER_cert_to_PEM_cert(settings.made_authority.read_bytes())
        trusting = ssl.create_default_context(cadata=authority)
        port = served.port
        with urllib.request.urlopen(f"https://localhost:{port}/sign-in", context=trusting) as answer:
            assert answer.status == 200
        with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
            urllib.request.urlopen(f"https://localhost:{port}/sign-in")

        def ask(path: str, host: str) -> tuple[int, str, bytes]:
            asked = urllib.request.Request(f"http://127.0.0.1:{port}{path}", headers={"Host": host})
            with urllib.request.build_opener(_NoRedirect()).open(asked) as answer:
                return answer.status, answer.headers.get("location", ""), answer.read()

        status, location, _ = ask("/jobs/x?q=a%20b", f"lan.test:{port}")
        assert (status, location) == (308, f"https://lan.test:{port}/jobs/x?q=a%20b")
        status, _, page = ask("/trust", f"lan.test:{port}")
        assert status == 200
        assert f"https://lan.test:{port}/" in page.decode()
        assert facts_of(settings).fingerprint in page.decode()
        assert ask("/trust/shop-authority.crt", f"lan.test:{port}")[2] == settings.made_authority.read_bytes()
        assert ask("/sign-in", f"localhost:{port}")[0] == 200


@pytest.mark.parametrize(("days", "is_well"), [(DAYS - 22, True), (DAYS - 20, False), (DAYS + 1, False)])
def test_its_end_is_told_before_it_comes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], days: int, is_well: bool
) -> None:
    """By the health check, on the page of the shop and when the page starts."""
    make_certificate(shop(tmp_path), TODAY - timedelta(days=days))
    settings = shop(tmp_path, workers=0)
    more = {"host": settings.host, "host_names": settings.host_names}
    with open_site(tmp_path, passcode="brass kettle tide", **more) as site:
        assert site.services.health.look()["certificate"] is is_well
        site.client.post("/sign-in", data={"passcode": "brass kettle tide"})
        assert "does not trust the certificate" in site.client.get(site.new_job()).text
        page = site.client.get("/state").text
        assert (HEALTH["certificate"] in page) is not is_well
        assert "http://shop-pc.example:80/trust" in page
    _tell_certificate(settings, 8000)
    told = capsys.readouterr().err
    assert "http://shop-pc.example:8000/trust" in told
    assert ("Warning" in told) is not is_well


def test_a_page_of_trust_is_there_only_with_something_to_trust(tmp_path: Path) -> None:
    """Without a certificate of our making the address leads nowhere."""
    with open_site(tmp_path) as site:
        assert site.client.get("/trust").status_code == 404
        assert site.client.get("/trust/shop-authority.crt").status_code == 404


class _NoRedirect(urllib.request.HTTPErrorProcessor):
    def http_response(self, request: object, response: object) -> object:
        return response

    https_response = http_response
