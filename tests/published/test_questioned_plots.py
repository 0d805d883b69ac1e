"""Two real plots: the one reading that is odd is asked about, no other is, and it can be settled.

Source: MacLeish field station, permanent plots MC-01 and MC-02 (``data/ORIGIN.md``). Tag 2269 of MC-02 went
from 20.4 cm in 2012 to 28 cm in 2016.
"""

from pathlib import Path

import pytest

from service.actors import LOCAL_MANAGER
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.store.site_rows import create_site
from service.view import view_of

DATA = Path(__file__).parent / "data"


@pytest.fixture
def view(store):
    create_site(store, "plots", actor=LOCAL_MANAGER, name="Plots", country="US")
    for name in ("MC-01", "MC-02"):
        options = ImportOptions(size="diameter-cm", place=name)
        import_file(store, DATA / f"macleish_{name}.csv", "plots", options, LOCAL_MANAGER)
    return view_of(store, "plots", LOCAL_MANAGER)


def test_the_one_odd_reading_of_the_plots_is_questioned_and_no_sapling(view):
    tags = view.records.trees.set_index("tree_id")["tag"]
    rows = view.questioned
    assert [(tags[row.tree_id], row.measured_on[:4]) for row in rows.itertuples()] == [("2269", "2016")]
    verdict = rows.iloc[0]["verdict"]
    assert 18 < verdict.low < 20.4 < verdict.high < 25
    assert len(view.records.readings) > 1500
