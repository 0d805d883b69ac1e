"""Growth on the two permanent plots of the MacLeish field station, through the command line.

Truths are those of the folder's ORIGIN.md, worked out there without this program with pandas and numpy. A
value is met to half a unit of its last digit.
"""

import dataclasses

import numpy as np
import pytest

from layers.growth import growth_of
from layers.line_fit import fit_lines
from service.actors import LOCAL_MANAGER
from service.store.migrating import open_store
from service.view import view_of
from tests.command_line import done, figure


def printed(text):
    """A number as printed: right to half a unit of its last digit."""
    digits = len(text.partition(".")[2])
    return pytest.approx(float(text), abs=0.5 * 10**-digits, rel=0)


@pytest.fixture(scope="module")
def plots(inputs, tmp_path_factory):
    """A store with each plot as a site of its own."""
    store = tmp_path_factory.mktemp("growth") / "macleish.sqlite"
    for plot in ("MC-01", "MC-02"):
        path = inputs / "macleish" / f"{plot}.csv"
        done("import", path, "--site", plot.lower(), "--size", "diameter-cm", "--json", store=store)
    return store


def view(store, slug, as_of):
    opened = open_store(str(store))
    try:
        return view_of(opened, slug, LOCAL_MANAGER, as_of)
    finally:
        opened.close()


def test_the_increment_of_the_first_plot(plots):
    of = figure(plots, "mc-01", "--since", "2010-12-31", "--as-of", "2015-12-31")["increment"]
    assert of["stems"] == 144
    assert of["growth_cm_per_yr"] == printed("0.0932")
    assert of["growth_lo_cm_per_yr"] < of["growth_cm_per_yr"] < of["growth_hi_cm_per_yr"]


def test_the_increment_of_the_second_plot_counts_its_questioned_reading(plots):
    of = figure(plots, "mc-02", "--since", "2009-12-31", "--as-of", "2016-12-31")["increment"]
    assert of["stems"] == 144
    assert of["growth_cm_per_yr"] == printed("0.1271")


def without(records, tag):
    """The records with a tree crossed out."""
    gone = records.trees.loc[records.trees["tag"] == tag, "tree_id"]
    stems = records.stems[records.stems["tree_id"].isin(gone)]
    return dataclasses.replace(
        records,
        trees=records.trees[~records.trees["tree_id"].isin(gone)],
        stems=records.stems[~records.stems["tree_id"].isin(gone)],
        readings=records.readings[~records.readings["stem_id"].isin(stems["stem_id"])],
    )


def test_the_increment_of_the_second_plot_when_its_outlier_is_crossed_out(plots, tmp_path):
    whole = view(plots, "mc-02", "2016-12-31")
    kept = type(whole)(
        *(whole.terms, without(whole.records, "2269"), whole.as_of, whole.known_at, whole.audience, False)
    )
    of = kept.figures_since("2009-12-31")[0]["increment"]
    assert of["growth_cm_per_yr"] == printed("0.1198")


def test_the_outlier_of_the_second_plot_is_questioned(plots):
    of_day = view(plots, "mc-02", "2016-12-31")
    stems = growth_of(of_day.records, of_day.terms, of_day.as_of).stems
    tag = of_day.records.trees.set_index("tree_id")["tag"]
    tree = of_day.records.stems.set_index("stem_id")["tree_id"]
    questioned = stems[stems["questioned_reading"].notna()]
    tags = tag.loc[tree.loc[questioned["stem_id"]]].tolist()
    assert "2269" in tags
    of = questioned.iloc[tags.index("2269")]
    reading = of_day.records.readings.set_index("reading_id").loc[of["questioned_reading"]]
    assert (reading["value"], reading["measured_on"][:4]) == (28.0, "2016")


@pytest.fixture(scope="module")
def survivors(plots):
    """The 144 survivors of the first plot with their six readings: (growth, days, sizes)."""
    of_day = view(plots, "mc-01", "2015-12-31")
    state = of_day.state.stem_state
    living = state.loc[state["tree_status"].isin(["living", "unknown"]) & state["dbh_cm"].notna(), "stem_id"]
    said = of_day.records.readings[of_day.records.readings["stem_id"].isin(living)]
    said = said[said["value"] > 0].sort_values(["stem_id", "measured_on"])
    sizes = said.pivot(index="stem_id", columns="measured_on", values="value")
    assert sizes.shape == (144, 6)
    stems = growth_of(of_day.records, of_day.terms, of_day.as_of).stems.set_index("stem_id")
    return stems.loc[sizes.index], sizes.columns.tolist(), sizes.to_numpy()


def slopes(at, sizes):
    """Slopes of the lines with equal errors, nothing left out."""
    alike = np.broadcast_to(np.eye(sizes.shape[1]), (len(sizes), *[sizes.shape[1]] * 2))
    return (fit_lines(np.tile(at, (len(sizes), 1)), sizes, alike, 99).slope_weight * sizes).sum(axis=1)


def test_slopes_of_the_survivors_of_the_first_plot_with_equal_errors(survivors):
    _, on, sizes = survivors
    assert {day[5:] for day in on} == {"07-02"}  # only the year is known: its middle day
    by_day = np.array(on, dtype="datetime64[D]").astype(int) / 365.25
    assert slopes(by_day, sizes).mean() == printed("0.08959")
    assert slopes(np.array([float(day[:4]) for day in on]), sizes).mean() == printed("0.08958")


def test_growth_is_that_slope_where_no_reading_is_left_out(survivors):
    growth, on, sizes = survivors
    kept = growth["questioned_reading"].isna().to_numpy()
    assert kept.sum() > 130
    plain = slopes(np.array(on, dtype="datetime64[D]").astype(int) / 365.25, sizes)
    assert growth["growth_cm_per_yr"].to_numpy()[kept] == pytest.approx(plain[kept], rel=1e-9, abs=1e-9)
