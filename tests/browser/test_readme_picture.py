"""The picture of the README is what the sample ground looks like; `make pictures` draws it anew."""

import os
from pathlib import Path

import pytest
from PIL import Image

from service.actors import LOCAL_MANAGER
from service.sample import load_samples
from tests.browser.web_server import served

PICTURES = Path(__file__).parent / "pictures"


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    with served(tmp_path_factory.mktemp("sample")) as (store, address):
        load_samples(store, LOCAL_MANAGER)
        yield address


def test_the_sample_ground_opens_with_map_and_numbers_beside_each_other(sample, open_page, tmp_path):
    watched = open_page(1440, 1500)
    watched.page.goto(f"{sample}/sites/sample-school", wait_until="networkidle")
    watched.page.wait_for_selector(".bw-map canvas, .bw-map svg")
    folder = PICTURES if "PICTURES" in os.environ else tmp_path
    folder.mkdir(exist_ok=True)
    watched.page.screenshot(path=folder / "today.png")
    with Image.open(folder / "today.png") as picture:
        assert picture.size == (1440, 1500)
        assert len(picture.convert("RGB").getcolors(1_000_000)) > 500
    map_box = watched.page.locator(".bw-map").bounding_box()
    facts_box = watched.page.locator(".beside.mapped > :last-child").bounding_box()
    assert map_box["x"] + map_box["width"] <= facts_box["x"]
    assert watched.complaints == []
    assert watched.outside(sample) == []
