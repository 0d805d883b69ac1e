"""Three invented grounds for the open collections: with areas, on the antimeridian, without a place."""

from service.actors import LOCAL_MANAGER
from service.edit import add_areas, add_targets
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.store.site_rows import create_site
from tests.web_site import SLUG, make_web_site

ISLAND, ROOM = "island", "room"
ISLAND_TREES, ROOM_TREES = 6, 3
WEST, SOUTH = 9.17, 47.66


def make_open_sites(store, folder):
    """Make the grounds; return the address parts of all three."""
    make_web_site(store, folder)
    _areas(store)
    create_site(store, ISLAND, actor=LOCAL_MANAGER, name="Island", country="FJ", time_zone="Pacific/Fiji")
    rows = [f"I{i},Cocos nucifera,{90 + i},{179.9995 + i * 2e-4},-16.8" for i in range(ISLAND_TREES)]
    _bring(store, folder / "island.csv", ISLAND, ["tag,species,girth_cm,lon,lat", *map(_turned, rows)])
    create_site(store, ROOM, actor=LOCAL_MANAGER, name="Room", country="DE", time_zone="Europe/Berlin")
    rows = [f"R{i},Tilia cordata,{50 + i},{i * 3},{i * 2}" for i in range(ROOM_TREES)]
    _bring(store, folder / "room.csv", ROOM, ["tag,species,girth_cm,x,y", *rows], crs="local")
    return SLUG, ISLAND, ROOM


def _turned(row):
    """The same row with its longitude below 180 degrees."""
    tag, species, girth, lon, lat = row.split(",")
    east = float(lon)
    return f"{tag},{species},{girth},{east - 360 if east > 180 else east:.6f},{lat}"


def _bring(store, path, slug, lines, **options):
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    report = import_file(store, path, slug, ImportOptions(**options), LOCAL_MANAGER)
    assert report.refused == 0


def _areas(store):
    ring = [
        [WEST, SOUTH],
        [WEST, SOUTH + 2e-4],
        [WEST + 3e-4, SOUTH + 2e-4],
        [WEST + 3e-4, SOUTH],
        [WEST, SOUTH],
    ]
    drawn = {"name": "Front", "kind": "lawn", "geometry": {"type": "Polygon", "coordinates": [ring]}}
    typed = {"name": "Beyond", "kind": "wood", "typed_area_ha": 1.5, "area_source": "deed"}
    add_areas(store, SLUG, LOCAL_MANAGER, [{**drawn, "valid_from": "2020-01-01"}, typed])
    bench = {"name": "Bench", "kind": "bench", "geometry": {"type": "Point", "coordinates": [WEST, SOUTH]}}
    add_targets(store, SLUG, LOCAL_MANAGER, [bench])
