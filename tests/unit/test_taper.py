import numpy as np
import pytest

from layers import species, taper


def test_a_trunk_is_as_wide_as_itself_at_the_same_height():
    assert taper.ratio(1.0, 1.0, 0.12) == pytest.approx(1.0)


def test_a_trunk_is_wider_lower_down():
    widths = taper.ratio(np.array([0.15, 0.5, 1.0, 1.3, 1.5]), 1.3, 0.12766)
    assert (np.diff(widths) < 0).all()


def test_a_species_has_its_own_coefficient_and_says_so():
    assert taper.coefficient("Acer saccharum", "Acer") == (
        0.12798,
        "coefficient of the species Acer saccharum",
    )


def test_a_species_without_one_takes_that_of_its_genus():
    without = species.species_table().query("genus == 'Acer' and stump_profile_b_outside_bark.isna()")
    b, how = taper.coefficient(without["scientific_name"].iloc[0], "Acer")
    assert (b, how) == (0.11585, "coefficient of the genus Acer")


def test_the_genus_is_read_from_the_name_where_it_is_not_given():
    assert taper.coefficient("Picea neverheardof", None) == (0.14525, "coefficient of the genus Picea")


def test_a_genus_without_a_coefficient_goes_by_softwood_or_hardwood():
    known = species.species_table()
    with_b = set(known.loc[known["stump_profile_b_outside_bark"].notna(), "genus"])
    softwood = next(
        genus
        for genus in known["genus"]
        if genus not in with_b and species.softwood_or_hardwood(genus) == "softwood"
    )
    b, how = taper.coefficient(f"{softwood} somespecies", softwood)
    assert b == 0.12667 and how == f"no coefficient for {softwood}, that of other softwoods"
    b, how = taper.coefficient("Nogenusatall", "Nogenusatall")
    assert b == 0.12766 and "mixed hardwood" in how


def test_a_tree_nobody_named_is_taken_as_mixed_hardwood_and_that_is_said():
    assert taper.coefficient(None, None) == (0.12766, "species not known, coefficient of mixed hardwood")


def test_every_coefficient_of_the_table_has_a_named_set():
    values = species.species_table()["stump_profile_b_outside_bark"].dropna().unique()
    assert {taper.set_name(b) for b in values} == set(taper.SETS.values())


# The corners of the assumed departure: f of 1.30 m is 0.0446, of 2 ft 0.8333, of 1 ft about 1.75.
@pytest.mark.parametrize(("height_m", "share"), [(1.3716, 0.0), (0.6096, 0.035), (1.30, 0.005)])
def test_departures_go_through_the_agreed_corners(height_m, share):
    assert taper.departure_se(height_m, 1.3716) == pytest.approx(share, abs=5e-5)


def test_departures_go_on_with_the_last_slope_below_one_foot():
    f = taper.profile(0.15)
    assert f > 1.7718
    slope = 0.04 / (1.7718 - 0.8333)
    assert taper.departure_se(0.15, 1.3716) == pytest.approx(0.075 + slope * (f - 1.7718))


def test_departures_are_odd_and_doubled_above_the_fitted_height():
    above, below = -taper.profile(1.5), taper.profile(1.3)
    slope = 0.03 / (0.8333 - 0.0446)
    shares = [0.005 + slope * (f - 0.0446) for f in (above, below)]
    assert taper.departure_se(1.5, 1.3) == pytest.approx(2 * sum(shares))
    assert taper.departure_se(1.0, 1.3) < taper.departure_se(1.0, 1.4) / 2


def test_the_heights_that_are_converted_are_a_closed_range():
    assert taper.is_convertible([0.149, 0.15, 1.53, 1.531]).tolist() == [False, True, True, False]
