"""Files of other offices through the pages: offered, shown, taken, or refused in one sentence."""

import re

import pytest

from service.actors import LOCAL_MANAGER
from service.intake.understand import ENDINGS
from service.store.site_rows import create_site
from tests.shared_files import ENDINGS as SHARED
from tests.shared_files import kml_of, points, write_frame
from tests.unit.test_web_import import said, send, take, trees
from tests.web_site import SLUG

ROWS = [
    {"Baumnr": str(n), "Baumart": "Tilia cordata", "Umfang_cm": 80.5 + n, "x": 9.1 + n / 1e4, "y": 47.6}
    for n in range(12)
]


@pytest.fixture
def ground(store):
    create_site(store, SLUG, actor=LOCAL_MANAGER, name="Yard")
    return f"/sites/{SLUG}"


@pytest.mark.parametrize("address", ["/start?list=1", f"/sites/{SLUG}/data"])
def test_the_pages_offer_every_ending_that_is_read(client, ground, address):
    offered = re.search(r'name="file" required accept="([^"]+)"', client.get(address).text).group(1)
    assert sorted(offered.split(",")) == sorted(ENDINGS)


@pytest.mark.parametrize("ending", SHARED)
def test_a_list_of_each_format_is_shown_and_taken_once(client, ground, tmp_path, ending):
    path = write_frame(points([dict(row) for row in ROWS]), tmp_path / f"Bäume{ending}")
    sent = send(client, ground, path.read_bytes(), path.name).headers["Location"]
    shown = said(client.get(sent))
    assert "12 rows were read" in shown
    assert "girth" in shown
    assert trees(client) == 0
    assert take(client, sent).status_code == 303
    assert trees(client) == 12
    again = send(client, ground, path.read_bytes(), path.name).headers["Location"]
    assert "already there 12 " in said(client.get(again))


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("list.zip", b"PK\x03\x04"),
        ("deep.kml", kml_of("<Folder>" * 10_000)),
        ("not.fgb", b"fgb but not"),
        ("not.parquet", b"PAR1 but not"),
        ("roads.shp", b"\x00\x00\x27\x0a"),
    ],
)
def test_what_is_no_such_file_gets_one_clear_sentence(client, ground, name, content):
    answer = client.get(send(client, ground, content, name).headers["Location"])
    assert answer.status_code == 200
    assert "Nothing was taken" in said(answer)
    assert name in said(answer)
    assert trees(client) == 0
