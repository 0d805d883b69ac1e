"""Data or a page, by ``Accept`` (RFC 9110, section 12.5.1) and ``?f=``."""

import pytest

from service.errors import InvalidRequest, NotAcceptable
from service.web.accepting import form_asked

TYPES = ("application/geo+json", "application/json")
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
GDAL = "application/geo+json, application/json"


def asked(app, accept, query=""):
    headers = {} if accept is None else {"Accept": accept}
    with app.test_request_context(f"/ogc{query}", headers=headers):
        return form_asked(TYPES)


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        *((accept, "json") for accept in (None, "", "*/*", "application/json", GDAL, "application/*")),
        *((accept, "json") for accept in ("application/geo+json; charset=utf-8", "APPLICATION/JSON")),
        *(
            (accept, "json")
            for accept in ("text/html, application/json", "text/html;q=0.5, application/json")
        ),
        *(
            (accept, "json")
            for accept in ("text/html;q=0, */*", "text/*;q=0.1, */*;q=0.2", "*/*, text/html;q=0.9")
        ),
        *(
            (accept, "html")
            for accept in (BROWSER, "text/html", "text/html, */*", "application/json;q=0.1, text/html")
        ),
        *((accept, "html") for accept in ("text/*", "text/html;q=0.1, application/json;q=0", "TEXT/HTML")),
    ],
)
def test_data_unless_a_page_is_named_and_not_wanted_less(app, accept, form):
    assert asked(app, accept) == form


@pytest.mark.parametrize(
    "accept", ["image/png", "application/xml", "*/*;q=0", "application/json;q=0", "x", "*"]
)
def test_what_allows_neither_is_not_acceptable(app, accept):
    with pytest.raises(NotAcceptable) as caught:
        asked(app, accept)
    assert caught.value.offered == [*TYPES, "text/html"]


@pytest.mark.parametrize("accept", [None, BROWSER, "image/png"])
def test_a_form_that_is_said_holds_whatever_is_accepted(app, accept):
    assert asked(app, accept, "?f=json") == "json"
    assert asked(app, accept, "?f=html") == "html"


@pytest.mark.parametrize("said", ["", "xml", "JSON"])
def test_a_form_that_is_none_is_refused(app, said):
    with pytest.raises(InvalidRequest, match="f: "):
        asked(app, None, f"?f={said}")
