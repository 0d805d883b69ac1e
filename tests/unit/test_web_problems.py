"""What went wrong, as an answer: the table, documents for programs, pages for people."""

import logging

import pytest

from layers.errors import ColumnMissing, NothingToCompute
from service import errors
from service.web import problems


class BrandNew(errors.Conflict):
    """A kind of conflict that the table does not name."""


def leaves(kind):
    below = kind.__subclasses__()
    return {kind} | {leaf for child in below for leaf in leaves(child)}


def test_every_error_of_the_service_has_a_row_by_itself_or_by_its_base():
    known = {kind for kind in leaves(errors.ServiceError) if kind is not errors.ServiceError}
    assert known
    for kind in known:
        assert any(base in problems.TABLE for base in kind.__mro__), kind


@pytest.mark.parametrize(
    ("error", "status", "slug"),
    [
        (errors.StaleVersion("tree", "1", {}, {}), 409, "changed-meanwhile"),
        (BrandNew("tree", "1", {}, {}), 409, "known-otherwise"),
        (errors.StoreTooNew("x"), 503, "store-too-new"),
        (ColumnMissing("trees", ["tag"]), 422, "cannot-be-computed"),
        (NothingToCompute("x"), 422, "nothing-to-compute"),
        (KeyError("x"), 500, "unexpected"),
        (ValueError("x"), 500, "unexpected"),
    ],
)
def test_the_nearest_base_that_is_in_the_table_answers(error, status, slug):
    problem = problems.problem_of(error)
    assert (problem.status, problem.slug) == (status, slug)


def test_slugs_are_unique_and_every_one_has_a_page(client):
    slugs = [problem.slug for problem in problems.known_problems()]
    assert len(slugs) == len(set(slugs)) == len(problems.TABLE) + 1
    for slug in slugs:
        assert client.get(f"/problems/{slug}").status_code == 200
    assert client.get("/problems/none-such").status_code == 404


@pytest.fixture
def broken(app):
    """The application with pages that fail."""
    failing = {
        "secret": RuntimeError("password=hunter2 at /srv/x.py"),
        "asked": errors.Ask("--size", ["girth-cm", "girth-in"], "Two ways."),
        "faults": errors.InvalidRequest([("name", "Give a name."), ("units", "Say one.")]),
        "conflict": errors.Conflict("reading", "7", {"value": "<b>1</b>"}, {"value": 2}),
        "store": errors.StoreUnavailable("The store cannot be used."),
        "formats": errors.NotAcceptable(["csv"]),
    }

    def fail(name):
        raise failing[name]

    app.add_url_rule("/api/fail/<name>", "fail", fail, methods=["GET", "POST"])
    app.add_url_rule("/fail/<name>", "fail_page", fail)
    app.before_request_funcs[None] = [f for f in app.before_request_funcs[None] if f.__name__ != "_check"]
    return app.test_client()


def test_an_unexpected_error_tells_the_log_and_nobody_else(broken, caplog):
    with caplog.at_level(logging.INFO):
        for answer in (broken.get("/api/fail/secret"), broken.get("/fail/secret")):
            assert answer.status_code == 500
            assert "hunter2" not in answer.text
            assert "RuntimeError" not in answer.text
            assert "Traceback" not in answer.text
    assert "hunter2" in caplog.text
    document = broken.get("/api/fail/secret").json
    assert document["instance"].startswith("urn:uuid:")


def test_the_occurrence_in_the_answer_is_the_one_in_the_log(broken, caplog):
    with caplog.at_level(logging.INFO):
        instance = broken.get("/api/fail/faults").json["instance"]
    assert instance in caplog.text


def test_every_fault_is_listed_with_its_place(broken):
    document = broken.get("/api/fail/faults").json
    assert document["status"] == 400
    assert document["errors"] == [
        {"where": "name", "detail": "Give a name."},
        {"where": "units", "detail": "Say one."},
    ]


def test_a_question_names_its_option_and_choices(broken):
    assert broken.get("/api/fail/asked").json["ask"] == {
        "option": "--size",
        "choices": ["girth-cm", "girth-in"],
    }


def test_a_conflict_shows_both_contents_as_text(broken):
    assert broken.get("/api/fail/conflict").json["known"] == {"value": 2}
    page = broken.get("/fail/conflict").text
    assert "&lt;b&gt;1&lt;/b&gt;" in page


def test_trouble_with_the_store_says_when_to_try_again(broken):
    answer = broken.get("/api/fail/store")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")


def test_a_browser_gets_a_page_and_a_program_a_document(client):
    page = client.get("/nothing", headers={"Accept": "text/html,*/*;q=0.8"})
    assert page.content_type.startswith("text/html")
    document = client.get("/nothing", headers={"Accept": "application/json"})
    assert document.content_type == problems.MEDIA_TYPE
    assert document.json["type"] == "about:blank"
    assert client.get("/api/nothing", headers={"Accept": "text/html"}).content_type == problems.MEDIA_TYPE


def test_a_wrong_method_says_which_are_right(client):
    answer = client.post("/api/sites", json=[])
    assert answer.status_code == 405
    assert "GET" in answer.headers["Allow"]
