"""The chart of a stem profile: both profiles in words, every pair drawn, none where nothing is."""

import pandas as pd

from layers.chart_profile import PROFILE_WORDS, profile_chart
from layers.pairs import PAIR_COLUMNS
from tests.builders import make_site

ONE = {"taper_set": "mixed hardwood", "published_b": 0.12766, "published_se": 0.0255}
ONE |= {"site_b": 0.15, "site_se": 0.01}


def pairs(*ratios, left_out=False):
    rows = [
        ("s", "t", "2024-05-14", "mixed hardwood", 0.6, 1.3, 33.0, 30.0, ratio, 1.1, 1.1, left_out)
        for ratio in ratios
    ]
    return pd.DataFrame(rows, columns=list(PAIR_COLUMNS))


def test_the_description_tells_both_profiles():
    """Raile 1982, NC-224: at 0.3 m, 0.984 ft, f = (4.5 - 0.984) / 1.984 = 1.772; at 1.3 m it is 0.0447."""
    said = profile_chart(pairs(1.1), ONE, make_site())
    published = 100 * (1 + 0.12766 * 1.772) / (1 + 0.12766 * 0.0447)
    assert f"the published profile is {published:.0f} % of the width at 1.30 m" in said
    assert "1 trunks were measured at two heights" in said
    assert said.startswith("<svg")


def test_pairs_left_out_are_told_apart():
    assert PROFILE_WORDS["profile_left_out"] not in profile_chart(pairs(1.1), ONE, make_site())
    both = pd.concat([pairs(1.1), pairs(2.9, left_out=True)])
    drawn = profile_chart(both, ONE, make_site(units="us"), narrow=True)
    assert PROFILE_WORDS["profile_left_out"] in drawn
    assert PROFILE_WORDS["profile_height_ft"] in drawn


def test_a_profile_without_pairs_is_drawn_too():
    assert PROFILE_WORDS["profile_pair"] not in profile_chart(pairs(), ONE, make_site())
