"""Files that wait: under names of our own folders, found by id only, swept when nobody takes them."""

import os

import pytest

from service.errors import InvalidRequest, NotFound, StoreUnavailable
from service.uploads import Uploads, usable_name


@pytest.fixture
def uploads(tmp_path):
    return Uploads(tmp_path / "uploads", hours=1)


def keep(uploads, name="list.csv", text="a\n1\n"):
    return uploads.keep(name, lambda path: path.write_text(text, encoding="utf-8"))


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("Bäume.csv", "Bäume.csv"),
        ("../../etc/passwd", "passwd"),
        ("C:\\Users\\x\\list.csv", "list.csv"),
        ("a\x00b\n.csv", "a_b_.csv"),
        ("..", "list"),
        ("", "list"),
        ("<b>{{7*7}}.csv", "_b_{{7_7}}.csv"),
    ],
)
def test_a_name_becomes_one_that_stays_in_its_folder(said, kept):
    assert usable_name(said) == kept


def test_a_long_name_keeps_its_ending():
    assert usable_name("x" * 500 + ".geojson") == "x" * 120 + ".geojson"


def test_what_is_kept_is_found_until_it_is_discarded(uploads):
    upload = keep(uploads)
    assert uploads.find(upload.id).path.read_text(encoding="utf-8") == "a\n1\n"
    uploads.discard(upload.id)
    with pytest.raises(NotFound):
        uploads.find(upload.id)
    uploads.discard(upload.id)


@pytest.mark.parametrize("id", ["", "..", "../uploads", "0" * 31, "g" * 32, "*"])
def test_nothing_but_an_id_finds_a_file(uploads, id):
    keep(uploads)
    with pytest.raises(NotFound):
        uploads.find(id)


def test_what_nobody_took_in_time_is_thrown_away(uploads):
    old = keep(uploads)
    os.utime(old.path.parent, (0, 0))
    new = keep(uploads)
    assert uploads.find(new.id)
    with pytest.raises(NotFound):
        uploads.find(old.id)


def test_no_file_and_a_full_disk_are_said(uploads):
    with pytest.raises(InvalidRequest, match="Choose the file"):
        uploads.keep("", lambda path: None)

    def full(path):
        raise OSError(28, "No space left on device")

    with pytest.raises(StoreUnavailable, match="No space left"):
        uploads.keep("list.csv", full)
    assert list(uploads.folder.iterdir()) == []
