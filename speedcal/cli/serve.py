"""``speedcal serve``: the upload page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from speedcal.cli._options import store_options, wrong_use
from speedcal.text.command_messages import PASSCODE_ASKED


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
    "--trusted-proxy",
    "trusted_proxies",
    multiple=True,
    help="Address or network of a proxy in front, which is believed what it says about the client; repeatable.",
)
@click.option("--workers", default=2, show_default=True, type=click.IntRange(0, 64), help="Analyses at the same time.")
@click.option("--set-passcode", is_flag=True, help="Ask for a new passcode of the shop, keep its digest, and end.")
@click.option("--unlock", is_flag=True, help="Forget wrong passcodes, so that the right one is taken again, and end.")
@click.option(
    "--unit-file", "as_unit", is_flag=True, help="Print the systemd service file that starts this at boot, and end."
)
@click.option("--json", "as_json", is_flag=True, help="Write the whole log to standard error too, as JSON lines.")
def command(*, set_passcode: bool, unlock: bool, as_unit: bool, as_json: bool, **options: Any) -> None:
    r"""Start the upload page for owner, tech and customer.

    On this machine alone (the default address) it needs no passcode. On any other address it refuses to start until
    one was set with --set-passcode. The recorder page needs https or this machine: browsers give the position to
    nobody else.

    \b
    Examples:
      speedcal serve
      speedcal serve --set-passcode
      speedcal serve --host 0.0.0.0 --host-name shop-pc.example --tls-cert shop.crt --tls-key shop.key

    A passenger writes or taps what the dial shows; the driver drives.
    """
    from speedcal.text.page_messages import SERVE
    from speedcal.web.app import check_passcode, make_services
    from speedcal.web.listen import addresses_to_open, certificate, is_open_to_listeners, open_sockets, serve
    from speedcal.web.logbook import keep_log
    from speedcal.web.settings import Settings
    from speedcal.web.unit_file import unit_file

    if bool(options["tls_cert"]) != bool(options["tls_key"]):
        raise wrong_use("tls_half_given")
    settings = Settings(**options)
    _ = certificate(settings), settings.trusted_networks, settings.public_origin
    if as_unit:
        click.echo(unit_file(settings), nl=False)
        click.echo(SERVE["unit"], err=True)
        return
    services = make_services(settings)
    try:
        if set_passcode:
            services.auth.set_passcode(_ask_passcode())
            click.echo(SERVE["passcode_set"], err=True)
            return
        if unlock:
            services.auth.unlock()
            click.echo(SERVE["unlocked"], err=True)
            return
        check_passcode(services)
    finally:
        services.store.close()
    sockets = open_sockets(settings)
    port = sockets[0].getsockname()[1]
    keep_log(settings.data, port, on_screen=as_json)
    here, *elsewhere = addresses_to_open(settings, port)
    click.echo(SERVE["open"].format(address=here), err=True)
    for address in elsewhere:
        click.echo(SERVE["open_elsewhere"].format(address=address), err=True)
    if is_open_to_listeners(settings):
        click.echo(SERVE["no_https"], err=True)
    click.echo(SERVE["log"].format(folder=settings.data / "log"), err=True)
    serve(settings, sockets)


def _ask_passcode() -> str:
    if sys.stdin.isatty():
        answer: str = click.prompt(PASSCODE_ASKED, hide_input=True, confirmation_prompt=True, err=True)
        return answer
    return sys.stdin.readline().rstrip("\r\n")
