"""The addresses of a ground for GIS staff, each with the lines that open it in general-purpose clients.

Every line is run by a test against the running program, so what stands here works as it stands here.

References
----------
GDAL, driver documentation (gdal.org): OAPIF, MVT, FlatGeobuf, GPKG and the file system ``/vsicurl/``.
"""

from dataclasses import dataclass
from typing import Literal

from flask_babel import gettext as _

from service.feature_kinds import COLLECTIONS
from service.outlets.layer_rows import LAYERS
from service.outlets.osm_tags import OSM_TREES
from service.web import ogc_links
from service.web.addresses import absolute
from service.web.plain_words import LAYER, said

FORMAT_NAMES = {
    "geojson": "GeoJSON",
    "csv": "CSV",
    "fgb": "FlatGeobuf",
    "parquet": "GeoParquet",
    "geojsons": "GeoJSON sequence",
    "kml": "KML",
}
TREES_ZOOM = 16  # where most grounds show trees one by one, with their tags


@dataclass(frozen=True)
class Line:
    """One line that opens an address in a client: typed into a shell, or given to Python."""

    client: str
    text: str
    runs: Literal["shell", "python"] = "shell"


@dataclass(frozen=True)
class Address:
    """An address, what it is of, and the lines that open it."""

    words: str
    address: str
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True)
class Part:
    """Addresses of one kind, with what to know about them."""

    title: str
    note: str
    addresses: tuple[Address, ...]
    page: str | None = None  # where the same can be looked at in a browser


def parts(slug: str, on_earth: bool) -> tuple[Part, ...]:
    """Return all addresses of a ground; tiles and tags of OpenStreetMap need a place on earth."""
    always = _collections(slug), _layers_by_collection(slug), _files(slug), _whole(slug)
    of_the_earth = (_tiles(slug), _tags(slug)) if on_earth else ()
    return (*always, *of_the_earth, _changes(slug), _json(slug))


def _python(client: str, module: str, text: str) -> Line:
    return Line(client, f"import {module}; {text}", "python")


def _got(address: str, name: str) -> Line:
    return Line("curl", f'curl -o {name} "{address}"')


def _collections(slug: str) -> Part:
    root = absolute(ogc_links.BASE)
    ours = f"site = '{slug}'"
    lines = (
        Line("ogrinfo", f"ogrinfo -ro -so OAPIF:{root} trees"),
        Line(
            "ogr2ogr",
            f'ogr2ogr -f GPKG trees.gpkg OAPIF:{root} trees -where "{ours}" -oo PAGE_SIZE=1000',
        ),
        _python(
            "pyogrio",
            "pyogrio",
            f'trees = pyogrio.read_dataframe("OAPIF:{root}", layer="trees", where="{ours}")',
        ),
        Line(
            "OWSLib",
            "from owslib.ogcapi.features import Features; "
            f'trees = Features("{root}/").collection_items("trees", site="{slug}", limit=1000)["features"]',
            "python",
        ),
    )
    return Part(
        _("Live layers by OGC API - Features"),
        _(
            "Desktop GIS: add a layer of the kind OGC API - Features (often listed beside WFS) by this "
            "address. It holds all grounds; the property site tells them apart."
        ),
        (Address(_("All layers"), root, lines),),
        page=f"{ogc_links.BASE}?f=html",
    )


def _layers_by_collection(slug: str) -> Part:
    addresses = []
    for each in COLLECTIONS.values():
        address = absolute(f"{ogc_links.BASE}/collections/{each.id}/items", site=slug, limit=1000)
        lines = (_got(address, f"{each.id}.geojson"),) if each.id == "trees" else ()
        words = said(LAYER, each.id)
        addresses.append(Address(words[:1].upper() + words[1:], address, lines))
    return Part(
        _("The same, layer by layer, this ground only"),
        _(
            "GeoJSON in pages of up to limit features; the link next leads on. Add bbox=, datetime=, "
            "filter= (CQL2), sortby= or a property, such as genus=Tilia."
        ),
        tuple(addresses),
    )


def _files(slug: str) -> Part:
    def layer(form: str) -> str:
        return absolute(f"/sites/{slug}/layers/trees.{form}")

    geojson, fgb, csv, parquet = (layer(form) for form in ("geojson", "fgb", "csv", "parquet"))
    taken = f'io.BytesIO(urllib.request.urlopen("{parquet}").read())'
    return Part(
        _("Files at addresses that stay"),
        _(
            "In the place of trees: %(layers)s. Add ?as_of=YYYY-MM-DD for another day, &known_at=N for what "
            "was known at change N. An unchanged layer answers 304 to its tag.",
            layers=", ".join(LAYERS[1:]),
        ),
        (
            Address(
                "GeoJSON",
                geojson,
                (_python("geopandas", "geopandas", f'trees = geopandas.read_file("{geojson}")'),),
            ),
            Address(
                "FlatGeobuf",
                fgb,
                (
                    Line("ogrinfo", f"ogrinfo -ro -so /vsicurl/{fgb} trees"),
                    _python("geopandas", "geopandas", f'trees = geopandas.read_file("/vsicurl/{fgb}")'),
                ),
            ),
            Address("CSV", csv, (_python("pandas", "pandas", f'trees = pandas.read_csv("{csv}")'),)),
            Address(
                "GeoParquet",
                parquet,
                (
                    _python(
                        "geopandas",
                        "io, urllib.request, geopandas",
                        f"trees = geopandas.read_parquet({taken})",
                    ),
                ),
            ),
        ),
    )


def _whole(slug: str) -> Part:
    package, archive = (absolute(f"/sites/{slug}/site.{form}") for form in ("gpkg", "zip"))
    return Part(
        _("Everything of this ground in one file"),
        _(
            "The GeoPackage is a snapshot: all layers, all records with their history, pictures of plans. "
            "Bring it in on the first page, there or on another computer, and the ground is as it was."
        ),
        (
            Address(
                _("GeoPackage"),
                package,
                (Line("ogrinfo", f"ogrinfo -ro -so /vsicurl/{package} trees"), _got(package, "site.gpkg")),
            ),
            Address(_("GeoParquet and CSV in a ZIP"), archive, (_got(archive, "site.zip"),)),
        ),
    )


def _tiles(slug: str) -> Part:
    base = absolute(f"/tiles/{slug}")
    document, density = f"{base}/tile.json", f"{base}/density.json"
    return Part(
        _("Tiles"),
        _(
            "Desktop GIS: add vector tiles by the address with z, x and y and the ending pbf, pictures as "
            "XYZ tiles by the one ending in png. From zoom 16 on vector tiles have tags of trees."
        ),
        (
            Address(
                _("Vector tiles"),
                f"{base}/{{z}}/{{x}}/{{y}}.pbf",
                (Line("ogrinfo", f"ogrinfo -ro MVT:{base}/{TREES_ZOOM} -oo METADATA_FILE={document}"),),
            ),
            Address(_("What is in them (TileJSON)"), document, (_got(document, "tile.json"),)),
            Address(_("Pictures of how thick trees stand"), f"{base}/{{z}}/{{x}}/{{y}}.png"),
            Address(_("About the pictures (TileJSON)"), density, (_got(density, "density.json"),)),
        ),
    )


def _tags(slug: str) -> Part:
    address = absolute(f"/sites/{slug}/layers/{OSM_TREES}.geojson")
    line = _python("geopandas", "geopandas", f'trees = geopandas.read_file("{address}")')
    return Part(
        _("Trees as tags of OpenStreetMap"),
        _(
            "Living trees with a position; circumference, in the tag's unit, is of the standard diameter. "
            "Nothing that nobody measured, and none of the questions."
        ),
        (Address(_("GeoJSON with tags"), address, (line,)),),
    )


def _changes(slug: str) -> Part:
    address = absolute(f"/api/sites/{slug}/changes", since=0)
    return Part(
        _("Keeping a copy up to date"),
        _(
            "The records in the order of their changes, page by page: keep complete_to, and go on with the "
            "address in next, at once while more is true, else whenever you like."
        ),
        (Address(_("Changes"), address, (_got(address, "changes.json"),)),),
    )


def _json(slug: str) -> Part:
    figures, trees = (absolute(f"/api/sites/{slug}/{name}") for name in ("figures", "trees"))
    return Part(
        _("JSON for scripts"),
        _("Lists of objects in the words of the data; longer lists in pages by limit and offset."),
        (
            Address(
                _("Figures"),
                figures,
                (_python("pandas", "pandas", f'figures = pandas.read_json("{figures}")'),),
            ),
            Address(_("Trees"), trees, (_got(trees, "trees.json"),)),
        ),
    )
