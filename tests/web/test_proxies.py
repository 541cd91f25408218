"""Who the client is, with and without a proxy in front."""

from __future__ import annotations

import ipaddress
import re
from pathlib import Path

import pytest
from support.web_site import Site, open_site

from speedcal.web.entry.proxies import believe, network_of
from speedcal.web.settings import ServiceError, Settings

TRUSTED = (ipaddress.ip_network("192.0.2.0/24"), ipaddress.ip_network("2001:db8::1/128"))


def told(client: str, **headers: str) -> tuple[str, str]:
    """Return client and scheme of a request that came from an address with these headers."""
    raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": "http", "client": (client, 5), "scheme": "http", "headers": raw}
    believe(scope, TRUSTED)
    return scope["client"][0], scope["scheme"]


def test_a_trusted_proxy_is_believed_and_nobody_else() -> None:
    """The client is the last address that is no proxy of ours: what stands before it anybody can write."""
    assert told("192.0.2.9", x_forwarded_for="203.0.113.5", x_forwarded_proto="https") == ("203.0.113.5", "https")
    assert told("198.51.100.1", x_forwarded_for="203.0.113.5", x_forwarded_proto="https") == ("198.51.100.1", "http")
    assert told("192.0.2.9", x_forwarded_for="127.0.0.1, 203.0.113.5, 192.0.2.8") == ("203.0.113.5", "http")
    assert told("2001:db8::1", x_forwarded_for="[2001:db8:5::7]")[0] == "2001:db8:5::7"
    assert told("192.0.2.9") == ("192.0.2.9", "http")
    assert told("192.0.2.9", x_forwarded_proto="gopher") == ("192.0.2.9", "http")


@pytest.mark.parametrize(
    ("address", "whom"),
    [
        ("203.0.113.5", "203.0.113.5"),
        ("::ffff:203.0.113.5", "203.0.113.5"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("testclient", "testclient"),
    ],
)
def test_an_ipv6_client_is_its_network(address: str, whom: str) -> None:
    """It can take any of 2^64 addresses there."""
    assert network_of(address) == whom


@pytest.mark.parametrize(
    "header",
    ["Forwarded", "Via", "X-Forwarded", "X-Forwarded-For", "X-Forwarded-Anything", "Forwarded-For", "X-Real-IP",
     "True-Client-IP", "X-Client-IP", "X-Original-Host"],
)  # fmt: skip
def test_what_was_passed_on_is_refused_while_no_passcode_is_set(site: Site, header: str) -> None:
    """A tunnel to this machine makes strangers look like somebody who sits at it."""
    answer = site.client.get("/jobs", headers={header: "x"})
    assert answer.status_code == 403
    assert "--set-passcode" in answer.text
    assert site.client.get("/jobs").status_code == 200
    site.services.auth.set_passcode("brass kettle tide")
    assert site.client.get("/sign-in", headers={header: "x"}).status_code == 200


def test_behind_a_trusted_proxy_the_cookie_is_for_https_only(tmp_path: Path) -> None:
    """The browser came by https, although the last stretch is http."""
    with open_site(tmp_path, passcode="brass kettle tide", trusted_proxies=("192.0.2.0/24",)) as site:
        site.client._transport.client = ("192.0.2.1", 5)  # type: ignore[attr-defined]
        headers = {"x-forwarded-proto": "https", "x-forwarded-for": "203.0.113.5"}
        form = {"passcode": "brass kettle tide"}
        answer = site.client.post("/sign-in", data=form, headers=headers, follow_redirects=False)
        assert "__Host-speedcal=" in answer.headers["set-cookie"]
        plain = site.client.post("/sign-in", data=form, follow_redirects=False)
        assert "__Host-" not in plain.headers["set-cookie"]


def test_links_begin_with_the_public_address(tmp_path: Path) -> None:
    """Whatever address the tech came by; the service answers under it, and is no longer local."""
    with open_site(tmp_path, passcode="brass kettle tide", public_url="https://Drives.example:8443/") as site:
        site.client.post("/sign-in", data={"passcode": "brass kettle tide"})
        base = site.new_job()
        page = site.client.post(f"{base}/links", data={"role": "owner"}).text
        link = re.search(r'href="(https://drives.example:8443/o/[\w.-]+)"', page)[1]
        assert "work on this machine alone" not in page
        path = link.removeprefix("https://drives.example:8443")
        assert site.client.get(path, headers={"host": "drives.example:8443"}).status_code == 200
        assert not site.services.settings.is_local


def test_links_that_work_on_this_machine_alone_say_so(site: Site) -> None:
    """Somebody would send them to the owner's phone."""
    assert "work on this machine alone" in site.client.get(site.new_job()).text


@pytest.mark.parametrize(
    "url",
    [
        "drives.example",
        "ftp://drives.example",
        "https://",
        "https://x/page",
        "https://x:port",
        "https://me@x",
        "https://[x",
    ],
)
def test_a_public_address_that_is_none_is_refused(url: str) -> None:
    """It has a scheme and a host and stands for the whole site."""
    with pytest.raises(ServiceError, match="not the address of a whole site"):
        _ = Settings(data=Path(), public_url=url).public_origin


def test_a_proxy_that_is_no_address_is_refused() -> None:
    """In words."""
    with pytest.raises(ServiceError, match="not an address or a network"):
        _ = Settings(data=Path(), trusted_proxies=("proxy.example",)).trusted_networks


def test_with_a_proxy_the_service_is_not_local() -> None:
    """So it does not start without a passcode."""
    assert Settings(data=Path()).is_local
    assert not Settings(data=Path(), trusted_proxies=("127.0.0.1",)).is_local
