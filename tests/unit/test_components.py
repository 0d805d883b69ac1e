import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.components import KINDS, changes_between
from layers.girth import basal_area_m2
from layers.site_model import Effect, SiteModel
from tests.builders import make_records, make_site, row
from tests.growth_builders import histories
from tests.stand_builders import area_row, figure_of, figures_of, local_site

SINCE, AS_OF = "2020-12-31", "2024-12-31"
SITE = local_site()


def event(subject_id, status, on, subject="tree", n=1):
    return row(
        *("status_event",),
        status_event_id=f"e{subject_id}{n}",
        fid=n,
        subject=subject,
        subject_id=subject_id,
        status=status,
        happened_on=on,
        as_said=status,
    )


def with_events(records, *events):
    return dataclasses.replace(records, status_events=make_records(status_events=list(events)).status_events)


def changed(records, terms=SITE, since=SINCE, as_of=AS_OF):
    return figures_of(records, terms, as_of, since=changes_between(records, terms, since, as_of))


def face(dbh_cm):
    return math.pi / 4 * (dbh_cm / 100) ** 2


def test_every_kind_of_change_is_told_apart():
    records = histories(
        [("2020-05-01", 30.0), ("2024-05-01", 32.0)],  # stays
        [("2024-05-01", 11.0)],  # first measured
        [("2024-05-01", 6.0)],  # planted
        [("2020-05-01", 40.0)],  # dies
        [("2020-05-01", 50.0)],  # is removed alive
        [("2020-05-01", 60.0)],  # dies, then is removed
        [("2020-05-01", 70.0)],  # stays, not measured again
    )
    records.trees.loc[2, "planted_on"] = "2021-03-01"
    records = with_events(
        records,
        event("t3", "dead", "2022-01-01"),
        event("t4", "removed", "2022-01-01"),
        event("t5", "dead", "2021-01-01"),
        event("t5", "removed", "2023-01-01", n=2),
    )
    of = changed(records)[0]["components"]
    assert {kind: of[kind]["stems"] for kind in KINDS} == {
        "survivors": 2,
        "ingrowth_planted": 1,
        "ingrowth_first_measured": 1,
        "mortality": 2,
        "removals": 1,
        "no_longer_measured": 0,
    }
    assert of["survivors"]["basal_area_m2"] == pytest.approx(face(32) - face(30), rel=1e-12)
    assert of["ingrowth_planted"]["basal_area_m2"] == pytest.approx(face(6), rel=1e-12)
    assert of["ingrowth_first_measured"]["basal_area_m2"] == pytest.approx(face(11), rel=1e-12)
    assert of["mortality"]["basal_area_m2"] == pytest.approx(-face(40) - face(60), rel=1e-12)
    assert of["removals"]["basal_area_m2"] == pytest.approx(-face(50), rel=1e-12)
    assert of["since"] == SINCE


def test_a_stem_that_falls_below_the_counting_limit_is_no_longer_measured():
    area = area_row("a", shapely.box(0, 0, 100, 100), counting_limit_cm=10.0)
    records = histories(
        [("2020-05-01", 10.4), ("2024-05-01", 9.8)], [("2020-05-01", 9.6), ("2024-05-01", 10.1)]
    )
    records.trees[["x_m", "y_m"]] = 50.0
    records = dataclasses.replace(records, areas=make_records(areas=[area]).areas)
    rows = changed(records)
    of = figure_of(rows, "a")["components"]
    assert (of["no_longer_measured"]["stems"], of["ingrowth_first_measured"]["stems"]) == (1, 1)
    assert rows[0]["components"]["survivors"]["stems"] == 2
    assert figure_of(rows, "a")["increment"] is None
    assert rows[0]["increment"]["stems"] == 2


one_stem = st.tuples(
    st.lists(
        st.tuples(
            st.sampled_from(["2018-05-01", "2020-05-01", "2022-05-01", "2024-05-01"]), st.floats(1, 150)
        ),
        max_size=4,
    ),
    st.sampled_from([None, "dead", "removed"]),
    st.sampled_from(["2019-01-01", "2022-01-01", "2025-01-01"]),
    st.sampled_from([None, "2017-01-01", "2021-01-01"]),
    st.floats(0, 99),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(one_stem, min_size=1, max_size=8))
def test_the_parts_add_up_to_the_change_of_basal_area(stems):
    records = histories(*[said for said, *_ in stems])
    records.trees["planted_on"] = [planted for *_, planted, _ in stems]
    records.trees["x_m"], records.trees["y_m"] = [x for *_, x in stems], 50.0
    areas = [
        area_row("left", shapely.box(0, 0, 50, 100), counting_limit_cm=20.0),
        area_row("all", shapely.box(0, 0, 100, 100)),
    ]
    records = dataclasses.replace(records, areas=make_records(areas=areas).areas)
    ends = [event(f"t{n}", status, on) for n, (_, status, on, *_) in enumerate(stems) if status]
    records = with_events(records, *ends)
    before, after = figures_of(records, SITE, SINCE), changed(records)
    for now in after:
        was = figure_of(before, now["area_id"])
        sizes = [each["basal_area_m2"] or 0.0 for each in (was, now)]
        of = now["components"]
        if of is None:
            assert sizes == [0.0, 0.0]
            continue
        total = math.fsum(of[kind]["basal_area_m2"] for kind in KINDS)
        assert total == pytest.approx(sizes[1] - sizes[0], rel=0, abs=1e-12 * max(sizes))
        assert of["change_m2"] == pytest.approx(total, rel=0, abs=1e-12 * max(sizes))


def test_the_increment_is_the_mean_over_stems_measured_on_both_days():
    records = histories(
        [("2020-05-01", 30.0), ("2024-05-01", 32.0)],
        [("2020-05-01", 20.0), ("2023-05-01", 21.0)],
        [("2020-05-01", 50.0)],
        [("2024-05-01", 60.0)],
        [("2020-12-01", 10.0), ("2021-03-01", 11.0)],  # too close together
        [(None, 10.0, {"received_at": "2019-01-01T00:00:00Z"}), ("2023-05-01", 12.0)],
    )
    of = changed(records)[0]["increment"]
    rates = [2 / (1461 / 365.25), 1 / (1095 / 365.25)]
    assert of["stems"] == 2
    assert of["growth_cm_per_yr"] == pytest.approx(np.mean(rates), rel=1e-12)
    assert of["mean_years"] == pytest.approx((1461 + 1095) / 2 / 365.25, rel=1e-12)
    assert of["growth_lo_cm_per_yr"] < of["growth_cm_per_yr"] < of["growth_hi_cm_per_yr"]


def test_what_both_ends_share_leaves_the_error_of_the_increment():
    low = {"height_m": 0.6}
    records = histories(
        [("2020-05-01", 30.0, low), ("2024-05-01", 30.0, low)],
        [("2020-05-01", 30.0, low), ("2024-05-01", 30.0, low)],
    )
    own = changed(records)[0]["increment"]["growth_se_cm_per_yr"]
    # two readings of two stems with their own error alone, by hand
    from layers.girth import standardised

    one = standardised(records.readings, records.stems, records.trees, SITE).readings["own_var_cm2"].iloc[0]
    assert own == pytest.approx(np.sqrt(2 * 2 * one) / 2 / 4, rel=1e-9)
    wild = SiteModel(effects={f"instrument:{SITE.site_id}:girth tape": Effect(0.0, 400.0)})
    stormy = changed(records, dataclasses.replace(SITE, model=wild))[0]["increment"]
    assert stormy["growth_se_cm_per_yr"] == pytest.approx(own, rel=1e-6)


def test_another_crew_in_the_later_round_does_not_shrink_with_the_number_of_stems():
    first, last = {"round_id": "a"}, {"round_id": "b"}
    records = histories(*[[("2020-05-01", 30.0, first), ("2024-05-01", 30.0, last)]] * 400)
    se = changed(records)[0]["increment"]["growth_se_cm_per_yr"]
    assert se > math.sqrt(2) * 0.1 / 4
    assert se < math.sqrt(2) * 0.1 / 4 * 1.1


def test_without_a_day_to_compare_with_both_are_empty_and_say_what_to_name():
    figures = figures_of(histories([("2020-05-01", 30.0), ("2024-05-01", 32.0)]))
    for key in ("increment", "components"):
        assert figures[0][key] is None
        assert "--since" in figures[0]["why"][key]


def test_an_area_without_an_outline_keeps_its_reason():
    records = histories([("2020-05-01", 30.0), ("2024-05-01", 32.0)])
    records = dataclasses.replace(records, areas=make_records(areas=[area_row("b", None)]).areas)
    missing = figure_of(changed(records), "b")
    assert missing["components"] is None
    assert "outline" in missing["why"]["components"]


def test_nothing_has_no_change():
    whole = changed(make_records())[0]
    assert whole["components"] is None and "on either day" in whole["why"]["components"]
    assert whole["increment"] is None and "292 days" in whole["why"]["increment"]


def test_a_reading_that_is_used_on_both_days_is_no_growth():
    assert changed(histories([("2020-05-01", 30.0)]))[0]["increment"] is None
    assert changed(histories([("2020-05-01", 30.0)]))[0]["components"]["survivors"]["stems"] == 1
    assert basal_area_m2(30.0) == pytest.approx(face(30))
    assert make_site().slug
