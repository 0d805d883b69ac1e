"""Moments and intervals; the forms are those of RFC 3339 and OGC 17-069r4, section 7.15.4."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InvalidRequest
from service.web.ogc_times import days_of


@pytest.mark.parametrize(
    ("said", "days"),
    [
        ("2024-05-14", ("2024-05-14", "2024-05-14")),
        ("2024-05-14T", ("2024-05-14", "2024-05-14")),
        ("2024-05-14T23:59:59Z", ("2024-05-14", "2024-05-14")),
        ("2024-05-14t23:59:60.5z", ("2024-05-14", "2024-05-14")),
        ("2024-05-14T23:30:00-05:00", ("2024-05-15", "2024-05-15")),
        ("2024-05-14T00:30:00+02:00", ("2024-05-13", "2024-05-13")),
        ("2024-02-29/2024-12-31", ("2024-02-29", "2024-12-31")),
        ("2024-01-01T/2024-12-31T", ("2024-01-01", "2024-12-31")),
        ("2024-01-01/..", ("2024-01-01", None)),
        ("2024-01-01/", ("2024-01-01", None)),
        ("../2024-01-01T00:00:00Z", (None, "2024-01-01")),
        ("/2024-01-01", (None, "2024-01-01")),
        ("../..", (None, None)),
        ("2024-01-01/P2D", ("2024-01-01", "2024-01-03")),
        ("2024-01-31/P1M", ("2024-01-31", "2024-02-29")),
        ("2024-02-29/P1Y", ("2024-02-29", "2025-02-28")),
        ("2024-01-01T12:00:00Z/PT36H", ("2024-01-01", "2024-01-03")),
        ("2024-01-01/P1Y2M1W1DT1H1M1S", ("2024-01-01", "2025-03-09")),
        ("P1M/2024-03-31", ("2024-02-29", "2024-03-31")),
    ],
)
def test_a_moment_or_interval_is_the_days_that_it_touches(said, days):
    assert days_of(said) == days


@pytest.mark.parametrize(
    "said",
    [
        *("", "2024", "2024-05", "2024-5-1", "2024-02-30", "tomorrow", "2024-05-14 10:00:00Z", "20240514"),
        *(
            "2024-05-14T10Z",
            "2024-05-14T25:00:00Z",
            "2024-05-14T10:00:00+25:00",
            "２０２４-05-14",
            "2024-05-14\x00",
        ),
        *(
            "2024-01-02/2024-01-01",
            "a/b",
            "2024-01-01/2024-01-02/2024-01-03",
            "2024-01-01/P",
            "2024-01-01/PT",
        ),
        *("P1D/P1D", "../P1D", "P1D/..", "2024-01-01/P-1D", "0001-01-01T00:00:00+01:00", "9999-12-31/P1Y"),
        *("2024-01-01/P" + "9" * 5000 + "D", "0001-01-01/P99999999999999Y", "\ud800", "2024-01-01/P1D\n"),
    ],
)
def test_what_is_neither_is_refused_with_the_name_of_the_parameter(said):
    with pytest.raises(InvalidRequest) as caught:
        days_of(said)
    assert caught.value.faults[0][0] == "datetime"


@given(st.dates(), st.dates())
def test_an_interval_of_days_is_itself_or_refused_when_it_ends_before_it_begins(first, last):
    said = f"{first.isoformat()}/{last.isoformat()}"
    if first <= last:
        assert days_of(said) == (first.isoformat(), last.isoformat())
    else:
        with pytest.raises(InvalidRequest):
            days_of(said)


@given(st.dates(dt.date(1, 1, 2), dt.date(9990, 1, 1)), st.integers(0, 1000))
def test_a_duration_of_days_ends_that_many_days_later(first, days):
    later = (first + dt.timedelta(days=days)).isoformat()
    assert days_of(f"{first.isoformat()}/P{days}D") == (first.isoformat(), later)


@given(st.text(max_size=30))
def test_no_text_breaks_it(said):
    try:
        first, last = days_of(said)
    except InvalidRequest:
        return
    assert first is None or dt.date.fromisoformat(first)
    assert last is None or dt.date.fromisoformat(last)
