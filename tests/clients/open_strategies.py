"""What generated questions are made of: texts that are truly of the formats that the description names.

Loaded by schemathesis (SCHEMATHESIS_HOOKS). Positive data have to be positive: the formats of the standards
(CQL2, intervals, tokens) are no formats of JSON Schema, and some parameters only make sense together.
"""

import datetime as dt
import math
import re

import orjson
import schemathesis
from hypothesis import strategies as st

MOST = 10_000
NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]*)?(?:e[-+]?[0-9]+)?")
DAYS = (dt.date(2019, 2, 28), dt.date(2024, 5, 14), dt.date(2025, 7, 1))  # few, as each is computed anew

_days = st.sampled_from(DAYS).map(dt.date.isoformat)
_moments = st.one_of(_days, _days.map(lambda day: f"{day}T"), _days.map(lambda day: f"{day}T10:00:00Z"))
_intervals = st.tuples(_moments, _moments).map(sorted).map("/".join)
_open = st.one_of(_moments.map(lambda at: f"../{at}"), _moments.map(lambda at: f"{at}/.."))
_texts = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\\"), max_size=12)
_degrees = st.floats(-80, 80, allow_nan=False)

_quoted = _texts.map(lambda said: "'" + said.replace("'", "''") + "'")
_boxes = st.tuples(_degrees, _degrees, _degrees, _degrees).map(
    lambda n: (min(n[0], n[2]), min(n[1], n[3]), max(n[0], n[2]), max(n[1], n[3]))
)
_simple = st.one_of(
    st.tuples(st.sampled_from(["=", "<>", "<", ">", "<=", ">=", "LIKE"]), _quoted).map(
        lambda said: f"site {said[0]} {said[1]}"
    ),
    st.lists(_quoted, min_size=1, max_size=4).map(lambda said: f"site IN ({', '.join(said)})"),
    st.tuples(_quoted, _quoted).map(lambda said: f"site BETWEEN {said[0]} AND {said[1]}"),
    st.sampled_from(["site IS NULL", "site IS NOT NULL", "CASEI(site) = CASEI('YARD')", "TRUE"]),
    _boxes.map(lambda box: f"S_INTERSECTS(geometry, BBOX({', '.join(f'{n:.6f}' for n in box)}))"),
    st.tuples(_degrees, _degrees).map(lambda at: f"S_INTERSECTS(geometry, POINT({at[0]:.6f} {at[1]:.6f}))"),
)
_filters = st.recursive(
    _simple,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from(["AND", "OR"]), inner).map(lambda s: f"({s[0]} {s[1]} {s[2]})"),
        inner.map(lambda said: f"NOT ({said})"),
    ),
    max_leaves=6,
)
_as_json = st.tuples(st.sampled_from(["=", "<>", "<", ">"]), _texts).map(
    lambda said: orjson.dumps({"op": said[0], "args": [{"property": "site"}, said[1]]}).decode()
)

schemathesis.openapi.format("date", _days)
schemathesis.openapi.format("datetime-or-interval", st.one_of(_moments, _intervals, _open))
schemathesis.openapi.format("cql2-text", st.one_of(_filters, _as_json))
schemathesis.openapi.format("page-token", st.just("WyJ5YXJkIiwxXQ"))  # after feature 1 of the ground "yard"


@schemathesis.hook
def map_case(context, case):
    """Bring the sides of a box of good numbers into order and onto the earth."""
    said = (case.query or {}).get("bbox")
    sides = (
        [float(side) for side in said.split(",") if NUMBER.fullmatch(side)] if isinstance(said, str) else []
    )
    if len(sides) in (4, 6) and len(sides) == said.count(",") + 1:
        half = len(sides) // 2
        low, high = ([math.fmod(side, 80.0) for side in part] for part in (sides[:half], sides[half:]))
        case.query["bbox"] = ",".join(f"{side:.9f}" for side in (*map(min, low, high), *map(max, low, high)))
    return case


@schemathesis.hook
def filter_case(context, case):
    """Leave out what is refused, or taken, for a reason that the description cannot say."""
    query = case.query or {}
    limit, said = str(query.get("limit", "")), query.get("filter")
    if limit.isdigit() and int(limit) > MOST:
        return False  # clamped and no fault (OGC 17-069r4, /req/core/fc-limit-response-1)
    if "token" in query and "sortby" in query:
        return False  # a token is of the order of its page
    return not isinstance(said, str) or (query.get("filter-lang") == "cql2-json") == said.startswith("{")
