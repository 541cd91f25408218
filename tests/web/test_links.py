"""What a link is handed out with: a QR code that a phone reads, a short text, and how far it carries."""

from __future__ import annotations

import html
import re

import cv2
import numpy as np
import pytest
from support.web_site import Site

from speedcal.web.pages.links import qr_code, reach_of

ADDRESS = "https://drives.example:8443/o/0123456789abcdef0123456789abcdef.AbCd-_AbCdAbCdAbCdAbCdAb"


def scanned(svg: str) -> str:
    """Paint the strokes of a QR code as a browser does, and return what an independent decoder reads."""
    size = int(re.search(r'viewBox="0 0 (\d+) ', svg)[1])
    modules = np.full((size, size), 255, np.uint8)
    strokes = re.search(r'stroke="#000" d="([^"]+)"', svg)[1]
    x = y = 0.0
    for sign, numbers in re.findall(r"([Mmh])([-\d. ]+)", strokes):
        values = [float(number) for number in numbers.split()]
        if sign == "h":
            modules[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
        else:
            x, y = values if sign == "M" else (x + values[0], y + values[1])
    # the older of its two decoders misses one code in fifty as it first sees it, and one in 700 from every side
    return str(cv2.QRCodeDetectorAruco().detectAndDecode(np.kron(modules, np.ones((4, 4), np.uint8)))[0])


@pytest.mark.parametrize("address", [ADDRESS, "http://[fd00::1]:8000/c/x.y"])
def test_a_phone_reads_the_qr_code(address: str) -> None:
    """With the white rim of four modules that scanners need (ISO/IEC 18004)."""
    svg = str(qr_code(address))
    assert scanned(svg) == address
    assert 'd="M4 4.5h7' in svg, "rim of four modules, then a finder pattern of seven"


@pytest.mark.parametrize(
    ("origin", "words"),
    [
        ("http://localhost:8000", "on this machine alone"),
        ("http://127.0.0.1:8000", "on this machine alone"),
        ("http://[::1]:8000", "on this machine alone"),
        ("http://169.254.7.7:8000", "on no phone"),
        ("http://[fe80::1]:8000", "on no phone"),
        ("http://192.168.1.20:8000", "in the shop's own network alone"),
        ("https://shop-pc:8443", "in the shop's own network alone"),
        ("https://shop-pc.local", "in the shop's own network alone"),
    ],
)
def test_an_address_that_is_useless_elsewhere_is_told(origin: str, words: str) -> None:
    """And what to do about it."""
    assert words in reach_of(origin)
    assert "--public-url" in reach_of(origin)


@pytest.mark.parametrize("origin", ["https://drives.example", "https://drives.example:8443"])
def test_an_address_that_opens_anywhere_is_not_warned_about(origin: str) -> None:
    """A public name."""
    assert reach_of(origin) == ""


def test_a_link_goes_out_with_a_short_text(site: Site) -> None:
    """The shop's name, what it is, the address; an ended link has nothing to hand out, and paper shows none."""
    base = site.new_job(**{"job.shop": "Saltmarsh Gauge & Works (invented)"})
    site.client.post(f"{base}/links", data={"role": "owner"})
    page = html.unescape(site.client.get(base).text)
    link = re.search(r'href="(http://localhost/o/[^"]+)"', page)[1]
    assert f'data-address="{link}"' in page
    assert "Saltmarsh Gauge & Works (invented): Please record or send the drive" in page
    assert "body=Saltmarsh%20Gauge%20%26%20Works" in page
    assert scanned(page) == link
    section = re.search(r'<section class="([^"]+)" aria-labelledby="links">', page)[1]
    assert "noprint" in section.split()
    site.client.post(re.search(r'action="([^"]+/revoke)"', page)[1])
    page = site.client.get(base).text
    assert "<svg" not in page
    assert "data-address" not in page
