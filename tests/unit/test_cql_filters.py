"""Compiled filters select exactly what a plain evaluator selects, from words and from JSON, on every table.

Rules: OGC 21-065r2 (CQL2), basic-cql2, advanced-comparison-operators, case-insensitive-comparison,
basic-spatial-functions and property-property; unknown values by three-valued logic.
"""

import datetime as dt
import json
import random
import sqlite3
import time

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from service.cql_filter import parsed
from service.cql_parameters import equal
from service.cql_types import checked
from service.errors import InvalidRequest
from service.layer_parts import LayerColumn, LayerFacts, LayerPart
from service.store.cql_sql import Conditions, _glob
from service.store.layer_queries import Question, matched, rows_after
from service.store.layer_tables import LayerTable, write_layer
from tests.plain_cql import text_of, truth_of, value_of

COLUMNS = (
    LayerColumn("tag", "text"),
    LayerColumn('of "file"', "text", own=False),
    LayerColumn("dbh_cm", "float"),
    LayerColumn("stems", "int"),
    LayerColumn("void", "flag"),
    LayerColumn("measured_on", "date"),
    LayerColumn("received_at", "time"),
    LayerColumn("signs", "list"),
    LayerColumn("elsewhere", "float"),  # of other sites only
)
HERE = COLUMNS[:-1]
TEXTS = ["", "a", "A", "ab", "Äb", "äB", "ß", "SS", "a%b", "a_b", "a*b", "[a]", "?", "\\", "it's", "😀", "ǅ"]
NUMBERS = [-1, 0, 1, 2, 2.5, 30, 30.5, 9007199254740993, 1e300]
DAYS = ["2019-12-31", "2020-01-01", "2020-02-29", "2021-06-15"]
TIMES = [
    "2020-01-01T00:00:00Z",
    "2020-01-01T12:30:00Z",
    "2019-12-31T23:59:59.999999Z",
    "2020-02-29T00:00:00Z",
]
SAID_TIMES = [*TIMES, "2020-01-01T02:00:00+02:00", "2020-01-01T12:30:00.5Z"]
LON, LAT = [-180.0, -179.5, 9.0, 9.5, 10.0, 179.5, 180.0], [-10.0, 47.0, 47.5, 48.0]


def rows():
    """The rows of the table: cells in the order of HERE and a point or None, every fifth cell missing."""
    draw = random.Random(3)
    said = (
        TEXTS,
        TEXTS,
        [2.5, 30.0, 30.5, 1e300],
        [0, 1, 2, 9007199254740993],
        [0, 1],
        DAYS,
        SAID_TIMES,
        ["[]"],
    )
    for _ in range(160):
        cells = tuple(draw.choice([*pool, None]) if draw.random() < 0.9 else None for pool in said)
        yield cells, (draw.choice(LON), draw.choice(LAT)) if draw.random() < 0.85 else (None, None)


ROWS = list(rows())
OUTLINES = [None if lon is None else shapely.Point(lon, lat).buffer(0.3).envelope for _, (lon, lat) in ROWS]


def facts(shape_kind, local=False):
    box = None if local else (-180.0, -10.0, 180.0, 48.0)
    return LayerFacts("trees", "here", "2026-01-01", 1, local, shape_kind, HERE, len(ROWS), box, None)


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """The same rows as points, as outlines, and as points of a ground without a place on earth."""
    folder = tmp_path_factory.mktemp("tables")
    ids, cells = list(range(1, len(ROWS) + 1)), [row for row, _ in ROWS]
    lon, lat = ([at[axis] for _, at in ROWS] for axis in (0, 1))
    outlines = shapely.from_wkb([None if one is None else shapely.to_wkb(one) for one in OUTLINES])
    made = {
        "points": (facts("Point"), LayerPart(ids, cells, lon, lat, None)),
        "outlines": (facts("MultiPolygon"), LayerPart(ids, cells, [], [], outlines)),
        "local": (facts("Point", local=True), LayerPart(ids, cells, lon, lat, None)),
    }
    for name, (about, part) in made.items():
        write_layer(folder / name, about, [part])
    return {name: LayerTable(folder / name) for name in made}


def known(row, shape):
    """A row as the plain evaluator takes it."""
    said = dict(zip([column.name for column in HERE], row, strict=True))
    said["void"] = None if said["void"] is None else bool(said["void"])
    for name, kind in (("measured_on", "date"), ("received_at", "timestamp")):
        said[name] = None if said[name] is None else value_of({kind: said[name]}, {})
    return {**said, "elsewhere": None, "geometry": shape}


def points():
    return [None if at[0] is None else shapely.Point(*at) for _, at in ROWS]


def prop(*names):
    return st.sampled_from([{"property": name} for name in names])


NUMBER = st.one_of(prop("dbh_cm", "stems", "elsewhere"), st.sampled_from(NUMBERS))
PLAIN_TEXT = st.one_of(prop("tag", 'of "file"'), st.sampled_from([text for text in TEXTS if text != "\\"]))
TEXT = st.one_of(PLAIN_TEXT, PLAIN_TEXT.map(lambda of: {"op": "casei", "args": [of]}))
TRUTH = st.one_of(prop("void"), st.booleans())
MOMENT = st.one_of(
    prop("measured_on", "received_at"),
    st.sampled_from([{"date": day} for day in DAYS]),
    st.sampled_from([{"timestamp": moment} for moment in TIMES]),
)
# a text that ends in one \\ cannot be said in words, where \\' is a quote (OGC 21-065r2, Annex B)
PATTERN = st.text("aAbÄß%%__\\*?[", max_size=4).filter(
    lambda text: (len(text) - len(text.rstrip("\\"))) % 2 == 0
)
EDGE = st.sampled_from([-180.0, -179.75, 8.9, 9.0, 9.5, 9.75, 179.5, 180.0])
UP = st.sampled_from([-20.0, 47.0, 47.4, 47.5, 60.0])
BBOX = st.tuples(EDGE, EDGE, UP, UP).map(lambda b: {"bbox": [b[0], min(b[2], b[3]), b[1], max(b[2], b[3])]})
SHAPE = st.sampled_from(
    [
        {"type": "Point", "coordinates": [9.5, 47.5]},
        {"type": "LineString", "coordinates": [[9.0, 47.0], [10.0, 48.0]]},
        {"type": "Polygon", "coordinates": [[[8.0, 46.0], [10.0, 48.0], [12.0, 46.0], [8.0, 46.0]]]},
        {"type": "MultiPoint", "coordinates": [[9.0, 47.0], [9.5, 47.5]]},
    ]
)
PLACE = {"property": "geometry"}


def operation(op, *args):
    return st.tuples(*args).map(lambda said: {"op": op, "args": list(said)})


def comparison(value):
    return st.sampled_from(["=", "<>", "<", "<=", ">", ">="]).flatmap(lambda op: operation(op, value, value))


def chosen(value):
    return operation("in", value, st.lists(value, min_size=1, max_size=3))


LEAF = st.one_of(
    *(comparison(value) for value in (NUMBER, TEXT, MOMENT)),
    *(chosen(value) for value in (NUMBER, TEXT, MOMENT, TRUTH)),
    *(operation("between", value, value, value) for value in (NUMBER, MOMENT)),
    st.sampled_from(["=", "<>"]).flatmap(lambda op: operation(op, TRUTH, TRUTH)),
    operation("like", TEXT, PATTERN),
    operation("like", TEXT, PATTERN.map(lambda said: {"op": "casei", "args": [said]})),
    operation("isNull", prop("tag", "dbh_cm", "void", "received_at", "elsewhere", "geometry")),
    operation("s_intersects", st.just(PLACE), st.one_of(BBOX, SHAPE)),
    operation("s_intersects", st.one_of(BBOX, SHAPE), st.just(PLACE)),
    TRUTH,
)
FILTER = st.recursive(
    LEAF,
    lambda inner: st.one_of(
        operation("not", inner),
        st.tuples(st.sampled_from(["and", "or"]), st.lists(inner, min_size=2, max_size=3)).map(
            lambda said: {"op": said[0], "args": said[1]}
        ),
    ),
    max_leaves=6,
)


def selected(table, node):
    question = Question(filter=checked(node, COLUMNS))
    found = [row[0] for row in rows_after(table, question, COLUMNS, None, 1000)]
    assert matched(table, question) == len(found)
    return found


@given(FILTER)
@settings(max_examples=150, deadline=None)
def test_a_filter_selects_what_a_plain_evaluator_selects(tables, said):
    shapes = {"points": points(), "outlines": OUTLINES, "local": [None] * len(ROWS)}
    nodes = [parsed(json.dumps(said), "cql2-json"), parsed(text_of(said), "cql2-text")]
    for name, table in tables.items():
        rows = [known(row, shape) for (row, _), shape in zip(ROWS, shapes[name], strict=True)]
        expected = [at for at, row in enumerate(rows, 1) if truth_of(said, row) is True]
        assert [selected(table, node) for node in nodes] == [expected, expected]


@given(BBOX)
@settings(deadline=None)
def test_a_box_asks_for_what_meets_it_and_for_what_has_no_place(tables, said):
    box = tuple(said["bbox"])
    for name, shapes in (("points", points()), ("outlines", OUTLINES), ("local", [None] * len(ROWS))):
        meets = [one is None or shapely.intersects(one, value_of(said, {})) for one in shapes]
        question = Question(box=box)
        found = [row[0] for row in rows_after(tables[name], question, COLUMNS, None, 1000)]
        assert found == [at for at, held in enumerate(meets, 1) if held]
        assert matched(tables[name], question) == len(found)


def test_a_box_that_ends_before_it_begins_holds_only_what_has_no_place(tables):
    found = [
        row[0] for row in rows_after(tables["points"], Question(box=(9, 48, 10, 47)), COLUMNS, None, 999)
    ]
    assert found == [at for at, one in enumerate(points(), 1) if one is None]


def test_what_is_not_on_earth_has_no_place(tables):
    assert {row[1:3] for row in rows_after(tables["local"], Question(), COLUMNS, None, 999)} == {(None, None)}
    assert len({row[1:3] for row in rows_after(tables["points"], Question(), COLUMNS, None, 999)}) > 10


@given(st.sampled_from([*DAYS, None]), st.sampled_from([*DAYS, None]))
@settings(deadline=None)
def test_an_interval_asks_for_days_in_it_and_for_what_has_no_day(tables, first, last):
    question = Question(time=(first, last), times=("measured_on", "measured_on"))
    days = [row[5] for row, _ in ROWS]
    held = [d is None or ((first is None or d >= first) and (last is None or d <= last)) for d in days]
    found = [row[0] for row in rows_after(tables["points"], question, COLUMNS, None, 1000)]
    assert found == [at for at, there in enumerate(held, 1) if there]


def test_a_text_that_stands_beside_a_day_is_a_day(tables):
    table = tables["points"]
    assert selected(table, parsed("measured_on >= '2020-01-01'")) == selected(
        table, parsed("measured_on >= DATE('2020-01-01')")
    )


UNFIT = {
    "nope = 1": "There is no property 'nope'",
    "tag = 5": "'tag' is a text, '5' is a number",
    "dbh_cm = 'x'": "'dbh_cm' is a number, 'x' is a text",
    "tag < 5 OR tag = 'a'": "'tag' is a text",
    "void = 1": "'void' is true or false, '1' is a number",
    "void < TRUE": "use = or <>",
    "measured_on > 'soon'": "'soon' is not an instant",
    "measured_on > 5": "is a number",
    "measured_on = DATE('2020-02-30')": "'2020-02-30' is not a day",
    "measured_on = TIMESTAMP('2020-02-30T00:00:00Z')": "is not an instant",
    "measured_on = TIMESTAMP('0001-01-01T00:00:00+14:00')": "is not an instant",
    "measured_on = INTERVAL('2020-01-01','..')": "not a value that can be compared",
    "signs IS NULL": "'signs' holds lists",
    "signs = 'a'": "'signs' holds lists",
    "CASEI(dbh_cm) = 'a'": "CASEI needs a text",
    "dbh_cm LIKE '3%'": "LIKE needs a text",
    "tag LIKE tag": "LIKE needs a pattern",
    "tag": "not true or false",
    "'a'": "not true or false",
    "tag IN ('a', 5)": "is a number",
    "dbh_cm BETWEEN 'a' AND 5": "is a text",
    "geometry = 5": "compared by S_INTERSECTS",
    "S_INTERSECTS(tag, POINT(1 2))": "needs the property 'geometry'",
    "S_INTERSECTS(geometry, geometry)": "needs the property 'geometry'",
    "S_INTERSECTS(POINT(1 2), POINT(1 2))": "needs the property 'geometry'",
    "S_INTERSECTS(geometry, BBOX(1,2,3))": "BBOX needs 4 numbers",
    "S_INTERSECTS(geometry, BBOX(1,5,3,2))": "its south (5) above its north (2)",
    "S_WITHIN(geometry, POINT(1 2))": "'s_within' is not offered",
    "T_AFTER(measured_on, DATE('2020-01-01'))": "'t_after' is not offered",
    "A_CONTAINS(signs, ('a'))": "'a_contains' is not offered",
    "ACCENTI(tag) = ACCENTI('a')": "'accenti' is not a value",
    "avg(dbh_cm) = 3": "'avg' is not a value",
    "1 IS NULL": "IS NULL is asked of a property",
}  # fmt: skip


@pytest.mark.parametrize("text", UNFIT)
def test_what_does_not_fit_the_columns_is_refused_before_sql(text):
    with pytest.raises(InvalidRequest) as refused:
        checked(parsed(text), COLUMNS)
    ((where, said),) = refused.value.faults
    assert where == "filter"
    assert UNFIT[text] in said


INJECTIONS = [
    "'; DROP TABLE feature; --",
    '" OR 1=1 --',
    "x') OR ('1'='1",
    "%' ESCAPE '",
    "a\\' OR 1=1",
    ":c0",
    "?1",
]


@pytest.mark.parametrize("text", INJECTIONS)
def test_what_is_sent_is_never_sql(tables, text):
    table = tables["points"]
    for said in (
        {"op": "=", "args": [{"property": "tag"}, text]},
        {"op": "like", "args": [{"property": "tag"}, text]},
    ):
        assert selected(table, parsed(json.dumps(said), "cql2-json")) == []
    with pytest.raises(InvalidRequest, match="There is no property"):
        checked(parsed(json.dumps({"op": "isNull", "args": [{"property": text}]}), "cql2-json"), COLUMNS)
    assert selected(table, equal(COLUMNS, "tag", text)) == []
    assert matched(table, Question()) == len(ROWS)


def test_shapes_of_another_system_are_brought_to_longitude_and_latitude(tables):
    def turned(shape):
        return shapely.transform(shape, lambda at: at[:, ::-1])

    for shape in ("BBOX(47,9,48,10)", "POLYGON((46 8, 48 10, 46 12, 46 8))"):
        node = parsed(f"S_INTERSECTS(geometry, {shape})", to_crs84=turned)
        here = parsed(f"S_INTERSECTS(geometry, {shape})".replace("47,9,48,10", "9,47,10,48").replace(
            "46 8, 48 10, 46 12, 46 8", "8 46, 10 48, 12 46, 8 46"
        ))  # fmt: skip
        assert selected(tables["points"], node) == selected(tables["points"], here) != []
    with pytest.raises(InvalidRequest, match="not on the ground"):
        parsed("S_INTERSECTS(geometry, POINT(1 2))", to_crs84=lambda _: shapely.Point(float("inf"), 0))


def test_a_pattern_may_end_in_the_sign_that_takes_as_written(tables):
    for pattern in ("\\", "\\\\"):
        said = {"op": "like", "args": [{"property": "tag"}, pattern]}
        expected = [at for at, (row, _) in enumerate(ROWS, 1) if row[0] == "\\"]
        assert selected(tables["points"], parsed(json.dumps(said), "cql2-json")) == expected != []


def test_a_pattern_of_many_runs_takes_no_long_time():
    start = time.process_time()
    pattern = _glob(parsed("a LIKE '" + "%a" * 1000 + "%b'").pattern)
    (found,) = sqlite3.connect(":memory:").execute("SELECT ? GLOB ?", ("a" * 4000, pattern)).fetchone()
    assert found == 0
    assert time.process_time() - start < 1.0


def test_a_long_list_of_values_goes_to_the_database_as_one(tables):
    said = parsed("stems IN (" + ",".join(map(str, [*range(1600), 1, 9007199254740993])) + ")")
    condition = Conditions(tables["points"]).of(checked(said, COLUMNS)).compile()
    (values,) = condition.params.values()
    assert values == [*range(1600), 9007199254740993]
    expected = [at for at, (row, _) in enumerate(ROWS, 1) if row[3] is not None]
    assert selected(tables["points"], said) == expected != []


EQUAL = {
    ("tag", "a"): [at for at, (row, _) in enumerate(ROWS, 1) if row[0] == "a"],
    ("dbh_cm", "30"): [at for at, (row, _) in enumerate(ROWS, 1) if row[2] == 30.0],
    ("dbh_cm", "3.05e1"): [at for at, (row, _) in enumerate(ROWS, 1) if row[2] == 30.5],
    ("stems", "9007199254740993"): [at for at, (row, _) in enumerate(ROWS, 1) if row[3] == 9007199254740993],
    ("stems", "9223372036854775808"): [],
    ("stems", "9" * 300): [],
    ("void", "true"): [at for at, (row, _) in enumerate(ROWS, 1) if row[4] == 1],
    ("void", "false"): [at for at, (row, _) in enumerate(ROWS, 1) if row[4] == 0],
    ("measured_on", "2020-01-01"): [at for at, (row, _) in enumerate(ROWS, 1) if row[5] == "2020-01-01"],
    ("received_at", "2020-01-01T00:00:00Z"): [
        at
        for at, (row, _) in enumerate(ROWS, 1)
        if row[6] and dt.datetime.fromisoformat(row[6]) == dt.datetime(2020, 1, 1, tzinfo=dt.UTC)
    ],
    ("elsewhere", "1"): [],
}


@pytest.mark.parametrize(("name", "text"), EQUAL)
def test_a_property_as_a_parameter_is_exact_in_its_own_type(tables, name, text):
    assert selected(tables["points"], equal(COLUMNS, name, text)) == EQUAL[name, text]


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("dbh_cm", "x"),
        ("dbh_cm", ""),
        ("dbh_cm", "nan"),
        ("dbh_cm", "inf"),
        ("dbh_cm", "1e999"),
        ("dbh_cm", "１"),
        ("stems", "1.5"),
        ("stems", "9" * 400),
        ("void", "TRUE"),
        ("void", "1"),
        ("measured_on", "2020-13-01"),
        ("measured_on", "yesterday"),
        ("received_at", "2020-01-01T25:00:00Z"),
        ("tag", "\ud800"),
        ("tag", "\x00"),
        ("signs", "[]"),
        ("geometry", "POINT(1 2)"),
        ("nope", "1"),
    ],
)
def test_a_parameter_of_another_type_is_refused_by_its_name(name, text):
    with pytest.raises(InvalidRequest) as refused:
        equal(COLUMNS, name, text)
    assert [where for where, _ in refused.value.faults] == [name]
