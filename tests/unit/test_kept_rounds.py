"""What a snapshot says of planned measuring days is checked before a page reads it."""

import pytest

from service.intake.kept_rounds import require_kept

ID = "7c9e6679-7425-40de-944b-e07fc1f90a02"
SHEET = {"crew_id": ID, "trees": [{"tree_id": ID, "role": "first"}], "minutes": 4.0, "way_m": 12.5}
PLAN = {
    "sheets": [{**SHEET, "sector": None, "walk": None}],
    "left_out": [],
    "put_back": [],
    "chosen_by": {"name": "May", "from_on": "2026-05-04", "height_m": 1.3, "pupils": 1},
    "seed": 1,
    "spread": 0.0,
    "why": None,
    "timed_gaps": 0,
}


def test_a_plan_as_it_is_made_is_taken():
    require_kept("plan", PLAN)


@pytest.mark.parametrize(
    "changes",
    [
        {"sheets": 3},
        {"sheets": [{**SHEET, "sector": {"type": "Nothing"}, "walk": None}]},
        {"sheets": [{**SHEET, "sector": None, "walk": None, "trees": [{"tree_id": ID}]}]},
        {"left_out": [{"tree_id": ID, "reason": "no such reason"}]},
        {"chosen_by": {"x": 1}},
        {"more": 1},
    ],
)
def test_a_plan_that_no_page_could_read_is_refused(changes):
    with pytest.raises(ValueError):
        require_kept("plan", {**PLAN, **changes})


def test_a_plan_without_its_parts_is_refused():
    with pytest.raises(ValueError, match="sheets"):
        require_kept("plan", {"x": 1})
    with pytest.raises(ValueError, match="missing"):
        require_kept("closing", {"minutes": 1.0})
