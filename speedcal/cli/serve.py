"""``speedcal serve``: the upload page."""

from __future__ import annotations

import logging
import sys
from pathlib import Path
from typing import Any

import click


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="Port to listen on.")
@click.option(
    "--data",
    default=Path("speedcal-data"),
    show_default=True,
    type=click.Path(path_type=Path, file_okay=False),
    envvar="SPEEDCAL_DATA",
    show_envvar=True,
    help="Folder of the jobs; made when it is missing.",
)
@click.option(
    "--database",
    default="",
    envvar="SPEEDCAL_DATABASE",
    show_envvar=True,
    help="Address of a PostgreSQL database, postgresql+psycopg://user@host/name; without it jobs are kept in SQLite "
    "in the data folder.",
)
@click.option(
    "--host-name", "host_names", multiple=True, help="Name under which browsers reach this machine; repeatable."
)
@click.option("--tls-cert", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Certificate for https.")
@click.option("--tls-key", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Key of the certificate.")
@click.option("--workers", default=2, show_default=True, type=click.IntRange(0, 64), help="Analyses at the same time.")
@click.option("--set-passcode", is_flag=True, help="Ask for a new passcode of the shop, keep its digest, and end.")
@click.option("--json", "as_json", is_flag=True, help="Write the log as JSON lines.")
def command(*, set_passcode: bool, as_json: bool, **options: Any) -> None:
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
    import uvicorn

    from speedcal.web.app import check_passcode, create_app, make_services
    from speedcal.web.settings import Settings

    if bool(options["tls_cert"]) != bool(options["tls_key"]):
        raise click.UsageError("--tls-cert and --tls-key go together.")
    settings = Settings(**options)
    services = make_services(settings)
    try:
        if set_passcode:
            services.auth.set_passcode(_ask_passcode())
            click.echo("The passcode is set; everybody is signed out.", err=True)
            return
        check_passcode(services)
    finally:
        services.store.close()
    _set_up_log(as_json=as_json)
    name = f"[{settings.host}]" if ":" in settings.host else settings.host
    click.echo(f"{'https' if settings.is_tls else 'http'}://{name}:{settings.port}/ (stop with Ctrl+C)", err=True)
    uvicorn.run(
        create_app(settings),
        host=settings.host,
        port=settings.port,
        ssl_certfile=settings.tls_cert,
        ssl_keyfile=settings.tls_key,
        access_log=False,  # it would write down paths, and links are paths
        log_config=None,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=10,
        h11_max_incomplete_event_size=32 * 1024,
    )


def _ask_passcode() -> str:
    if sys.stdin.isatty():
        answer: str = click.prompt("Passcode of the shop", hide_input=True, confirmation_prompt=True, err=True)
        return answer
    return sys.stdin.readline().rstrip("\r\n")


def _set_up_log(*, as_json: bool) -> None:
    form = "%(asctime)s %(levelname)s %(message)s"
    if as_json or not sys.stderr.isatty():
        form = '{"at": "%(asctime)s", "level": "%(levelname)s", "message": "%(message)s"}'
    logging.basicConfig(level=logging.WARNING, format=form, stream=sys.stderr)
    logging.getLogger("speedcal.web").setLevel(logging.INFO)
