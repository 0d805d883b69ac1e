"""Commands that start the pages, load the samples and show the settings."""

import webbrowser
from pathlib import Path
from threading import Timer
from typing import Any

import click

from service.app import create_app
from service.sample import load_samples
from service.serving import Addresses, certificate_of, own_names, serve_until_stopped
from service.settings import Settings, changed, settings_table


@click.command("serve")
@click.option(
    "--host",
    help="Number of this computer that phones reach (192.168.1.20; 0.0.0.0: every one). Only the page for "
    "measuring answers there. Left away: nobody but this computer.",
)
@click.option("--port", type=int)
@click.option("--https", is_flag=True, help="With the certificate that 'boleward certs' made.")
@click.option("--cert", "cert_file", type=click.Path(path_type=Path), help="Another certificate (PEM).")
@click.option("--key", "key_file", type=click.Path(path_type=Path), help="The key of that certificate (PEM).")
@click.option("--open", "opens", is_flag=True, help="Open the address in a browser.")
@click.pass_obj
def serve(desk: Any, /, opens: bool, https: bool, **said: Any) -> None:
    """Start the pages on this computer, and where --host is given the page for phones beside them."""
    _serve(desk, changed(desk.settings, https=https or None, **said), opens)


@click.command("demo")
@click.option("--port", type=int)
@click.option("--open/--no-open", "opens", default=True, help="Open the address in a browser.")
@click.option("--load-only", is_flag=True, help="Load the sample sites and stop.")
@click.pass_obj
def demo(desk: Any, port: int | None, opens: bool, load_only: bool) -> None:
    """Load the two sample sites and start the pages."""
    for line in load_samples(desk.store, desk.actor):
        click.echo(line)
    if load_only:
        return
    _serve(desk, changed(desk.settings, port=port), opens)


@click.command("settings")
@click.pass_obj
def settings(desk: Any) -> None:
    """Print every setting, its value and what it is for."""
    for name, value, help_text in settings_table(desk.settings):
        click.echo(f"{name} = {value!r}\n    {help_text}")


def _serve(desk: Any, settings: Settings, opens: bool) -> None:
    app = create_app(desk.store, own_names(settings, certificate_of(settings)))
    serve_until_stopped(app, settings, lambda addresses: _say(addresses, opens))


def _say(addresses: Addresses, opens: bool) -> None:
    click.echo(f"Open {addresses.pages} in a browser. Stop with Ctrl+C.")
    if addresses.phones:
        click.echo(f"Phones: {addresses.phones} (only the page for measuring answers there)")
        if addresses.phones.startswith("http://"):
            click.echo(
                "Over plain http a phone needs the network all the time and gives no position, and others in "
                "the network can read what it sends. 'boleward certs --help' says what helps."
            )
    if opens:
        Timer(0.5, webbrowser.open, [addresses.pages]).start()


COMMANDS = (serve, demo, settings)
