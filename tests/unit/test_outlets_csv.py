import csv
import io
import json

import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from layers import columns
from service.outlets.csv_out import ROWS_A_PIECE, csv_pieces
from service.outlets.formula_guard import guarded, restored
from service.outlets.layer_rows import LAYERS
from tests.builders import frame_of, make_site
from tests.outlet_view import HOSTILE, SQUARE, areas_frame, layer_of, leaving_tree, make_view, site_records

STARTS = "=+-@\t\0"  # OWASP ASVS 5.0.0, requirement 1.2.10


def table(view, layer):
    text = b"".join(csv_pieces(layer_of(view, layer))).decode("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


@pytest.mark.parametrize("layer", LAYERS)
def test_every_layer_has_a_header_and_as_many_cells_in_every_row(layer):
    rows = table(make_view(), layer)
    assert rows
    for row in rows:
        assert None not in row
        assert None not in row.values()


def test_trees_carry_every_word_of_the_nomenclature_then_the_kept_columns():
    row = table(make_view(), "trees")[0]
    assert list(row) == [*columns.names("trees"), "Pflege", "Status (as written)"]
    assert row["dbh_cm"] == "31.830988618379067"
    assert (row["lon_deg"], row["lat_deg"]) == ("9.17", "47.66")
    assert json.loads(row["signs"]) == ["dead branch"]
    assert row["height_m"] == ""


def test_figures_carry_lists_as_json():
    whole, yard, _ = table(make_view(), "figures")
    assert json.loads(whole["size_classes"]) == [{"from_cm": 0, "to_cm": 10, "stems": 1}]
    assert json.loads(yard["why"]) == {"shannon": "one species only"}
    assert whole["area_id"] == ""


def test_a_local_ground_leaves_in_metres():
    trees = frame_of("trees", [leaving_tree(lon_deg=float("nan"), lat_deg=float("nan"), x_m=1.25, y_m=-3.5)])
    row = table(make_view(terms=make_site(frame="local"), trees=trees), "trees")[0]
    assert (row["x_m"], row["y_m"], row["lon_deg"]) == ("1.25", "-3.5", "")


def test_outlines_leave_as_text_and_come_back_exactly():
    assert shapely.from_wkt(table(make_view(), "areas")[0]["geometry"]).equals(SQUARE)
    odd = shapely.Polygon([(0.1 + 0.2, 0), (1 / 3, 1), (2 / 3, 0.7)])
    row = table(make_view(areas=areas_frame(geometry=odd)), "areas")[0]
    assert list(shapely.from_wkt(row["geometry"]).exterior.coords) == list(odd.exterior.coords)


def test_no_cell_of_a_tree_can_be_run_by_a_spreadsheet():
    row = table(make_view(), "trees")[1]
    assert row["tag"] == f"'{HOSTILE}"


def test_a_header_that_a_file_brought_cannot_be_run_by_a_spreadsheet():
    records = site_records()
    records.trees["kept"] = [{"=1+1": "x"}, {}]
    assert "'=1+1" in table(make_view(records=records), "trees")[0]


def test_flags_that_are_words_are_true_or_false():
    assert {row["void"] for row in table(make_view(), "readings")} == {"false"}


def test_many_rows_leave_in_pieces_none_lost():
    rows = [leaving_tree(tree_id=f"t{n}", fid=n) for n in range(1, ROWS_A_PIECE + 2)]
    view = make_view(trees=frame_of("trees", rows))
    assert len(list(csv_pieces(layer_of(view, "trees")))) == 3
    assert [row["fid"] for row in table(view, "trees")] == [str(n) for n in range(1, ROWS_A_PIECE + 2)]


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("before", ["", " ", "  \u00a0", "\n"])
def test_text_that_would_run_gets_a_quote_before_it(before, start):
    text = f"{before}{start}cmd"
    assert guarded(text) == f"'{text}"


@pytest.mark.parametrize("number", ["-0.12", "+5", "-3", "-1.5e-05", "-.5", "+2."])
def test_real_numbers_are_left_alone(number):
    assert guarded(number) == number


@pytest.mark.parametrize("text", ["-1+1", "+49 7531 1", "-", "--5", "-0.12 m", "@SUM(A1)", "\r=1", "＝1"])
def test_what_only_looks_like_a_number_is_not(text):
    assert guarded(text) == f"'{text}"


@pytest.mark.parametrize("text", ["Tilia cordata", "3x10", "'t Hof", "O'Neill", "", "240 - 184", "1=2"])
def test_plain_text_stays_as_it_is(text):
    assert guarded(text) == text
    assert restored(text) == text


@given(st.text(alphabet=st.sampled_from("'=+-@ \t\r\n05.aé＝\0"), max_size=8))
@example("'=1")
@example("''-0.5")
@example("'-0.12")
@example("'-5")
def test_text_comes_back_as_it_was(text):
    assert restored(guarded(text)) == text


@given(st.text(max_size=12))
def test_any_text_comes_back_as_it_was(text):
    assert restored(guarded(text)) == text
