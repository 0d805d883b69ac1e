"""What repeated readings teach about errors, against arithmetic and textbook formulas."""

import dataclasses

import numpy as np
import pytest

from layers.girth import standardised
from layers.learning import learn, learned_from, repeats
from layers.site_model import PRIOR_DF, SiteModel
from tests.builders import make_reading, make_records, make_site
from tests.stand_builders import stem_rows, tree_rows

RNG = np.random.default_rng(11)


def records_of(rows, species="Tilia cordata"):
    stems = 1 + max(stem for stem, *_ in rows)
    genus = species.split()[0]
    return make_records(
        trees=tree_rows(stems, scientific_name=species, genus=genus),
        stems=stem_rows(stems),
        readings=[
            make_reading(
                reading_id=f"r{n:05}",
                fid=n + 1,
                stem_id=f"s{stem}",
                quantity="diameter",
                value=size,
                resolution=None,
                tilt_deg=0.0,
                **said,
            )
            for n, (stem, size, said) in enumerate(rows)
        ],
    )


def pairs(count, sd, crews=("A",), **said):
    """Two readings a stem of 15 cm, where the own deviation of trained staff is 0.3 cm."""
    return [
        (stem, 15.0 + sd * RNG.normal(), {"crew": crews[(stem + which) % len(crews)], **said})
        for stem in range(count)
        for which in range(2)
    ]


def test_without_repeated_readings_nothing_is_learned():
    model = learn(records_of([(0, 30.0, {}), (1, 40.0, {})]), make_site())
    assert [(f.value, f.df) for f in (model.own, model.crew, model.departure)] == [(1.0, PRIOR_DF)] * 3
    assert model.effects == {}


def test_the_own_factor_of_pairs_is_the_weighted_update_of_a_chi_square():
    rows = pairs(50, 0.5)
    model = learn(records_of(rows), make_site())
    sizes = np.array([size for _, size, _ in rows]).reshape(-1, 2)
    squares = np.sum((sizes[:, 0] - sizes[:, 1]) ** 2 / 2.0) / 0.3**2
    assert model.own.value == pytest.approx((10.0 + squares) / 60.0, rel=2e-3)
    assert model.own.df == pytest.approx(60.0, rel=0.01)
    assert (model.crew.value, model.crew.df) == (1.0, PRIOR_DF)


def test_readings_changed_after_a_question_teach_nothing():
    rows = [(stem, size, {**said, "first_entry": 99.0}) for stem, size, said in pairs(20, 0.5)]
    assert learn(records_of(rows), make_site()).own.df == PRIOR_DF


def test_the_factor_of_crews_is_found_from_what_crews_differ_by():
    crews = [f"C{n}" for n in range(40)]
    off = dict(zip(crews, RNG.normal(0.0, 0.3, len(crews)), strict=True))
    rows = [
        (stem, 15.0 + off[crew] + 0.05 * RNG.normal(), {"crew": crew, "round_id": "R"})
        for stem in range(400)
        for crew in RNG.choice(crews, 2, replace=False)
    ]
    model = learn(records_of(rows), make_site())
    expected = np.var(list(off.values()), ddof=1) / 0.1**2
    assert model.crew.value == pytest.approx((10.0 + 39.0 * expected) / 49.0, rel=0.1)
    assert model.crew.df == pytest.approx(49.0, rel=0.1)


def test_the_taper_of_a_site_is_pulled_from_the_published_one_toward_its_pairs():
    truth, rows = 0.12766 * 1.3, []
    for stem in range(200):
        low = 30.0 * (1.0 + truth * (4.5 - 2.0) / 3.0) + 0.1 * RNG.normal()
        rows += [(stem, 30.0, {"height_m": 1.3716}), (stem, low, {"height_m": 0.6096})]
    site = make_site(breast_height_m=1.3716)
    records = records_of(rows)
    model = learn(records, site)
    effect = model.effects["taper:mixed hardwood"]
    assert 0.12766 + effect.mean == pytest.approx(truth, rel=0.02)
    assert effect.variance < (0.2 * 0.12766) ** 2 / 10
    adopted = standardised(
        records.readings, records.stems, records.trees, dataclasses.replace(site, model=model)
    )
    assert adopted.readings["dbh_cm"].mean() == pytest.approx(30.0, abs=0.1)


def test_what_two_instruments_differ_by_is_shared_out_by_what_each_may_be_off():
    rows = []
    for stem in range(300):
        crew = {"crew": f"C{stem % 30}"}
        rows += [(stem, 30.0, {"instrument": "caliper", **crew})]
        rows += [(stem, 31.0, {"instrument": "string and ruler", **crew})]
    site = make_site()
    records = records_of(rows)
    model = learn(records, site)
    caliper = model.effects[f"instrument:{site.site_id}:caliper"]
    string = model.effects[f"instrument:{site.site_id}:string and ruler"]
    of_caliper, of_string = 0.1**2, 0.1**2 + (0.005 * 30.5) ** 2
    assert -caliper.mean * 0.1 == pytest.approx(of_caliper / (of_caliper + of_string), rel=0.1)
    assert string.mean * of_string**0.5 == pytest.approx(of_string / (of_caliper + of_string), rel=0.1)
    adopted = dataclasses.replace(site, model=model)
    sizes = standardised(records.readings, records.stems, records.trees, adopted).readings
    apart = sizes.groupby("instrument")["dbh_cm"].mean()
    assert abs(apart["string and ruler"] - apart["caliper"]) < 0.1


def test_without_a_prior_the_own_factor_is_the_variance_of_pairs():
    rows = pairs(80, 0.45)
    sizes = np.array([size for _, size, _ in rows]).reshape(-1, 2)
    own = learned_from(repeats(records_of(rows), make_site()), prior_df=0.0).own
    assert own.value == pytest.approx(np.mean(np.diff(sizes) ** 2 / 2.0) / 0.09, rel=2e-3)
    assert own.df == pytest.approx(80.0, rel=0.01)


def test_a_model_comes_back_from_what_is_kept_of_it():
    model = learn(records_of(pairs(20, 0.4)), make_site())
    assert SiteModel.from_json(model.as_json()) == model
    assert SiteModel.from_json(SiteModel().as_json()) == SiteModel()


def test_degrees_of_freedom_of_a_sum_follow_satterthwaite():
    model = learn(records_of(pairs(20, 0.3)), make_site())
    assert model.degrees_of_freedom(["own", "taper"], [2.0, 0.0]) == pytest.approx(model.own.df)
    assert model.degrees_of_freedom(["own", "taper"], [2.0, 2.0]) == pytest.approx(4 * model.own.df)
    assert np.isinf(SiteModel().degrees_of_freedom(["own", "taper"], [2.0, 2.0]))
