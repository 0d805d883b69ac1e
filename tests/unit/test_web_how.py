"""Fifty numbers of the two samples: what is shown of each is enough to work it and its error out again."""

import random
import re
from html.parser import HTMLParser

import pytest

from layers import explained_figures
from layers.recomputing import recomputed
from layers.site_model import Effect, Factor, SiteModel
from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.sample import SAMPLES, load_samples
from service.settings import Settings
from service.site_models import adopt_fitted, adopt_version
from service.store.migrating import open_store
from service.view import view_of

SEED, NUMBERS = 20260105, 50
SINCE = "2021-12-31"
PER_METRIC = {  # how much of each display unit a metric unit is
    "": 1.0,
    "cm": 1.0,
    "in": 1 / 2.54,
    "cm a year": 1.0,
    "inches a year": 1 / 2.54,
    "m²": 1.0,
    "sq ft": 1 / 0.3048**2,
    "ha": 1.0,
    "acres": 1 / 0.40468564224,
    "per ha": 1.0,
    "per acre": 0.40468564224,
    "m² per ha": 1.0,
    "sq ft per acre": 4.356,
}
SHOWN = re.compile(r"(?P<value>-?[\d,.]+)(?: (?P<unit>\D+?))?(?:, give or take (?P<half>[\d,.]+))?")


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("samples")
    store = open_store(str(folder / "store.sqlite"))
    load_samples(store, LOCAL_MANAGER)
    yield create_app(store, Settings(data_folder=folder)).test_client(), store
    store.close()


def numbers_of(store):
    """The names of all numbers of the samples that can be said."""
    for slug in SAMPLES:
        view = view_of(store, slug, LOCAL_MANAGER)
        for tree in view.trees[view.trees["dbh_cm"].notna()]["tree_id"]:
            yield slug, f"tree:{tree}"
            yield slug, f"tree:{tree}:basal_area_m2"
        for tree in view.trees[view.trees["growth_cm_per_yr"].notna()]["tree_id"]:
            yield slug, f"tree:{tree}:growth_cm_per_yr"
        stems = view.state.stem_state
        for stem in stems[stems["dbh_cm"].notna()]["stem_id"]:
            yield slug, f"stem:{stem}"
        for row in view.figures:
            of = f"figure:{row['area_id'] or 'site'}"
            known = [key for key in explained_figures.KEYS if row[key] is not None]
            classes = len(row["size_classes"] or [])
            known += [
                f"{what}:{n}" for n in range(classes) for what in ("size_class", "size_class_basal_area")
            ]
            for key in known:
                yield slug, f"{of}:{key}"
        for row in view.figures_since(SINCE):
            if row["increment"]:
                yield slug, f"figure:{row['area_id'] or 'site'}:increment:{SINCE}"


def drawn(store):
    """Fifty of them: a fifth of each sort, so that the many trunks do not crowd the figures out."""
    dice = random.Random(SEED)
    sorts = {}
    for slug, of in numbers_of(store):
        kind, _sep, rest = of.partition(":")
        sorts.setdefault((kind, rest.partition(":")[2] if kind == "tree" else ""), []).append((slug, of))
    assert len(sorts) == 5
    return [one for sort in sorted(sorts) for one in dice.sample(sorts[sort], NUMBERS // 5)]


class Numbers(HTMLParser):
    """The number of a page: its text, and the full value and error behind it."""

    def __init__(self, page):
        super().__init__()
        self.found, self._open = [], None
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        if tag == "data":
            self._open = dict(attributes)

    def handle_data(self, text):
        if self._open is not None:
            self.found.append((text, self._open))
            self._open = None


def agrees(text, exact):
    """A rounded text stands for an exact number."""
    decimals = len(text.partition(".")[2])
    return abs(float(text.replace(",", "")) - exact) <= 0.5 * 10.0**-decimals * (1 + 1e-9)


def test_fifty_numbers_of_the_samples_recompute_from_what_is_shown(site):
    client, store = site
    chosen = drawn(store)
    assert len(chosen) == NUMBERS
    for slug, of in chosen:
        _recomputes(client, slug, of)


def _recomputes(client, slug, of):
    """The parts that JSON shows give the number and its error, and the page says the same, rounded."""
    answer = client.get(f"/api/sites/{slug}/how", query_string={"of": of})
    assert answer.status_code == 200, of
    said = answer.get_json()
    again = recomputed(said)
    assert again.value == pytest.approx(said["value"], rel=1e-9), of
    assert (again.se is None) == (said["se"] is None), of
    if said["se"] is not None:
        assert again.se == pytest.approx(said["se"], rel=1e-9), of
        shown = {part["kind"]: part["variance"] for part in said["parts"]}
        assert again.parts == pytest.approx(shown, rel=1e-9), of
    page = client.get(f"/sites/{slug}/how", query_string={"of": of})
    assert page.status_code == 200, of
    _page_agrees(page.text, said)
    return said


def _page_agrees(page, said):
    """The page holds the same number in full, and its text is that number, rounded."""
    text, behind = Numbers(page).found[0]
    assert float(behind["value"]) == said["value"]
    shown = SHOWN.fullmatch(text)
    assert shown, text
    per = PER_METRIC[shown["unit"] or ""]
    assert agrees(shown["value"], said["value"] * per), (text, said["value"])
    if said["se"] is not None:
        assert float(behind["data-se"]) == said["se"]
        assert agrees(shown["half"], said["quantile"] * said["se"] * per), (text, said["se"])
        assert said["high"] - said["low"] == pytest.approx(2 * said["quantile"] * said["se"], rel=1e-9)


def test_the_page_of_a_tree_shows_its_trunks_too(site):
    client, store = site
    view = view_of(store, SAMPLES[0], LOCAL_MANAGER)
    row = view.trees[view.trees["dbh_cm"].notna()].iloc[0]
    said = client.get(f"/api/sites/{SAMPLES[0]}/how", query_string={"of": f"tree:{row.tree_id}"}).get_json()
    assert len(said["rests_on"]) == len(said["inputs"]) >= 1
    for trunk, one in zip(said["rests_on"], said["inputs"], strict=True):
        assert trunk["value"] == one["dbh_cm"]
        assert recomputed(trunk).value == pytest.approx(trunk["value"], rel=1e-9)


def test_the_mean_growth_between_two_days_recomputes_with_its_interval(site):
    client, store = site
    for slug in SAMPLES:
        whole = view_of(store, slug, LOCAL_MANAGER).figures_since(SINCE)[0]["increment"]
        said = _recomputes(client, slug, f"figure:site:increment:{SINCE}")
        assert said["value"] == whole["growth_cm_per_yr"] and said["se"] == whole["growth_se_cm_per_yr"]
        assert said["high"] == pytest.approx(whole["growth_hi_cm_per_yr"])
        assert said["constants"]["stems"] == whole["stems"]


@pytest.mark.parametrize(
    ("of", "status"),
    [
        ("", 400),
        ("tree", 400),
        ("tree:", 400),
        ("figure:site", 400),
        ("pond:1", 400),
        ("tree:none-such", 404),
        ("tree:none-such:growth_cm_per_yr", 404),
        ("stem:none-such", 404),
        ("figure:none-such:trees", 404),
        ("figure:site:none-such", 404),
        ("figure:site:size_class:99", 404),
        ("figure:site:size_class:-1", 404),
        ("figure:site:increment", 400),
        ("figure:site:increment:2999-01-01", 400),
        ("figure:none-such:increment:2021-12-31", 404),
    ],
)
def test_a_number_that_is_not_there_is_said(site, of, status):
    client, _store = site
    for path in (f"/sites/{SAMPLES[0]}/how", f"/api/sites/{SAMPLES[0]}/how"):
        assert client.get(path, query_string={"of": of}).status_code == status


def test_the_day_is_kept_and_an_unchanged_answer_is_not_sent_again(site):
    client, _store = site
    asked = {"of": "figure:site:trees", "as_of": "2024-06-01"}
    page = client.get(f"/sites/{SAMPLES[0]}/how", query_string=asked).text
    assert "as_of=2024-06-01" in page
    first = client.get(f"/api/sites/{SAMPLES[0]}/how", query_string=asked)
    held = {"If-None-Match": first.headers["ETag"]}
    assert client.get(f"/api/sites/{SAMPLES[0]}/how", query_string=asked, headers=held).status_code == 304


LINK = re.compile(r'class="how" href="(?P<address>[^"]+)"')


def test_numbers_of_the_pages_lead_to_how_they_are_known(site):
    client, store = site
    view = view_of(store, SAMPLES[0], LOCAL_MANAGER)
    tree = view.trees[view.trees["growth_cm_per_yr"].notna()].iloc[0].tree_id
    base = f"/sites/{SAMPLES[0]}"
    for page, least in ((f"{base}/trees/{tree}", 4), (f"{base}/figures", 40), (f"{base}/trees", 20)):
        found = {one["address"].replace("&amp;", "&") for one in LINK.finditer(client.get(page).text)}
        assert len(found) >= least, page
        for address in sorted(found)[:6]:
            assert client.get(address).status_code == 200, address


@pytest.fixture(scope="module")
def learned(site):
    """The first sample with an adopted model that learned its own and crew deviations, and one instrument."""
    client, store = site
    slug = SAMPLES[0]
    view = view_of(store, slug, LOCAL_MANAGER)
    kinds = view.state.causes.set_index("cause")["kind"]
    effects = {cause: Effect(0.0, 0.01) for cause, kind in kinds.items() if kind not in ("crew", "area")}
    model = SiteModel(
        own=Factor(0.8, 24.0), crew=Factor(0.9, 13.0), departure=Factor(1.1, 15.0), effects=effects
    )
    adopt_fitted(store, slug, LOCAL_MANAGER, model, view.known_at)
    yield client, view, view_of(store, slug, LOCAL_MANAGER)
    adopt_version(store, slug, LOCAL_MANAGER, 0, 1)


def test_an_adopted_model_is_said_and_reaches_farther(learned):
    client, before, view = learned
    row = view.trees[view.trees["growth_cm_per_yr"].notna()].iloc[0]
    names = [f"tree:{row.tree_id}", f"tree:{row.tree_id}:growth_cm_per_yr", "figure:site:mean_dbh_cm"]
    for of in [*names, "figure:site:basal_area_m2", "figure:site:basal_area_m2_per_ha"]:
        said = _recomputes(client, view.terms.slug, of)
        assert said["model"] == "1"
        assert said["quantile"] > 1.96 and said["degrees_of_freedom"] > 10
        assert any(part["measured"] and part["kind"] == "own" for part in said["parts"])
    assert view.reaches[row.tree_id] == pytest.approx(
        _recomputes(client, view.terms.slug, f"tree:{row.tree_id}")["quantile"]
    )
    assert set(before.reaches.values()) == {1.959963984540054}
    whole = view.figures[0]
    reach = (whole["basal_area_hi"] - whole["basal_area_lo"]) / 2 / whole["basal_area_se_m2"]
    assert reach == pytest.approx(
        _recomputes(client, view.terms.slug, "figure:site:basal_area_m2")["quantile"]
    )


def test_whiskers_are_solid_only_where_all_of_the_error_was_measured(learned):
    client, before, view = learned
    assert before.state.stem_state.loc[before.state.stem_state["dbh_cm"].notna(), "assumed"].all()
    assert not view.state.stem_state["assumed"].any()
    sized = view.trees[view.trees["dbh_cm"].notna()].iloc[0].tree_id
    chart = client.get(f"/sites/{view.terms.slug}/trees/{sized}/chart.svg").text
    assert "error measured on this ground" in chart and "error assumed" not in chart
