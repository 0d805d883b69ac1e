"""The command ``boleward``: options for every command, and errors as one sentence with a meaning.

Exit codes: 0 done, 2 bad input, 3 not found or conflict, 4 store trouble.
"""

import json
import sys
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from layers.errors import LayerError
from service.actors import LOCAL_MANAGER, Actor
from service.cli import cert_commands, out_commands, serve_commands, site_commands
from service.errors import Ask, Conflict, InvalidRequest, NotFound, ServiceError, StoreUnavailable
from service.settings import Settings, load_settings
from service.store.engine import Store
from service.store.migrating import open_store

EXIT_CODES: dict[type[Exception], int] = {
    InvalidRequest: 2,
    LayerError: 2,
    NotFound: 3,
    Conflict: 3,
    StoreUnavailable: 4,
    ServiceError: 2,
}


@dataclass
class Desk:
    """What every command is given: settings, the actor, and the store when it is asked for."""

    settings: Settings
    actor: Actor
    debug: bool
    _store: Store | None = None

    @property
    def store(self) -> Store:
        """The store named by --store or the settings, opened once."""
        if self._store is None:
            self._store = open_store(self.settings.store_address)
        return self._store

    def close(self) -> None:
        """Let go of the store, if it was opened."""
        if self._store is not None:
            self._store.close()


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--store", help="Path or database URL of the store.")
@click.option("--config", type=click.Path(path_type=Path), help="A TOML file with settings.")
@click.option("--debug", is_flag=True, help="Show where an error came from.")
@click.version_option(package_name="boleward")
@click.pass_context
def boleward(context: click.Context, store: str | None, config: Path | None, debug: bool) -> None:
    """Look after the trees of a piece of ground, from girths that anyone can measure."""
    explicit: dict[str, Any] = {"store": store} if store else {}
    context.obj = Desk(load_settings(config, **explicit), LOCAL_MANAGER, debug)
    context.call_on_close(context.obj.close)


for command in (
    *site_commands.COMMANDS,
    *out_commands.COMMANDS,
    *serve_commands.COMMANDS,
    *cert_commands.COMMANDS,
):
    boleward.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    try:
        _require_text(given)
        boleward.main(given, prog_name="boleward", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(2)
    except click.ClickException as error:
        sys.exit(_misused(error))
    except click.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(1)
    except Exception as error:  # noqa: BLE001 - the one place where the command line meets every error
        sys.exit(_told(error, "--debug" in given, "--json" in given))


def _require_text(words: list[str]) -> None:
    for word in words:
        try:
            word.encode("utf-8")
        except UnicodeEncodeError as error:
            raise InvalidRequest(
                f"{word!a} has a damaged character (half of a paired code). Type it again; rename a file."
            ) from error


def _misused(error: click.ClickException) -> int:
    context = getattr(error, "ctx", None)
    told = f" 'boleward{_command_of(context)} --help' tells what it takes."
    click.echo(f"boleward: {_one_line(error.format_message())}{told}", err=True)
    return 2


def _command_of(context: click.Context | None) -> str:
    return context.command_path.removeprefix("boleward") if context is not None else ""


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _told(error: Exception, debug: bool, as_json: bool) -> int:
    if debug:
        traceback.print_exc()
    known = next((code for kind, code in EXIT_CODES.items() if isinstance(error, kind)), None)
    if isinstance(error, Ask) and as_json:
        click.echo(json.dumps({"ask": {"option": error.option, "choices": error.choices, "why": str(error)}}))
    if known is not None:
        click.echo(f"boleward: {_one_line(str(error))}", err=True)
        return known
    click.echo(
        f"boleward: something went wrong that should not ({type(error).__name__}). "
        "Give the command again with --debug and report what it prints.",
        err=True,
    )
    return 1


if __name__ == "__main__":
    main()
