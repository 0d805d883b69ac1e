import numpy as np
import pytest

from layers import diversity


def test_one_species_has_no_diversity():
    assert diversity.shannon([7]) == 0.0
    assert diversity.simpson([7]) == 0.0


def test_equal_shares_give_the_logarithm_of_their_number():
    assert diversity.shannon([3, 3, 3, 3]) == pytest.approx(np.log(4))
    assert diversity.simpson([3, 3, 3, 3]) == pytest.approx(0.75)


def test_a_species_without_a_tree_does_not_matter():
    assert diversity.shannon([3, 0, 5]) == diversity.shannon([3, 5])


def test_without_a_tree_nothing_can_be_said():
    assert np.isnan(diversity.shannon([])) and np.isnan(diversity.simpson([0]))
    shannon, simpson = diversity.by_group(np.array([1]), np.array([4]), 2)
    assert np.isnan(shannon[0]) and np.isnan(simpson[0]) and shannon[1] == 0


def test_many_groups_at_once_agree_with_one_at_a_time():
    counts = [[3, 4, 1], [9, 9], [2]]
    group = np.repeat([0, 1, 2], [3, 2, 1])
    shannon, simpson = diversity.by_group(group, np.concatenate(counts), 3)
    assert shannon == pytest.approx([diversity.shannon(each) for each in counts])
    assert simpson == pytest.approx([diversity.simpson(each) for each in counts])


def test_a_square_lattice_is_as_regular_as_it_can_be_reckoned():
    x, y = np.meshgrid(np.arange(10.0), np.arange(10.0))
    assert diversity.clark_evans(x.ravel(), y.ravel(), 100.0) == pytest.approx(2.0)


def test_trees_on_one_spot_are_clumped():
    assert diversity.clark_evans([5, 5, 1, 1], [5, 5, 1, 1], 100.0) == 0.0


@pytest.mark.parametrize(
    ("x", "area"), [([1.0], 100.0), ([1.0, np.nan], 100.0), ([1.0, 2.0], np.nan), ([1.0, 2.0], 0)]
)
def test_one_tree_or_no_area_says_nothing(x, area):
    assert np.isnan(diversity.clark_evans(x, x, area))
