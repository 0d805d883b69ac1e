"""Commands that take data out: layers, whole sites and the map as one file."""

from pathlib import Path
from typing import Any

import click

from service import plan_images
from service.editions import edition
from service.layer_parts import LayerFacts
from service.outlets.export import BY_EXTENSION, FORMATS, export_layer
from service.outlets.exported_rows import EXPORTED
from service.outlets.fresh_file import fresh_file
from service.outlets.map_file import self_contained_map
from service.site_files import SITE_FORMATS, write_site
from service.view import view_of


@click.command("export")
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--site", required=True)
@click.option("--layer", type=click.Choice(EXPORTED), default="trees", show_default=True)
@click.option(
    "--format",
    "form",
    type=click.Choice((*FORMATS, *SITE_FORMATS)),
    help="By default what the ending of OUT says, else geojson.",
)
@click.option("--as-of", help="A day (YYYY-MM-DD); today by default.")
@click.pass_obj
def export(desk: Any, out: Path, site: str, layer: str, form: str | None, as_of: str | None) -> None:
    """Write a layer of a site to a file (gpkg, zip: all layers and all records, a snapshot)."""
    form = form or _by_ending(out)
    if form in SITE_FORMATS:
        box = plan_images.file_box(desk.store, desk.settings.data_folder)
        with fresh_file(out) as fresh:
            rows = write_site(desk.store, site, desk.actor, form, fresh, box=box, as_of=as_of)
    else:
        leaving = edition(desk.store, site, desk.actor, layer, as_of)
        rows = export_layer(leaving, form, out)
        _put_beside(leaving.facts, form, out)
    click.echo(f"Wrote {rows:,} rows to {out}.")


def _by_ending(out: Path) -> str:
    """Return the format that the ending of a file stands for."""
    ending = out.suffix[1:].lower()
    return ending if ending in SITE_FORMATS else BY_EXTENSION.get(ending, "geojson")


def _put_beside(facts: LayerFacts, form: str, out: Path) -> None:
    """Write the caution beside a file that has no place for it."""
    if facts.caution is None or FORMATS[form].cautioned:
        return
    beside = out.with_name(f"{out.name}.README.txt")
    with fresh_file(beside) as fresh:
        fresh.write_text(f"{facts.caution}\n", encoding="utf-8")


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
