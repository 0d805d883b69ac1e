"""Commands that make a site, bring lists in and print figures."""

import csv
import json
import sys
from pathlib import Path
from typing import Any, Literal

import click

from layers import columns
from service.cli.phone_file_command import phone_file_in
from service.cli.printing import figures_table, import_report_lines
from service.conventions import breast_height_m as default_height_m
from service.errors import InvalidRequest, NotFound
from service.intake.phone_file import is_phone_file
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.outlets.export import figures_geojson
from service.plan_images import file_box
from service.polygon_figures import figures_of_file
from service.store.site_rows import create_site
from service.view import view_of


@click.command("init")
@click.argument("slug")
@click.option("--name", help="The name of the ground.")
@click.option("--country", help="Two letters; it preselects the measuring height.")
@click.option("--breast-height-m", type=float, help="The height that sizes are compared at [m].")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True)
@click.option("--time-zone", default="UTC", show_default=True, help="For example Europe/Madrid.")
@click.pass_obj
def init(
    desk: Any,
    slug: str,
    name: str | None,
    country: str | None,
    breast_height_m: float | None,
    units: Literal["metric", "us"],
    time_zone: str,
) -> None:
    """Make a site."""
    create_site(
        desk.store,
        slug,
        name=name or slug,
        country=country,
        breast_height_m=default_height_m(country) if breast_height_m is None else breast_height_m,
        units=units,
        time_zone=time_zone,
        actor=desk.actor,
    )
    click.echo(f"Made the site {slug}.")


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--site", help="Short name of the site; made when it is not there. A snapshot has its own.")
@click.option("--layer", type=click.Choice(["trees", "areas", "targets"]))
@click.option("--place", help="A name for all rows, or the header of a column.")
@click.option("--columns", "pairs", help="tag=Tree_ID,species=... : our word = header of the file.")
@click.option("--size", help="girth-cm, girth-in, diameter-cm, diameter-in, diameter-m ...")
@click.option("--height-m", type=float, help="Height of measurement [m].")
@click.option("--measured-on", help="A day (YYYY-MM-DD), or the header of a column.")
@click.option("--crs", help="EPSG:n, or local for plane metres.")
@click.option("--kind", help="Kind of all areas or targets of the file.")
@click.option("--dry-run", is_flag=True, help="Say what would happen; take nothing.")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def import_(
    desk: Any, /, file: Path, site: str | None, pairs: str | None, dry_run: bool, as_json: bool, **said: Any
) -> None:
    """Bring in a list of trees, areas or targets, a snapshot of a whole site, or a file saved by a phone."""
    if is_phone_file(file):
        phone_file_in(desk, file, site, dry_run, as_json)
        return
    options = ImportOptions(columns=_pairs(pairs), **said)
    with _progress(as_json) as step:
        box = file_box(desk.store, desk.settings.data_folder)
        report = import_file(
            desk.store, file, site, options, desk.actor, dry_run=dry_run, progress=step, box=box
        )
    if as_json:
        click.echo(json.dumps(report.to_json(), ensure_ascii=False, indent=1))
        return
    for line in import_report_lines(report, dry_run):
        click.echo(line)


@click.command("figures")
@click.option("--site", required=True)
@click.option("--area", help="Name or id of an area or place.")
@click.option("--kind", help="All areas of this kind.")
@click.option("--polygon", type=click.Path(path_type=Path), help="A file with polygons to judge by.")
@click.option("--as-of", help="A day (YYYY-MM-DD); today by default.")
@click.option("--since", help="An earlier day to compare with: adds growth and what came and went.")
@click.option("--json", "form", flag_value="json")
@click.option("--csv", "form", flag_value="csv")
@click.option("--geojson", "form", flag_value="geojson")
@click.pass_obj
def figures(
    desk: Any,
    site: str,
    area: str | None,
    kind: str | None,
    polygon: Path | None,
    as_of: str | None,
    since: str | None,
    form: str | None,
) -> None:
    """Print the figures of a site, its places and its areas."""
    view = view_of(desk.store, site, desk.actor, as_of)
    rows = figures_of_file(view, polygon, since) if polygon else view.figures_since(since)
    if area is not None:
        rows = _the_area(rows, area)
    if kind is not None:
        rows = [row for row in rows if row["kind"] == kind]
    if form == "json":
        click.echo(json.dumps(rows, ensure_ascii=False, allow_nan=False))
    elif form == "csv":
        _write_csv(rows)
    elif form == "geojson":
        click.echo(figures_geojson(view, rows))
    else:
        click.echo(figures_table(rows, view.terms))


def _pairs(text: str | None) -> dict[str, str]:
    if not text:
        return {}
    out = {}
    for part in text.split(","):
        word, sign, header = part.partition("=")
        if not sign or not word.strip() or not header.strip():
            raise InvalidRequest(f"--columns takes word=header pairs; {part!r} is none.")
        out[word.strip()] = header.strip()
    return out


def _the_area(rows: list[dict[str, Any]], area: str) -> list[dict[str, Any]]:
    found = [row for row in rows if area in (row["name"], row["area_id"]) and row["area_id"] is not None]
    if not found:
        raise NotFound("area or place", area)
    if len(found) > 1:
        ids = ", ".join(str(row["area_id"]) for row in found)
        raise InvalidRequest(f"{len(found)} areas are called {area!r}; name one by its id: {ids}.")
    return found


def _write_csv(rows: list[dict[str, Any]]) -> None:
    writer = csv.DictWriter(sys.stdout, columns.names("figures"), extrasaction="ignore")
    writer.writeheader()
    for row in rows:
        writer.writerow(
            {
                k: json.dumps(v, ensure_ascii=False) if isinstance(v, dict | list) else v
                for k, v in row.items()
            }
        )


class _progress:
    """A progress line on standard error; nothing when it is not a terminal."""

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet or not sys.stderr.isatty()

    def __enter__(self) -> Any:
        return self.step

    def step(self, done: int, of: int) -> None:
        if not self.quiet:
            click.echo(f"\r{done:,} of {of:,} rows", nl=False, err=True)

    def __exit__(self, *_: object) -> None:
        if not self.quiet:
            click.echo("", err=True)


COMMANDS = (init, import_, figures)
