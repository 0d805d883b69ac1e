"""Filters in words: against the library `cql2` where that can read them, and endless and odd texts."""

import json
import time

import cql2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.cql_filter import MAX_LENGTH, parsed
from service.cql_text import MAX_DEPTH, from_text
from service.errors import InvalidRequest

# In the manner of the examples of OGC 21-065r2 (CQL2), sections 6.5 to 7.6, each class of it once or more.
READ_ALIKE = [
    "vehicle_height > 5",
    "avg(windSpeed) < 4",
    "city = 'Toronto'",
    "balance > 0",
    "updated >= DATE('1999-11-05')",
    "updated >= TIMESTAMP('2020-02-11T12:00:00Z')",
    "geophys:SURVEY_DATE IS NULL",
    "geophys:SURVEY_DATE IS NOT NULL",
    "eo:cloud_cover BETWEEN 0.1 AND 0.2",
    "eo:cloud_cover NOT BETWEEN 0.1 AND 0.2",
    "mission_name LIKE 'Smi\\\\th%'",
    "name NOT LIKE 'Smi_h%'",
    "cityName IN ('Toronto','Frankfurt','Tokyo','New York')",
    "category NOT IN (1,2,3,4)",
    "CASEI(road_class) IN (CASEI('Οδος'),CASEI('Straße'))",
    "CASEI(name) LIKE CASEI('FOO%')",
    "swimming_pool = TRUE AND (floors > 5 OR material LIKE 'brick%' OR material LIKE '%brick')",
    "(floors > 5 AND material = 'brick') OR swimming_pool = true",
    "NOT (floors < 5) OR swimming_pool = true",
    "swimming_pool",
    "NOT swimming_pool AND TRUE",
    "S_INTERSECTS(geometry, POINT(36.319836 32.288087))",
    "S_INTERSECTS(geometry, BBOX(-128.098193, -1.1, -99999.0, 180.0))",
    "S_INTERSECTS(geometry, POLYGON((43.7845 -79.4805, 43.3 -79.1, 43.4 -79.2, 43.7845 -79.4805)))",
    "S_INTERSECTS(geometry, LINESTRING(43.7 -79.2, 43.3 -79.4))",
    "\"property name\" = 'it''s' AND ''='\"'",
    "a = -5 AND c > +5 AND b < 1.5e3 and c > -0.25E-2",
    "'x' = a",
    "a <> b Or c!=d",
    "not not not a",
    "Straße = 'é' AND ναι = 'ь'",
]  # fmt: skip


@pytest.mark.parametrize("text", READ_ALIKE)
def test_filters_of_the_standard_are_read_as_the_library_reads_them(text):
    assert from_text(text) == cql2.parse_text(text).to_json()


def test_a_quote_in_a_text_is_written_in_both_ways_of_the_grammar():
    # OGC 21-065r2, Annex B: escapeQuote = "''" / "\'"
    assert from_text("a = 'it''s'") == from_text(r"a = 'it\'s'") == {
        "op": "=", "args": [{"property": "a"}, "it's"]
    }  # fmt: skip


def test_numbers_are_kept_whole_beyond_what_a_float_can_hold():
    assert from_text("a = 9007199254740993")["args"][1] == 9007199254740993


def test_the_draft_language_has_a_like_without_regard_to_case():
    assert parsed("a ILIKE 'x%'", "cql-text") == parsed("CASEI(a) LIKE CASEI('x%')")
    assert parsed("a NOT ILIKE 'x%'", "cql-text") == parsed("CASEI(a) NOT LIKE CASEI('x%')")
    with pytest.raises(InvalidRequest):
        parsed("a ILIKE 'x%'", "cql2-text")


FAULTY = {
    "": "at the end",
    "a =": "at the end",
    "a = 1 AND": "at the end",
    "a = 1; DROP TABLE feature": "before '; DROP",
    "a = 1) OR (1 = 1": "before ')",
    "a = 1 -- all": "before '-- all'",
    "a = 'open": "closing ' is missing",
    'a = "open': 'closing " is missing',
    "a + 1 = 2": "arithmetic is not offered",
    "a BETWEEN 1": "AND was expected",
    "a IS 5": "NULL was expected",
    "a NOT 5": "LIKE, BETWEEN or IN was expected",
    "a IN 5": "( was expected",
    "a IN (1": ") was expected",
    "a = NULL": "before 'NULL'",
    "AND = 1": "before 'AND",
    "S_INTERSECTS(geometry, POINT EMPTY)": "coordinates in parentheses",
    "S_INTERSECTS(geometry, POINT(1 2)": ") was expected",
    "S_INTERSECTS(geometry, POLYGON((0 0)))": "geometry in words",
    "a = 1 b": "AND or OR",
    "a = \x01": "means nothing",
}


@pytest.mark.parametrize("text", FAULTY)
def test_a_faulty_filter_is_refused_with_the_place_of_the_fault(text):
    with pytest.raises(InvalidRequest) as refused:
        from_text(text)
    ((where, said),) = refused.value.faults
    assert where == "filter"
    assert FAULTY[text] in said


def deep(levels, inner="a=1", opening="(", closing=")"):
    return opening * levels + inner + closing * levels


def test_nesting_is_bounded_however_it_is_written():
    assert parsed(deep(MAX_DEPTH - 1)) == parsed("a=1")
    depths = [deep(MAX_DEPTH + 1), deep(MAX_DEPTH + 1, opening="NOT ", closing=""), deep(4000)]
    chain = {"op": "isNull", "args": [{"property": "a"}]}
    for _ in range(MAX_DEPTH + 1):
        chain = {"op": "not", "args": [chain]}
    for text, language in [*((text, "cql2-text") for text in depths), (json.dumps(chain), "cql2-json")]:
        with pytest.raises(InvalidRequest, match="nested more than 50 deep"):
            parsed(text, language)


@pytest.mark.parametrize(
    "text",
    [
        deep(25, "a="),
        deep(25, "a=1 AND " * 500 + "b="),
        deep(4000, "", closing=""),
        "'" * 8001,
        "'\\" * 4000,
        '"' * 8001,
        "a IN (" * 1300,
        "casei(" * 1300,
        "NOT " * 2000,
        "1" * 8000 + "=a",
        "POINT(" * 1300,
        "(" * 40 + "POLYGON((" * 800,
        "a" * 8000,
        "S_INTERSECTS(geometry,POINT(" + "1" * 8000 + " 1))",
    ],
)
def test_no_text_takes_long_or_ends_the_process(text):
    start = time.process_time()
    with pytest.raises(InvalidRequest):
        parsed(f"{text} =" if text == "a" * 8000 else text)
    assert time.process_time() - start < 0.5


def test_long_filters_and_many_conditions_are_refused():
    with pytest.raises(InvalidRequest, match="longer than"):
        parsed("a = '" + "x" * MAX_LENGTH + "'")
    with pytest.raises(InvalidRequest, match="more than 500 conditions"):
        parsed(" OR ".join(["a"] * 600))


WORDS = (
    "a AND OR NOT ( ) = <> 'x' ' \" 1 -1 1e9 IN LIKE IS NULL BETWEEN , CASEI( DATE('2020-02-30') BBOX( "
    "DATE('2020-02-29') TIMESTAMP('x') S_INTERSECTS( geometry POINT( POINT(1\t2) BBOX(1,2,3,4) TRUE \\ ; "
    "\ud800 \x00 😀 % * é INTERVAL('..','..') A_CONTAINS( POINT(1e999\t1) BBOX(1e308,1,1e308,1) "
    "POLYGON((0\t0,1\t1,1\t0,0\t0)) ILIKE 'x\\' +2"
)
PIECES = st.sampled_from(WORDS.split(" "))


@given(st.one_of(st.text(max_size=60), st.lists(PIECES, max_size=30).map(" ".join)))
@example("a = 1e999")
@example("a = 'x' AND b = \ud800")
@settings(max_examples=400)
def test_any_text_is_read_or_refused_in_a_sentence(text):
    for language in ("cql2-text", "cql-text", "cql2-json"):
        try:
            parsed(text, language)
        except InvalidRequest as refused:
            assert [where for where, _ in refused.faults] == ["filter"]


OPS = st.sampled_from(["and", "or", "not", "=", "like", "in", "between", "isNull", "casei", "s_intersects"])
KEYS = st.sampled_from(["op", "args", "property", "date", "bbox", "type", "coordinates"])
PLAIN = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5))
JSON = st.recursive(
    PLAIN,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(KEYS, inner, max_size=3),
        st.fixed_dictionaries({"op": OPS, "args": st.lists(inner, max_size=3)}),
    ),
    max_leaves=12,
)


@given(JSON)
@settings(max_examples=400)
def test_any_json_is_read_or_refused_in_a_sentence(said):
    try:
        parsed(json.dumps(said), "cql2-json")
    except InvalidRequest as refused:
        assert [where for where, _ in refused.faults] == ["filter"]


def test_an_unknown_language_is_refused_by_its_parameter():
    with pytest.raises(InvalidRequest) as refused:
        parsed("a = 1", "sql")
    assert [where for where, _ in refused.value.faults] == ["filter-lang"]
