"""The description of the JSON API against the routes that there are and the records that are taken."""

import jsonschema
import pytest
from openapi_spec_validator import validate

from service.web.access import RIGHTS
from tests.web_site import SLUG, make_web_site


@pytest.fixture
def said(client):
    answer = client.get("/api/openapi.json")
    assert answer.status_code == 200
    return answer.get_json()


def test_it_is_valid_and_begins_with_the_address_that_was_asked(said):
    validate(said)
    assert said["servers"] == [{"url": "http://localhost"}]


def test_every_route_of_the_api_is_described_and_no_other(said):
    described = {(method.upper(), path) for path, held in said["paths"].items() for method in held}
    routes = {(method, rule) for rule, method in RIGHTS if rule.startswith("/api/") and "<any" not in rule}
    routes = {(method, rule.replace("<slug>", "{slug}")) for method, rule in routes}
    assert routes <= described
    layers = {"trees", "stems", "readings", "areas", "places", "targets", "flags", "inspections"}
    layers |= {"dangers", "closures", "hazards"}
    assert described - routes == {("GET", f"/api/sites/{{slug}}/{layer}") for layer in layers}


def test_every_address_that_is_described_answers(store, app, tmp_path, said):
    make_web_site(store, tmp_path)
    client = app.test_client()
    for path, held in said["paths"].items():
        if "get" in held:
            query = {"of": "figure:site:basal_area_m2"} if path.endswith("/how") else {}
            answer = client.get(path.replace("{slug}", SLUG), query_string=query)
            assert answer.status_code == 200, path
            assert answer.content_type == "application/json", path


def test_the_parameters_that_are_described_are_read(store, app, tmp_path, said):
    make_web_site(store, tmp_path)
    client = app.test_client()
    for path, held in said["paths"].items():
        for parameter in held.get("get", {}).get("parameters", []):
            if parameter["in"] == "query":
                asked = {parameter["name"]: "no such thing"}
                answer = client.get(path.replace("{slug}", SLUG), query_string=asked)
                assert answer.status_code in (400, 404), (path, parameter["name"])


def test_what_is_taken_fits_its_schema_and_what_is_refused_does_not(said):
    schema = {"$ref": "#/components/schemas/ReadingIn", "components": said["components"]}
    reading = {"stem_id": "4f1c86de-1111-4222-8333-444455556666", "value": 58.5, "unit": "cm"}
    reading |= {"instrument": "girth tape", "measured_on": "2026-05-20"}
    checked = jsonschema.Draft202012Validator(schema)
    assert checked.is_valid(reading)
    assert not checked.is_valid({**reading, "value": "wide"})
    assert not checked.is_valid({**reading, "no_such_word": 1})
