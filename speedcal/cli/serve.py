"""``speedcal serve``: the upload page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._options import store_options
from speedcal.errors import SpeedcalError
from speedcal.text.codes.command_messages import PASSCODE_ASKED

if TYPE_CHECKING:
    from speedcal.web.settings import Settings


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="Port to listen on.")
@store_options
@click.option(
    "--host-name", "host_names", multiple=True, help="Name under which browsers reach this machine; repeatable."
)
@click.option(
    "--public-url", default="", help="Address under which owners and customers reach the page; links begin with it."
)
@click.option("--tls-cert", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Certificate for https.")
@click.option("--tls-key", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Key of the certificate.")
@click.option(
    "--make-certificate",
    is_flag=True,
    help="Make a certificate for the names and addresses of this machine, for the shop's own devices, and end.",
)
@click.option(
    "--trusted-proxy",
    "trusted_proxies",
    multiple=True,
    help="Address or network of a proxy in front, which is believed what it says about the client; repeatable.",
)
@click.option(
    "--keep-drives",
    default=0,
    show_default="for ever",
    metavar="DAYS",
    type=click.IntRange(0, 36500),
    help="Remove the files of drives this many days after their job was closed; reports stay.",
)
@click.option("--workers", default=2, show_default=True, type=click.IntRange(0, 64), help="Analyses at the same time.")
@click.option("--set-passcode", is_flag=True, help="Ask for a new passcode of the shop, keep its digest, and end.")
@click.option("--unlock", is_flag=True, help="Forget wrong passcodes, so that the right one is taken again, and end.")
@click.option(
    "--unit-file", "as_unit", is_flag=True, help="Print the systemd service file that starts this at boot, and end."
)
@click.option("--json", "as_json", is_flag=True, help="Write the whole log to standard error too, as JSON lines.")
def command(*, as_json: bool, **options: Any) -> None:
    r"""Start the upload page for owner, tech and customer.

    On this machine alone (the default address) it needs no passcode. On any other address it refuses to start until
    one was set with --set-passcode. The recorder page needs https or this machine: browsers give the position to
    nobody else.

    \b
    Examples:
      speedcal serve
      speedcal serve --set-passcode
      speedcal serve --host 0.0.0.0 --host-name shop-pc.example --make-certificate
      speedcal serve --host 0.0.0.0 --host-name shop-pc.example

    A passenger writes or taps what the dial shows; the driver drives.
    """
    from speedcal.web.server import certificate
    from speedcal.web.settings import Settings

    asked = {name: options.pop(name) for name in ("set_passcode", "unlock", "as_unit", "make_certificate")}
    if bool(options["tls_cert"]) != bool(options["tls_key"]):
        raise SpeedcalError("tls_half_given")
    settings = Settings(**options)
    _ = settings.trusted_networks, settings.public_origin
    if asked["make_certificate"]:
        _make_certificate(settings)
        return
    _ = certificate(settings)
    if asked["as_unit"]:
        _print_unit(settings)
    elif not _changed_store(settings, set_passcode=asked["set_passcode"], unlock=asked["unlock"]):
        _start(settings, as_json=as_json)


def _make_certificate(settings: Settings) -> None:
    from datetime import UTC, datetime

    from speedcal.text.pages.page_labels import SERVE
    from speedcal.web.entry.certificate import make_certificate

    names = make_certificate(settings, datetime.now(UTC))
    folder = settings.made_authority.parent
    click.echo(SERVE["certificate_made"].format(names=", ".join(names), folder=folder), err=True)


def _print_unit(settings: Settings) -> None:
    from speedcal.text.pages.page_labels import SERVE
    from speedcal.web.entry.unit_file import unit_file

    click.echo(unit_file(settings), nl=False)
    click.echo(SERVE["unit"], err=True)


def _changed_store(settings: Settings, *, set_passcode: bool, unlock: bool) -> bool:
    """Do what is done in the store alone and tell whether that was all that was asked."""
    from speedcal.text.pages.page_labels import SERVE
    from speedcal.web.app import check_passcode, make_services

    services = make_services(settings)
    try:
        if set_passcode:
            services.auth.set_passcode(_ask_passcode())
            click.echo(SERVE["passcode_set"], err=True)
        elif unlock:
            services.auth.unlock()
            click.echo(SERVE["unlocked"], err=True)
        else:
            check_passcode(services)
    finally:
        services.store.close()
    return set_passcode or unlock


def _start(settings: Settings, *, as_json: bool) -> None:
    from speedcal.text.pages.page_labels import SERVE
    from speedcal.web.entry.listen import addresses_to_open, is_open_to_listeners, open_sockets
    from speedcal.web.logbook import keep_log
    from speedcal.web.server import serve

    sockets = open_sockets(settings)
    port = sockets[0].getsockname()[1]
    keep_log(settings.data, port, on_screen=as_json)
    here, *elsewhere = addresses_to_open(settings, port)
    click.echo(SERVE["open"].format(address=here), err=True)
    for address in elsewhere:
        click.echo(SERVE["open_elsewhere"].format(address=address), err=True)
    if is_open_to_listeners(settings):
        click.echo(SERVE["no_https"], err=True)
    _tell_certificate(settings, port)
    click.echo(SERVE["log"].format(folder=settings.data / "log"), err=True)
    serve(settings, sockets)


def _tell_certificate(settings: Settings, port: int) -> None:
    import time

    from speedcal.text.pages.page_labels import SERVE
    from speedcal.web.answers import day
    from speedcal.web.entry.certificate import facts_of
    from speedcal.web.entry.listen import trust_address

    facts = facts_of(settings)
    if facts is None:
        return
    if trusted_at := trust_address(settings, port):
        click.echo(SERVE["trust"].format(address=trusted_at), err=True)
    words = SERVE["certificate_ends" if time.time() >= facts.renew_from else "certificate_until"]
    click.echo(words.format(day=day(facts.expires)), err=True)


def _ask_passcode() -> str:
    if sys.stdin.isatty():
        answer: str = click.prompt(PASSCODE_ASKED, hide_input=True, confirmation_prompt=True, err=True)
        return answer
    return sys.stdin.readline().rstrip("\r\n")
