"""Colours that carry an order, to eyes of every kind and in grey print.

References
----------
IEC 61966-2-1:1999 (sRGB) and CIE 15:2004 (L*a*b*, difference of 1976). Machado, G. M., Oliveira, M. M. and
Fernandes, L. A. F. 2009. A physiologically-based model for simulation of color vision deficiency. IEEE
Transactions on Visualization and Computer Graphics 15(6):1291-1298: matrices of severity 1.0 (second hand).
"""

from itertools import pairwise

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from layers import size_classes, symbology
from layers.inputs import US_BREAKS_CM
from tests.builders import make_site

SEEN_AS = {
    "all cones": np.eye(3),
    "no long cones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no middle cones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no short cones": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
CLEARLY_APART = 15.0  # difference of 1976; about 2.3 is just noticeable side by side


def linear(colour):
    part = np.array(to_rgb(colour))
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def lab(colour, matrix=SEEN_AS["all cones"]):
    rgb = np.clip(np.asarray(matrix) @ linear(colour), 0, 1)
    xyz = (
        np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
        @ rgb
        / [0.9505, 1.0, 1.089]
    )
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one, other):
    """Contrast ratio of WCAG 2.2 (definition of relative luminance)."""
    low, high = sorted(float(np.dot([0.2126, 0.7152, 0.0722], linear(c))) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("eyes", SEEN_AS)
def test_neighbouring_classes_are_apart_to_every_kind_of_eye(eyes):
    seen = [lab(colour, SEEN_AS[eyes]) for colour in symbology.RAMP]
    apart = [np.linalg.norm(b - a) for a, b in pairwise(seen)]
    assert min(apart) >= CLEARLY_APART


@pytest.mark.parametrize("eyes", SEEN_AS)
def test_the_larger_a_tree_the_darker_it_is_to_every_kind_of_eye(eyes):
    lightness = [lab(colour, SEEN_AS[eyes])[0] for colour in symbology.RAMP]
    assert np.all(np.diff(lightness) < 0)


def test_classes_keep_apart_in_grey_print():
    lightness = np.array([lab(colour)[0] for colour in symbology.RAMP])
    assert np.min(-np.diff(lightness)) >= 9.0


def test_no_colour_of_trees_signs_or_areas_is_green():
    signs = [s[key] for s in symbology.SIGNS.values() for key in ("fill", "stroke") if s[key]]
    for colour in (*symbology.RAMP, *symbology.SHADES, *signs):
        _, a, b = lab(colour)
        green = a < -10 and b > -np.abs(a)
        assert not green, colour


def test_a_green_would_be_found():
    _, a, b = lab("#2e7d32")
    assert a < -10 and b > -np.abs(a)


def test_ink_and_accent_can_be_read_on_paper():
    assert contrast(symbology.INK, symbology.PAPER) >= 7.0
    assert contrast(symbology.ACCENT, symbology.PAPER) >= 4.5


def test_ink_marks_stand_out_from_every_shade_of_an_area():
    assert min(contrast(symbology.INK, shade) for shade in symbology.SHADES) >= 4.0


@pytest.mark.parametrize("breaks", [(), (30.0,), (10.0, 20.0, 40.0, 60.0, 80.0), tuple(range(5, 60, 5))])
def test_any_number_of_classes_has_its_colours_sizes_and_labels(breaks):
    classes = symbology.drawn_classes(make_site(breaks_cm=breaks))
    assert len(classes) == len(breaks) + 1
    assert len({c.label for c in classes}) == len(classes)
    assert len({c.fill for c in classes}) == len(classes)
    assert np.all(np.diff([c.radius_px for c in classes]) > 0)
    assert np.all(np.diff([lab(c.fill)[0] for c in classes]) < 0)


def test_labels_are_half_open_in_words():
    labels = [c.label for c in symbology.drawn_classes(make_site())]
    assert labels == [
        "under 10 cm",
        "10 to under 20 cm",
        "20 to under 40 cm",
        "40 to under 60 cm",
        "60 to under 80 cm",
        "80 cm and more",
    ]


def test_labels_of_a_site_in_inches_are_whole_inches():
    labels = [c.label for c in symbology.drawn_classes(make_site(units="us", breaks_cm=US_BREAKS_CM))]
    assert labels[0] == "under 4 in"
    assert labels[1] == "4 to under 8 in"
    assert labels[-1] == "32 in and more"


def test_labels_are_those_of_the_table_of_trees():
    for terms in (make_site(), make_site(units="us", breaks_cm=US_BREAKS_CM), make_site(breaks_cm=())):
        assert [c.label for c in symbology.drawn_classes(terms)] == size_classes.labels(terms)


def test_words_of_classes_can_be_translated():
    words = symbology.CLASS_WORDS | {"class_between": "{from} bis unter {to} {unit}"}
    assert symbology.drawn_classes(make_site(), words)[1].label == "10 bis unter 20 cm"


def test_shading_has_round_breaks_and_one_fill_more_than_breaks():
    steps = symbology.shading([0.0, 3.2, 17.0, 38.9, np.nan])
    assert steps.breaks == (10.0, 20.0, 30.0)
    assert len(steps.fills) == 4
    assert symbology.shade_index([0.0, 10.0, 38.9, np.nan], steps).tolist() == [0, 1, 3, -1]


@pytest.mark.parametrize("values", [[], [np.nan], [0.0, 0.0]])
def test_shading_of_nothing_is_one_step(values):
    steps = symbology.shading(values)
    assert steps.breaks == ()
    assert len(steps.fills) == 1


@pytest.mark.parametrize("top", [1e-6, 0.04, 1.0, 99.9, 100.0, 12345.0])
def test_shading_never_has_more_steps_than_shades_and_its_top_step_is_used(top):
    steps = symbology.shading([top, top / 3])
    assert 1 <= len(steps.breaks) < len(symbology.SHADES)
    assert symbology.shade_index([top], steps)[0] == len(steps.breaks)
