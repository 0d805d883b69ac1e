"""Commands that start the pages, load the samples and show the settings."""

import webbrowser
from threading import Timer
from typing import Any

import click

from service.app import create_app
from service.sample import load_samples
from service.serving import serve_until_stopped
from service.settings import settings_table


@click.command("serve")
@click.option("--host", help="Address to listen on; this computer only by default.")
@click.option("--port", type=int)
@click.option("--open", "opens", is_flag=True, help="Open the address in a browser.")
@click.pass_obj
def serve(desk: Any, host: str | None, port: int | None, opens: bool) -> None:
    """Start the pages on this computer."""
    settings = desk.settings.model_copy(
        update={k: v for k, v in {"host": host, "port": port}.items() if v is not None}
    )
    serve_until_stopped(create_app(desk.store, settings), settings, _opening if opens else _say)


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
    settings = desk.settings.model_copy(update={"port": port} if port is not None else {})
    serve_until_stopped(create_app(desk.store, settings), settings, _opening if opens else _say)


@click.command("settings")
@click.pass_obj
def settings(desk: Any) -> None:
    """Print every setting, its value and what it is for."""
    for name, value, help_text in settings_table(desk.settings):
        click.echo(f"{name} = {value!r}\n    {help_text}")


def _say(address: str) -> None:
    click.echo(f"Open {address} in a browser. Stop with Ctrl+C.")


def _opening(address: str) -> None:
    _say(address)
    Timer(0.5, webbrowser.open, [address]).start()


COMMANDS = (serve, demo, settings)
