from itertools import pairwise

import numpy as np
import pytest

from layers import size_classes, symbology
from layers.inputs import DEFAULT_BREAKS_CM, US_BREAKS_CM
from tests.builders import make_site


def test_a_diameter_on_a_break_belongs_to_the_class_above():
    found = size_classes.class_of([0.0, 9.99, 10.0, 80.0, 300.0, np.nan], DEFAULT_BREAKS_CM)
    assert found.tolist() == [0, 0, 1, 5, 5, -1]


def test_classes_meet_and_the_last_is_open():
    bounds = size_classes.bounds(DEFAULT_BREAKS_CM)
    assert bounds[0] == (0.0, 10.0) and bounds[-1] == (80.0, None)
    assert all(before[1] == after[0] for before, after in pairwise(bounds))


def test_labels_are_in_the_display_unit():
    assert size_classes.labels(make_site())[:2] == ["under 10 cm", "10 to under 20 cm"]
    us = make_site(units="us", breaks_cm=US_BREAKS_CM)
    assert size_classes.labels(us) == [
        "under 4 in",
        "4 to under 8 in",
        "8 to under 16 in",
        "16 to under 24 in",
        "24 to under 32 in",
        "32 in and more",
    ]


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_class_is_called_the_same_on_the_map(units):
    site = make_site(units=units)
    assert size_classes.labels(site) == [each.label for each in symbology.drawn_classes(site)]


def test_without_breaks_there_is_one_class():
    assert size_classes.labels(make_site(breaks_cm=())) == ["any size"]
