"""A download of very many trees as GeoJSON against a bare cursor and orjson on the same rows, and its memory.

The yardstick takes every row of the file and writes it as a JSON array, without names, places or a collection
round it. Time is that of the process, best of several in turns, so that what else the machine does weighs on
both alike. Memory is the most that a process of its own held above what it held before.
"""

import json
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import orjson
import pytest

from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.editions import tag_of
from service.outlets.export import BY_EXTENSION
from service.settings import Settings
from service.store.layer_tables import write_layer
from service.store.migrating import open_store
from service.store.site_rows import create_site
from service.view import key_of
from tests.benchmarks.million_trees import synthetic_layer

SLUG = "million"
DAY = "2026-06-01"
SHARE_OF_BARE = 0.5
EXTRA_MB = 150
ROUNDS = 4
CONSTANT = ("geojson", "geojsons", "csv", "parquet", "kml")  # the index of FlatGeobuf grows with its rows
SHORT = ("geojson", "parquet", "fgb")  # the others in make long
MEASURED = [name if name in SHORT else pytest.param(name, marks=pytest.mark.slow) for name in BY_EXTENSION]
INDEX_BYTES = 250  # of FlatGeobuf, a row at most


@pytest.fixture(scope="module", params=[200_000, pytest.param(1_000_000, marks=pytest.mark.slow)])
def stored(request, tmp_path_factory):
    """A store whose one site has so many trees, the file of the layer, and their number."""
    path = tmp_path_factory.mktemp("million") / "s.sqlite"
    store = open_store(str(path))
    create_site(store, SLUG, actor=LOCAL_MANAGER)
    key = key_of(store, SLUG, LOCAL_MANAGER, DAY)
    file = store.computed_folder / "layers" / key.site_id / f"trees-{tag_of(key, 'trees')}.sqlite"
    write_layer(file, *synthetic_layer(request.param, SLUG, DAY))
    yield store, path, file, request.param
    store.close()


def test_geojson_leaves_at_half_the_speed_of_a_bare_cursor_or_faster(stored, capsys):
    store, path, file, trees = stored
    client = create_app(store, Settings(data_folder=path.parent)).test_client()

    def ours():
        answer = client.get(f"/sites/{SLUG}/layers/trees.geojson?as_of={DAY}")
        return sum(len(piece) for piece in answer.iter_encoded())

    def bare():
        rows = sqlite3.connect(file).execute("SELECT * FROM feature ORDER BY fid")
        names = [said[0] for said in rows.description]
        return sum(len(orjson.dumps(dict(zip(names, row, strict=True)))) for row in rows)

    def arrays():
        rows = sqlite3.connect(file).execute("SELECT * FROM feature ORDER BY fid")
        return sum(len(orjson.dumps(row)) for row in rows)

    best = dict.fromkeys((ours, bare, arrays), float("inf"))
    for _ in range(ROUNDS):
        for act in best:
            start = time.process_time()
            size = act()
            best[act] = min(best[act], time.process_time() - start)
            assert size > 200 * trees
    share = best[bare] / best[ours]
    with capsys.disabled():
        print(
            f"\nGeoJSON of {trees:,} trees: {best[ours]:.2f} s, {trees / best[ours]:,.0f} rows/s, "
            f"{share:.2f} of the speed of a bare cursor and orjson ({best[bare]:.2f} s), at least "
            f"{SHARE_OF_BARE:g}; of rows without names: {best[arrays] / best[ours]:.2f}"
        )
    assert share >= SHARE_OF_BARE


@pytest.mark.parametrize("extension", MEASURED)
def test_a_download_takes_little_memory_however_many_trees_there_are(stored, extension, capsys):
    _, path, _, trees = stored
    command = [sys.executable, "-m", "tests.benchmarks.export_run", str(path), SLUG, DAY, extension]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    said = json.loads(done.stdout)
    most = EXTRA_MB if extension in CONSTANT else EXTRA_MB + INDEX_BYTES * trees / 2**20
    with capsys.disabled():
        print(
            f"\n{trees:,} trees as .{extension}: {said['bytes'] / 2**20:,.0f} MB, "
            f"{said['extra_mb']:.0f} MB more memory (at most {most:.0f})"
        )
    assert said["bytes"] > 50 * trees
    assert said["extra_mb"] < most
