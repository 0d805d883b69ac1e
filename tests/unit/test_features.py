"""Collections: pages that neither miss nor double while others edit, orders, tokens, columns, extents.

The rules of bbox, datetime, limit and numberMatched: OGC 17-069r4 (OGC API - Features - Part 1), 7.15.
"""

import base64
import datetime as dt
import random
from functools import cmp_to_key

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service import features
from service.actors import LOCAL_MANAGER, Actor
from service.cql_filter import parsed
from service.edit import add_trees, cross_out, edit_tree
from service.editions import Edition, edition
from service.errors import InvalidRequest, NotFound, NotPermitted
from service.feature_kinds import COLLECTIONS, collection_of, queryable
from service.feature_questions import Asked, By
from service.feature_tokens import Place, place_of, token_of
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.layer_parts import LayerColumn, LayerFacts, LayerPart
from service.store.layer_tables import LayerTable, write_layer
from service.store.migrating import open_store
from service.store.site_rows import create_site
from service.view import view_of
from tests.web_site import make_web_site

TREES = COLLECTIONS["trees"]


def ask(store, collection=TREES, **asked):
    return features.items(store, LOCAL_MANAGER, collection, Asked(**asked))


def ids_of(items):
    return [fid for part in items.parts for fid in part.ids]


def walked(page, **asked):
    """Every id of all pages, and how often ``numberMatched`` was something else than on the first."""
    items = page(**asked)
    ids, matched = ids_of(items), items.matched
    while items.next is not None:
        items = page(**{**asked, "after": items.next})
        assert items.matched == matched
        assert 1 <= items.returned == len(ids_of(items)) <= asked["limit"]
        ids += ids_of(items)
    assert len(ids) == matched
    return ids


def make_two(store, folder):
    """Two grounds with 24 and 7 trees."""
    for slug, trees in (("yard", 24), ("alley", 7)):
        (folder / slug).mkdir()
        make_web_site(store, folder / slug, slug, trees)
    return store


@pytest.fixture
def edited_sites(store, tmp_path):
    """The two grounds, to be changed."""
    return make_two(store, tmp_path)


@pytest.fixture(scope="module")
def two_sites(tmp_path_factory):
    """The two grounds, only to be asked."""
    folder = tmp_path_factory.mktemp("two")
    store = open_store(str(folder / "s.sqlite"))
    yield make_two(store, folder)
    store.close()


def test_pages_go_through_site_after_site_by_feature_number(two_sites):
    expected = [
        int(fid)
        for slug in ("alley", "yard")
        for fid in sorted(view_of(two_sites, slug, LOCAL_MANAGER).records.trees["fid"])
    ]
    for limit in (1, 6, 7, 8, 24, 31, 1000):
        assert walked(lambda **asked: ask(two_sites, **asked), limit=limit) == expected
    assert ids_of(ask(two_sites, site="yard")) == expected[7:]
    assert ask(two_sites, site="nowhere").matched == 0


def test_what_nobody_changed_is_neither_missed_nor_doubled_while_others_edit(edited_sites):
    before = walked(lambda **asked: ask(edited_sites, **asked), limit=5)
    records = view_of(edited_sites, "yard", LOCAL_MANAGER).records.trees
    gone = [records["tree_id"].iloc[at] for at in (0, 10, 20)]
    edited = records["tree_id"].iloc[12]
    seen, token, step = [], None, 0
    while True:
        items = ask(edited_sites, limit=5, after=token)
        seen += ids_of(items)
        if items.next is None:
            break
        token, step = items.next, step + 1
        if step <= len(gone):
            cross_out(edited_sites, "yard", LOCAL_MANAGER, "tree", gone[step - 1], 1)
            tree = {
                "tag": f"new {step}",
                "name_as_written": "Tilia cordata",
                "lon_deg": 9.17,
                "lat_deg": 47.66,
            }
            add_trees(edited_sites, "alley", LOCAL_MANAGER, [tree])
        if step == 4:
            edit_tree(
                edited_sites, "yard", LOCAL_MANAGER, edited, 1, {"tag": "other", "name_as_written": "Acer"}
            )
    touched = set(records.loc[records["tree_id"].isin(gone), "fid"])
    assert len(seen) == len(set(seen))
    assert [fid for fid in before if fid not in touched] == [
        fid for fid in seen if fid in before and fid not in touched
    ]


def test_every_feature_has_every_property_of_all_sites_with_the_words_first(edited_sites):
    columns = features.properties(edited_sites, LOCAL_MANAGER, TREES)
    names = [column.name for column in columns]
    assert len(set(names)) == len(names)
    assert [column.own for column in columns] == sorted((column.own for column in columns), reverse=True)
    assert {"lon_deg", "lat_deg", "x_m", "y_m", "geometry"}.isdisjoint(names)
    (brought,) = [column for column in columns if not column.own]
    assert (brought.name, brought.kind) == ("Contract <b>{{7*7}}</b>", "text")
    items = ask(edited_sites, site="alley", limit=3)
    assert items.columns == columns
    assert {len(row) for part in items.parts for row in part.rows} == {len(names)}
    create_site(edited_sites, "bare", actor=LOCAL_MANAGER)
    add_trees(edited_sites, "bare", LOCAL_MANAGER, [{"tag": "1", "lon_deg": 9.0, "lat_deg": 47.0}])
    (row,) = ask(edited_sites, site="bare").parts[0].rows
    assert (row[names.index("tag")], row[names.index(brought.name)]) == ("1", None)


@pytest.mark.parametrize("name", COLLECTIONS)
def test_an_empty_store_has_the_words_of_the_nomenclature_and_no_features(store, name):
    collection = collection_of(name)
    columns = features.properties(store, LOCAL_MANAGER, collection)
    assert len(columns) > 5
    assert all(column.own for column in columns)
    assert {"site", *(collection.times or ())} <= {column.name for column in columns}
    items = ask(store, collection, order=(By(columns[0].name),), time=("2020-01-01", None), box=(0, 0, 1, 1))
    assert (items.matched, items.returned, items.parts, items.next) == (0, 0, [], None)
    extent = features.extent(store, LOCAL_MANAGER, collection)
    assert (extent.box, extent.time) == (None, (None, None))
    with pytest.raises(NotFound):
        features.item(store, LOCAL_MANAGER, collection, 1)


@pytest.mark.parametrize("name", COLLECTIONS)
def test_every_feature_is_found_by_its_number(two_sites, name):
    collection = COLLECTIONS[name]
    items = ask(two_sites, collection, limit=40)
    assert bool(items.parts) == (name not in ("areas", "targets"))
    for part in items.parts:
        for at in (0, len(part.ids) - 1):
            one = features.item(two_sites, LOCAL_MANAGER, collection, part.ids[at])
            assert (one.parts[0].ids, one.parts[0].rows) == ([part.ids[at]], [part.rows[at]])
    for fid in (-1, 2**62, 2**70):
        with pytest.raises(NotFound):
            features.item(two_sites, LOCAL_MANAGER, collection, fid)


def test_figures_are_those_of_the_day_that_is_asked(two_sites):
    figures = COLLECTIONS["figures"]
    today = ask(two_sites, figures)
    at = [column.name for column in today.columns].index("as_of")
    (day,) = {row[at] for part in today.parts for row in part.rows}

    def days(**asked):
        return {row[at] for part in ask(two_sites, figures, **asked).parts for row in part.rows}

    assert days(time=("2024-06-01", "2024-06-01")) == {"2024-06-01"}
    assert days(time=("2020-01-01", "2024-06-01")) == {"2024-06-01"}
    assert days(time=(None, "2024-06-01")) == {"2024-06-01"}
    assert days(time=("2020-01-01", None)) == days(time=("2020-01-01", "2999-01-01")) == {day}
    assert days(time=("2999-01-01", None)) == days(time=("2999-01-01", "2999-01-02")) == set()
    assert days(as_of="2024-06-01") == {"2024-06-01"}
    assert days(as_of="2024-06-01", time=("2025-01-01", None)) == set()


def test_the_tag_changes_with_the_question_and_with_every_change(edited_sites):
    first = ask(edited_sites, limit=5)
    assert ask(edited_sites, limit=5).tag == first.tag
    assert ask(edited_sites, limit=6).tag != first.tag
    shapes = [parsed(f"S_INTERSECTS(geometry, POLYGON((9 47, 9.5 48, 10 4{at}, 9 47)))") for at in (6, 7)]
    assert ask(edited_sites, filter=shapes[0]).tag != ask(edited_sites, filter=shapes[1]).tag
    add_trees(edited_sites, "alley", LOCAL_MANAGER, [{"tag": "new", "lon_deg": 9.17, "lat_deg": 47.66}])
    assert ask(edited_sites, limit=5).tag != first.tag
    assert ask(edited_sites, limit=5).matched == first.matched + 1


def test_the_tag_changes_when_another_site_brings_a_property(edited_sites, tmp_path):
    def answers():
        one = features.item(edited_sites, LOCAL_MANAGER, TREES, fid)
        return [(each.tag, len(each.columns)) for each in (ask(edited_sites, site="yard"), one)]

    fid = ids_of(ask(edited_sites, site="yard", limit=1))[0]
    before = answers()
    (tmp_path / "more.csv").write_text("tag,Colour of bark\nx1,grey\n")
    import_file(edited_sites, tmp_path / "more.csv", "alley", ImportOptions(), LOCAL_MANAGER)
    for (tag, columns), (new_tag, new_columns) in zip(before, answers(), strict=True):
        assert (new_columns, new_tag == tag) == (columns + 1, False)


def test_today_can_be_asked_by_many_at_once_after_many_other_days(two_sites):
    flags = COLLECTIONS["flags"]
    first = ask(two_sites, flags)
    for day in range(1, 8):
        ask(two_sites, flags, as_of=f"2025-01-0{day}")
    table = edition(two_sites, "yard", LOCAL_MANAGER, "flags").table
    with table.connect() as one, table.connect() as other:
        counted = [who.exec_driver_sql("SELECT count(*) FROM feature").scalar() for who in (one, other)]
    assert counted == [table.facts.rows] * 2
    assert ids_of(ask(two_sites, flags)) == ids_of(first)


def test_who_may_not_look_sees_no_collection(two_sites):
    crew = Actor("crew", "of a round")
    with pytest.raises(NotPermitted):
        features.items(two_sites, crew, TREES, Asked())
    with pytest.raises(NotPermitted):
        features.properties(two_sites, crew, TREES)


def test_an_unknown_collection_is_not_found():
    with pytest.raises(NotFound):
        collection_of("tasks")


def test_extents_hold_every_feature_and_go_across_180_degrees():
    covering = features.covering
    assert covering([]) is None
    assert covering([(1, 2, 3, 4)]) == (1, 2, 3, 4)
    assert covering([(1, 2, 3, 4), (2, 1, 5, 3)]) == (1, 1, 5, 4)
    assert covering([(-179, 0, -178, 1), (178, 2, 179, 3)]) == (178, 0, -178, 3)
    assert covering([(-100, 0, -90, 1), (10, 2, 20, 3)]) == (-100, 0, 20, 3)
    assert covering([(-100, 0, -90, 1), (150, 2, 160, 3)]) == (150, 0, -90, 3)


@given(st.lists(st.tuples(*[st.floats(-180, 180)] * 2, *[st.floats(-90, 90)] * 2), min_size=1, max_size=6))
def test_a_covering_box_holds_every_box(said):
    boxes = [(min(a, b), min(c, d), max(a, b), max(c, d)) for a, b, c, d in said]
    west, south, east, north = features.covering(boxes)

    def held(lon):
        return west <= lon <= east if west <= east else lon >= west or lon <= east

    for box in boxes:
        assert south <= box[1] <= box[3] <= north
        assert all(held(lon) for lon in (box[0], (box[0] + box[2]) / 2, box[2]))


def test_extents_come_from_what_is_there(two_sites):
    extent = features.extent(two_sites, LOCAL_MANAGER, TREES)
    west, south, east, north = extent.box
    items = ask(two_sites)
    for part in items.parts:
        for lon, lat in zip(part.lon, part.lat, strict=True):
            assert west <= lon <= east and south <= lat <= north
    assert extent.time == ("2024-05-14", None)


COLUMNS = (
    LayerColumn("site", "text"),
    LayerColumn("tag", "text"),
    LayerColumn("dbh_cm", "float"),
    LayerColumn("stems", "int"),
    LayerColumn("void", "flag"),
    LayerColumn("received_at", "time"),
)
POOLS = (
    ["b", "B", "ä", "a", "", "😀", None],
    [1.5, 30.0, 2.0, None],
    [1, 2, 9007199254740993, None],
    [0, 1, None],
    ["2020-01-01T00:00:00Z", "2020-01-01T01:30:00+02:00", "2019-12-31T23:30:00.5Z", None],
)


@pytest.fixture(scope="module")
def editions(tmp_path_factory):
    """Three sites of very different size whose values are often the same, and every row with its site."""
    folder, draw, made, rows = tmp_path_factory.mktemp("orders"), random.Random(5), [], []
    for site, size in (("a", 40), ("b", 0), ("c", 3), ("d", 60)):
        ids = sorted(draw.sample(range(1, 500), size))
        cells = [(site, *(draw.choice(pool) for pool in POOLS)) for _ in ids]
        facts = LayerFacts("trees", site, "2026-01-01", 1, False, "Point", COLUMNS, size, None, None)
        lon, lat = [9.0] * size, [47.0] * size
        write_layer(folder / site, facts, [LayerPart(ids, cells, lon, lat, None)])
        made.append(Edition(None, site, LayerTable(folder / site)))
        rows += [(fid, *row) for fid, row in zip(ids, cells, strict=True)]
    return made, rows


def in_order(rows, order):
    """The rows as they have to come: by the values, missing ones last, then by site and number."""
    names = [column.name for column in COLUMNS]

    def value(row, name):
        said = row[1 + names.index(name)]
        return moment(said) if name == "received_at" else said

    def compared(one, other):
        for by in order:
            a, b = value(one, by.name), value(other, by.name)
            if a is None or b is None:
                if (a is None) != (b is None):
                    return 1 if a is None else -1
            elif a != b:
                return (1 if a > b else -1) * (-1 if by.descending else 1)
        return 1 if (one[1], one[0]) > (other[1], other[0]) else -1

    return sorted(rows, key=cmp_to_key(compared))


def moment(text):
    return None if text is None else dt.datetime.fromisoformat(text)


ORDERS = st.lists(
    st.builds(By, st.sampled_from([column.name for column in COLUMNS]), st.booleans()), max_size=3
).map(tuple)


@given(ORDERS, st.integers(1, 50), st.sampled_from([None, "dbh_cm > 2", "void", "NOT tag = 'a'"]))
@settings(max_examples=60, deadline=None)
def test_any_order_is_that_of_all_sites_together_page_after_page(editions, order, limit, condition):
    made, rows = editions
    keeps = {
        None: lambda row: True,
        "dbh_cm > 2": lambda row: row[3] is not None and row[3] > 2,
        "void": lambda row: row[5] == 1,
        "NOT tag = 'a'": lambda row: row[2] is not None and row[2] != "a",
    }
    expected = in_order([row for row in rows if keeps[condition](row)], order)
    node = None if condition is None else parsed(condition)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(features, "_editions", lambda *asked: made)
        patch.setattr(features, "_columns", lambda *asked: COLUMNS)
        found = walked(lambda **asked: ask(None, **asked), limit=limit, order=order, filter=node)
    assert found == [row[0] for row in expected]


MANGLED = {
    "nonsense": "!!",
    "empty": "",
    "no base64": "A",
    "no JSON": base64.urlsafe_b64encode(b"[1,").decode().rstrip("="),
    "no list": base64.urlsafe_b64encode(b'{"a":1}').decode().rstrip("="),
    "other letters": "é",
    "lone surrogate": "\ud800",
    "padding": token_of(Place("a", 1)) + "==",
    "of another order": token_of(Place("a", 1, (2.0, 3.0))),
    "no order": token_of(Place("a", 1)),
    "text for a number": token_of(Place("a", 1, ("x",))),
    "truth for a number": token_of(Place("a", 1, (True,))),
    "list": base64.urlsafe_b64encode(b'["a",1,[1]]').decode().rstrip("="),
    "number for a site": base64.urlsafe_b64encode(b"[1,1,2.0]").decode().rstrip("="),
    "text for a number of a feature": base64.urlsafe_b64encode(b'["a","1",2.0]').decode().rstrip("="),
    "number without end": base64.urlsafe_b64encode(b'["a",9223372036854775808,2.0]').decode().rstrip("="),
    "NUL": base64.urlsafe_b64encode(b'["a\\u0000",1,2.0]').decode().rstrip("="),
}  # fmt: skip


@pytest.mark.parametrize("token", MANGLED)
def test_a_mangled_token_is_refused(two_sites, token):
    with pytest.raises(InvalidRequest) as refused:
        ask(two_sites, order=(By("dbh_cm"),), after=MANGLED[token])
    assert [where for where, _ in refused.value.faults] == ["token"]


@given(st.binary(max_size=40))
def test_no_bytes_make_a_token_that_breaks_anything(data):
    token = base64.urlsafe_b64encode(data).decode().rstrip("=")
    try:
        place = place_of(token, ["float"])
    except InvalidRequest:
        return
    assert place_of(token_of(place), ["float"]) == place


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        ({"order": (By("nope"),)}, "sortby"),
        ({"order": (By("signs"),)}, "sortby"),
        ({"order": (By("geometry"),)}, "sortby"),
        ({"order": (By("tag"),) * 9}, "sortby"),
        ({"equals": {"nope": "1"}}, "nope"),
        ({"equals": {"signs": "1"}}, "signs"),
        ({"equals": {"dbh_cm": "thick"}}, "dbh_cm"),
        ({"as_of": "soon"}, "as_of"),
    ],
)
def test_what_does_not_fit_is_refused_by_the_name_of_its_parameter(two_sites, asked, where):
    with pytest.raises(InvalidRequest) as refused:
        ask(two_sites, **asked)
    assert [name for name, _ in refused.value.faults] == [where]


def test_conditions_hold_together(two_sites):
    columns = [column for column in features.properties(two_sites, LOCAL_MANAGER, TREES) if queryable(column)]
    assert "signs" not in {column.name for column in columns}
    both = ask(two_sites, equals={"place": "Front yard"}, filter=parsed("dbh_cm > 30"), site="yard")
    names = [column.name for column in both.columns]
    every = ask(two_sites, site="yard").parts[0]
    place, dbh = names.index("place"), names.index("dbh_cm")
    expected = [
        fid
        for fid, row in zip(every.ids, every.rows, strict=True)
        if row[place] == "Front yard" and row[dbh] is not None and row[dbh] > 30
    ]
    assert ids_of(both) == expected != []
    assert both.matched == len(expected)
