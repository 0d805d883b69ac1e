"""Commands that take data out: layers and the map as one file."""

from pathlib import Path
from typing import Any

import click

from service.outlets.export import EXPORTED, FORMATS, export_layer
from service.outlets.fresh_file import fresh_file
from service.outlets.map_file import self_contained_map
from service.view import view_of


@click.command("export")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--site", required=True)
@click.option("--layer", type=click.Choice(EXPORTED), default="trees", show_default=True)
@click.option("--format", "form", type=click.Choice(FORMATS), default="geojson", show_default=True)
@click.option("--as-of", help="A day (YYYY-MM-DD); today by default.")
@click.pass_obj
def export(desk: Any, out: Path, site: str, layer: str, form: str, as_of: str | None) -> None:
    """Write a layer of a site to a file (gpkg: all layers, a snapshot).

    The layer osm_trees is the living trees as tags of OpenStreetMap, in geojson or csv.
    """
    rows = export_layer(view_of(desk.store, site, desk.actor, as_of), layer, form, out)
    click.echo(f"Wrote {rows:,} rows to {out}.")


@click.command("map")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--site", required=True)
@click.option("--as-of", help="A day (YYYY-MM-DD); today by default.")
@click.option("--self-contained", is_flag=True, help="Accepted for clearness: the file always is.")
@click.pass_obj
def map_(desk: Any, out: Path, site: str, as_of: str | None, self_contained: bool) -> None:
    """Write the map of a site as one file that opens without a network."""
    document = self_contained_map(view_of(desk.store, site, desk.actor, as_of))
    with fresh_file(out) as fresh:
        fresh.write_text(document, encoding="utf-8")
    click.echo(f"Wrote {out}.")


COMMANDS = (export, map_)
