"""A ground in US customary units: every page speaks feet and inches and takes them; files stay metric."""

import json
import re

import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.records import TreeIn, parsed
from service.store.site_rows import create_site
from service.view import view_of
from service.web import lengths
from service.web.form import Form
from tests.web_forms import send
from tests.web_site import SLUG

LIST = """Tag,Species,Girth in,Height ft,Crown ft,Place,Lon,Lat,Measured on
1,Quercus alba,94.2,62,41.5,Meadow,-89.4001,43.0701,2021-05-14
2,Acer saccharum,48.5,12.5,12,Meadow,-89.4003,43.0702,2022-05-14
"""
HAND = {f"total_{n}": total for n, total in enumerate(("27.5", "28", "27", "28.5", "28"), start=1)}
METRIC = re.compile(r"\d\s?m\b|\bmet(?:re|er)s?\b|\d\s?cm\b|\bhectares\b|\d\s?ha\b")
ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
CHOICE_OF_UNITS = re.compile(r"centimetres, hectares|\(\d\.\d\d m\)|inches were typed as centimetres")


@pytest.fixture
def view(store, tmp_path):
    terms = {"name": "Lakeside", "country": "US", "units": "us", "breast_height_m": 1.3716}
    create_site(store, SLUG, actor=LOCAL_MANAGER, time_zone="America/Chicago", **terms)
    path = tmp_path / "trees.csv"
    path.write_text(LIST, encoding="utf-8")
    assert import_file(store, path, SLUG, ImportOptions(), LOCAL_MANAGER).refused == 0
    return now(store)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def first(view):
    return view.trees.sort_values("fid").iloc[0].tree_id


def text_of(page):
    """What a reader sees, and what fields are filled in with."""
    page = re.sub(r"<script.*?</script>|<option.*?</option>", " ", page, flags=re.DOTALL)
    typed = " ".join(re.findall(r'<input type="text"[^>]*value="([^"]*)"', page))
    return re.sub(r"<[^>]+>", " ", page) + " " + typed


@pytest.fixture
def busy(client, store, view):
    """The ground with readings at two heights, sights, heights, areas and something underneath."""
    tree = first(view)
    for height in ("4 ft 6 in", "2 ft"):
        send(client, f"/trees/{tree}/measure", value="94.5", height_m=height, measured_on="2023-06-01")
    send(client, f"/trees/{tree}/measure", value="95", height_m="3 ft 2 in", measured_on="2024-06-01")
    send(client, "/hands", crew="5b", calibrated_on="2024-05-01", unit="in", **HAND)
    send(client, f"/trees/{tree}/note", height_m="63", crown_diameter_m="41 ft 6 in", seen="fresh crack")
    edge = "-89.401 43.069\n-89.399 43.069\n-89.399 43.071\n-89.401 43.071"
    send(
        client,
        "/areas/new",
        name="All",
        kind="boundary",
        use="every day",
        corners=edge,
        counting_limit_cm="4",
    )
    send(client, "/targets/new", name="Path", corners="-89.4008 43.0702\n-89.4 43.0702")
    send(client, f"/trees/{tree}/edit", position_accuracy_m="12")
    return now(store)


PAGES = (
    *("", "/figures", "/trees", "/flags?kind=all", "/sheets", "/ground", "/data", "/grid", "/terms"),
    *("/trees/new", "/areas/new", "/targets/new", "/plans/new", "/inspections/new", "/undo"),
    *("/trees/{tree}", "/trees/{tree}/measure", "/trees/{tree}/note", "/trees/{tree}/edit"),
    *("/growth?since=2022-01-01", "/check", "/model", "/rounds", "/hands", "/trees/{tree}/code?height_m=2"),
    *("/how?of=tree:{tree}", "/how?of=tree:{tree}:growth_cm_per_yr", "/how?of=tree:{tree}:basal_area_m2"),
    *("/how?of=figure:site:basal_area_m2", "/how?of=figure:site:stems_per_ha"),
)


def test_no_page_speaks_metres_or_iso_days(client, busy):
    found = {}
    for path in PAGES:
        answer = client.get(f"/sites/{SLUG}{path}".replace("{tree}", first(busy)))
        assert answer.status_code == 200
        said = CHOICE_OF_UNITS.sub(" ", text_of(answer.text))
        left = METRIC.findall(said) + ISO_DAY.findall(said)
        if left:
            found[path] = left
    assert found == {}


def test_the_map_says_sizes_in_the_words_of_the_tree_s_page(client, busy):
    tree = first(busy)
    page = text_of(client.get(f"/sites/{SLUG}/trees/{tree}").text)
    document = client.get(f"/sites/{SLUG}/map.json").get_json()
    at = document["trees"]["tree_id"].index(tree)

    def cell(name):
        column = document["trees"][name]
        return column["values"][column["codes"][at]]

    assert cell("measured_as") == "95 in round, at 3 ft 2 in, tape round the trunk"
    assert "95 in round, at 3 ft 2 in" in page
    assert cell("height_source") in page
    assert document["trees"]["height_m"][at] / 0.3048 == pytest.approx(63, abs=0.002)
    evidence = [
        document["flags"]["evidence"]["values"][code] for code in document["flags"]["evidence"]["codes"]
    ]
    assert METRIC.findall(" ".join(evidence)) == []


def test_files_stay_metric(client, busy):
    row = client.get(f"/sites/{SLUG}/layers/trees.csv").text
    assert "height_m" in row and "at 0.9652 m" in row
    found = json.loads(client.get(f"/sites/{SLUG}/layers/trees.geojson").text)["features"]
    tall = {each["properties"]["tag"]: each["properties"]["height_m"] for each in found}
    assert tall["1"] == pytest.approx(63 * 0.3048)
    assert tall["2"] == pytest.approx(12.5 * 0.3048)


@pytest.mark.parametrize("typed", ["24", "54", "6"])
def test_a_height_without_a_unit_that_no_trunk_is_measured_at_in_feet_asks_for_it(client, store, view, typed):
    sent = send(client, f"/trees/{first(view)}/measure", value="95", height_m=typed, measured_on="2024-06-01")
    assert sent.status == 422
    assert "in inches or in feet?" in sent.faults["height_m"]
    assert len(now(store).records.readings) == len(view.records.readings)
    sent = send(client, f"/trees/{first(view)}/measure", value="95", height_m=f"{typed} in")
    assert sent.status == 303
    assert now(store).records.readings["height_m"].iloc[-1] == pytest.approx(float(typed) * 0.0254)


def test_heights_are_taken_in_feet_and_inches_and_kept_in_metres(client, store, busy):
    tree, readings = first(busy), busy.records.readings
    assert readings["height_m"].iloc[-1] == pytest.approx(38 * 0.0254)
    for typed, metres in (
        ("4.5", 1.3716),
        ("4' 6\"", 1.3716),
        ("54 in", 1.3716),
        ("1.3 m", 1.3),
        ("130 cm", 1.3),
    ):
        send(client, f"/trees/{tree}/measure", value="95", height_m=typed, measured_on="2025-06-01")
        assert now(store).records.readings["height_m"].iloc[-1] == pytest.approx(metres)
    too_high = send(client, f"/trees/{tree}/measure", value="95", height_m="54")
    assert "4 ft 6 in" in too_high.faults["height_m"]
    nonsense = send(client, f"/trees/{tree}/measure", value="95", height_m="breast")
    assert "breast was not understood" in nonsense.faults["height_m"]


def test_a_height_that_was_left_as_shown_comes_back_exactly(client, store, busy):
    tree = first(busy)
    send(client, f"/trees/{tree}/measure", value="95", height_m="1.3 m", measured_on="2025-06-01")
    reading = now(store).records.readings.iloc[-1]
    sent = send(client, f"/readings/{reading.reading_id}/correct", value="96", reason="slip")
    assert sent.status == 303
    corrected = now(store).records.readings.iloc[-1]
    assert (corrected["value"], corrected["height_m"]) == (96, 1.3)
    again = send(client, f"/trees/{tree}/measure", value="97")
    assert again.status == 303 and now(store).records.readings.iloc[-1]["height_m"] == 1.3


def test_a_height_in_feet_is_kept_as_it_was_said(busy):
    seen = busy.records.observations
    told = {seen.what: (seen.value, seen.unit) for seen in seen.tail(3).itertuples()}
    assert told["height"] == (63, "ft")
    assert told["crown diameter"] == (pytest.approx(41.5 * 0.3048), "m")


def test_areas_are_taken_in_acres_and_limits_in_inches(client, store, view):
    send(client, "/areas/new", name="Lot", typed_area_ha="2.5", area_source="deed", counting_limit_cm="4")
    area = now(store).records.areas.iloc[-1]
    assert area["typed_area_ha"] == pytest.approx(2.5 * 0.40468564224, abs=1e-6)
    assert area["counting_limit_cm"] == pytest.approx(10.16)
    page = client.get(f"/sites/{SLUG}/areas/{area['area_id']}/edit").text
    assert 'name="typed_area_ha" value="2.5"' in page and 'name="counting_limit_cm" value="4"' in page


def test_positions_of_a_local_ground_are_taken_in_feet(client, store):
    terms = {"name": "Yard", "units": "us", "breast_height_m": 1.3716, "frame": "local"}
    create_site(store, SLUG, actor=LOCAL_MANAGER, time_zone="UTC", **terms)
    made = add_trees(store, SLUG, LOCAL_MANAGER, [parsed(TreeIn, {"tag": "1", "stems": 1})])
    send(client, f"/trees/{made[0]}/edit", x_m="100", y_m="-20.5", position_source="two tapes")
    tree = now(store).records.trees.iloc[0]
    assert (tree["x_m"], tree["y_m"]) == pytest.approx((30.48, -6.2484))
    assert "100.00 ft, -20.50 ft" in client.get(f"/sites/{SLUG}/trees/{made[0]}").text
    send(client, "/areas/new", name="Lot", corners="0 0\n100 0\n100 100\n0 100")
    assert now(store).records.areas["geometry"].iloc[0].area == pytest.approx(30.48**2)


@pytest.mark.parametrize("kind", ["measuring", "height", "width", "ground"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_what_a_form_shows_it_takes_back(app, kind, units):
    with app.test_request_context("/"):
        for metric in (0.9652, 1.3, 1.3716, 9.87654):
            form = Form({"x": lengths.shown(metric, units, kind)})
            assert lengths.typed(form, "x", units, metric, kind=kind) == metric
            apart = abs(lengths.typed(form, "x", units, kind=kind) - metric)
            assert apart <= (0.00128 if (units, kind) == ("us", "measuring") else 5e-6)
            assert form.faults == {}


def test_sheets_say_and_take_feet_and_inches(client, busy):
    zone = busy.records.places["id"].iloc[0]
    address = f"/sites/{SLUG}/sheets.pdf?zone={zone}&unit=in&instrument=girth+tape&crew_kind=volunteers"
    assert client.get(f"{address}&height_m=4+ft+6+in").data.startswith(b"%PDF")
    assert client.get(f"{address}&height_m=breast").status_code == 400
