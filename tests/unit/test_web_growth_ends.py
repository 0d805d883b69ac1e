"""Where the growth of planted trees will end: told for a kind, or why not, and only by age."""

import re

import numpy as np
import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.entry import enter_readings
from service.store.site_rows import create_site
from service.view import view_of

SLUG = "avenue"
AGES = (3, 8, 14, 20, 27, 35)


def planted(store, name, width_at, trees=5, year=1985, ages=AGES):
    """Plant trees of one kind and measure each at some ages; the widths [cm] by tree and age."""
    tree = {"name_as_written": name, "planted_on": f"{year}-04-01" if year else None}
    where = {"lon_deg": 9.17, "lat_deg": 47.66}
    ids = add_trees(store, SLUG, LOCAL_MANAGER, [tree | where for _ in range(trees)])
    view = view_of(store, SLUG, LOCAL_MANAGER)
    stems = view.records.stems.set_index("tree_id")["stem_id"]
    enter_readings(
        store,
        SLUG,
        LOCAL_MANAGER,
        [
            {
                "stem_id": stems[tree_id],
                "quantity": "diameter",
                "value": round(width_at(n, age), 1),
                "unit": "cm",
                "instrument": "diameter tape",
                "height_m": 1.3,
                "measured_on": f"{(year or 1985) + age}-04-01",
            }
            for n, tree_id in enumerate(ids)
            for age in ages
        ],
    )


@pytest.fixture
def avenue(store):
    create_site(
        store, SLUG, actor=LOCAL_MANAGER, name="Avenue", country="DE", time_zone="Europe/Berlin", phone="112"
    )
    return store


def levelling(n, age):
    """Limits of 40, 45 ... 60 cm, and a little that is left over."""
    return (40 + 5 * n) / (1 + np.exp(-(age - 12) / 5)) + 0.3 * (-1) ** (n + age)


def test_planted_trees_that_level_off_tell_the_middle_limit_with_its_error(avenue, client):
    planted(avenue, "Tilia cordata", levelling)
    text = client.get(f"/sites/{SLUG}/growth?ends=yes").text
    said = text[text.index("Where growth will end") :]
    assert "Tilia" in said and "(5 trees)" in said
    assert "The curve of the group (logistic) levels off at 50" in said and "give or take" in said


def test_planted_trees_that_still_grow_straight_on_tell_no_limit(avenue, client):
    planted(avenue, "Quercus robur", lambda n, age: (1 + 0.1 * n) * age + 0.3 * (-1) ** (n + age))
    text = client.get(f"/sites/{SLUG}/growth?ends=yes").text
    assert "do not tell where growth will end" in text and "levels off at" not in text


def test_without_a_day_of_planting_or_enough_measurements_nothing_is_said(avenue, client):
    planted(avenue, "Tilia cordata", levelling, year=None)
    planted(avenue, "Acer campestre", levelling, ages=AGES[:2])
    planted(avenue, "Fagus sylvatica", levelling, trees=2)
    assert "Where growth will end" not in client.get(f"/sites/{SLUG}/growth?ends=yes").text


def test_the_kind_with_the_most_trees_comes_first(avenue, client):
    planted(avenue, "Tilia cordata", levelling, trees=3)
    planted(avenue, "Quercus robur", levelling, trees=4)
    text = client.get(f"/sites/{SLUG}/growth?ends=yes").text
    assert re.findall(r"<li>(\w+) <[^>]*>\((\d)", text) == [("Quercus", "4"), ("Tilia", "3")]
