"""Taking data out by the command: every format, whole sites, the caution beside what has no place for it."""

import zipfile

import pyogrio
import pytest

from service.outlets.export import FORMATS
from tests.command_line import boleward, done

SLUG = "park"
TREES = "Nr;Baumart;Umfang cm;lon;lat\n1;Tilia cordata;101;9.17;47.66\n2;Acer campestre;88;9.18;47.67\n"


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cli")
    (folder / "trees.csv").write_text(TREES, encoding="utf-8")
    done("import", folder / "trees.csv", "--site", SLUG, store=folder / "s.sqlite")
    return folder / "s.sqlite"


@pytest.mark.parametrize("form", FORMATS)
def test_a_layer_leaves_in_every_format_with_the_caution_beside_it_where_it_has_no_place(
    store, form, tmp_path
):
    out = tmp_path / f"trees.{FORMATS[form].extension}"
    ran = done("export", out, "--site", SLUG, "--format", form, store=store)
    assert ran.out == f"Wrote 2 rows to {out}.\n"
    assert out.stat().st_size > 0
    beside = [path for path in tmp_path.iterdir() if path != out]
    if FORMATS[form].cautioned:
        assert beside == []
    else:
        assert [path.name for path in beside] == [f"{out.name}.README.txt"]
        assert "It is not an inspection" in beside[0].read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("trees.csv", b"tree_id,"),
        ("trees.KML", b"<?xml"),
        ("park.gpkg", b"SQLite format 3"),
        ("trees.geojson", b'{"type":"FeatureCollection"'),
        ("trees", b'{"type":"FeatureCollection"'),
    ],
)
def test_the_ending_of_the_file_says_its_format_where_nobody_does(store, tmp_path, name, begins):
    done("export", tmp_path / name, "--site", SLUG, store=store)
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_nothing_is_put_beside_a_layer_without_flags(store, tmp_path):
    done("export", tmp_path / "r.csv", "--site", SLUG, "--layer", "readings", "--format", "csv", store=store)
    assert [path.name for path in tmp_path.iterdir()] == ["r.csv"]


def test_a_whole_site_leaves_as_a_geopackage_and_as_an_archive(store, tmp_path):
    package, archive = tmp_path / "park.gpkg", tmp_path / "park.zip"
    said = {done("export", out, "--site", SLUG, "--format", out.suffix[1:], store=store).out.split()[1]
            for out in (package, archive)}  # fmt: skip
    assert len(said) == 1
    assert {"trees", "record_tree"} <= {name for name, _ in pyogrio.list_layers(package)}
    with zipfile.ZipFile(archive) as read:
        assert "records/tree.csv" in read.namelist()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["park.gpkg", "park.zip"]


def test_the_layers_of_a_snapshot_are_those_of_the_day_and_its_records_those_of_now(store, tmp_path):
    out = tmp_path / "before.gpkg"
    done("export", out, "--site", SLUG, "--format", "gpkg", "--as-of", "2020-01-01", store=store)
    figures = pyogrio.read_dataframe(out, layer="figures")
    assert set(figures["as_of"].astype(str)) == {"2020-01-01"}
    assert len(pyogrio.read_dataframe(out, layer="record_reading")) == 2


def test_a_format_that_there_is_not_ends_with_2(store, tmp_path):
    assert boleward("export", tmp_path / "x", "--site", SLUG, "--format", "shp", store=store).code == 2
    assert list(tmp_path.iterdir()) == []
