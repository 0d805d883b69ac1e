"""Every sentence that the layers and the service make reaches pages through a text that translators have."""

import ast
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from layers import conversion
from layers.telling import INSTRUMENTS, SENTENCES, Voice
from service import answers
from service.actors import LOCAL_MANAGER
from service.answers import PAGES
from service.sample import SAMPLES, load_samples
from service.view import view_of

ROOT = Path(__file__).parents[2]
ANSWERING = {
    "service/entry.py": ("Answer",),
    "service/entry_desk.py": ("Answer",),
    "service/field_meaning.py": ("InvalidRequest",),
    "service/set_aside.py": ("InvalidRequest",),
    "service/intake/phone_file.py": ("InvalidRequest", "Unreadable"),
    "service/records.py": ("ValueError",),
    "service/danger_records.py": ("ValueError",),
    "service/closures.py": ("InvalidRequest",),
    "service/settling.py": ("ValueError", "InvalidRequest"),
    "service/edit.py": ("InvalidRequest",),
    "service/plan_images.py": ("InvalidRequest",),
    "service/pictures.py": ("Unreadable", "InvalidRequest"),
    "layers/plan_image.py": ("PictureNotPlaced",),
}
ANYTHING = "2030-01-01"  # stands in every gap of a sentence: a day, and a text


@pytest.fixture(scope="module")
def known():
    with (ROOT / "service/web/translations/messages.pot").open("rb") as file:
        found = read_po(file)
    return {message.id if isinstance(message.id, str) else message.id[0] for message in found if message.id}


def test_translators_have_every_template(known):
    wanted = {*SENTENCES, *answers.SENTENCES, *INSTRUMENTS.values()}
    assert {text for text in wanted if text not in known} == set()


def text_of(node):
    """The text of a constant or of an f-string with something in its gaps; None where it is neither."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else ANYTHING for part in node.values)
    return None


def said_in(path, calls):
    """Every sentence that is given to one of the calls, or returned, in a module."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    inside = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and getattr(node.func, "id", None) in calls:
            inside |= {
                part
                for each in (*node.args, *(word.value for word in node.keywords))
                for part in ast.walk(each)
            }
        if isinstance(node, ast.Return) and node.value is not None and "Answer" in calls:
            inside |= set(ast.walk(node.value))
        if isinstance(node, ast.Assign) and any(
            getattr(to, "id", "") in ("fault", "why") for to in node.targets
        ):
            inside |= set(ast.walk(node.value))
    parts = {part for node in inside if isinstance(node, ast.JoinedStr) for part in ast.walk(node)} - inside
    nested = {value for node in inside if isinstance(node, ast.JoinedStr) for value in node.values}
    for node in inside - parts - nested:
        text = text_of(node)
        if text and text.count(" ") > 2:
            yield text


def as_a_page_gets_it(text, calls):
    if "PictureNotPlaced" in calls:
        return f"The picture cannot be placed: {text}."
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


@pytest.mark.parametrize("path", ANSWERING)
def test_every_answer_of_the_service_is_among_the_templates(path):
    calls = ANSWERING[path]
    found = {as_a_page_gets_it(text, calls) for text in said_in(path, calls)}
    assert found
    assert {text for text in found if not PAGES.knows(text)} == set()


def test_the_walk_finds_a_sentence_that_is_not_among_them():
    assert not PAGES.knows("This sentence was never given to translators.")


@pytest.fixture
def views(store):
    load_samples(store, LOCAL_MANAGER)
    return [view_of(store, slug, LOCAL_MANAGER) for slug in SAMPLES]


def sentences_of(view):
    """Every sentence that the layers made of a ground and that a page shows."""
    for name in ("words", "evidence", "source", "who_may_answer"):
        yield from view.flags[name].dropna().unique()
    for name in ("measured_as", "height_source", "crown_source", "dbh_source", "size_class", "growth_words"):
        yield from view.trees[name].dropna().unique()
    for name in ("signs", "circumstances"):
        yield from {word for words in view.trees[name].dropna() for word in words}
    for row in view.figures:
        yield from (row["why"] or {}).values()


CITED = ("US Forest Service", "29 CFR", "Roman et al.")  # sources are named as they are called


def test_every_sentence_of_the_samples_is_found_again_and_said_in_feet(views):
    us = Voice(units="us", day=lambda day: "a day")
    for view in views:
        all_said = {said for said in sentences_of(view) if not said.startswith(CITED)}
        assert len(all_said) > 100
        assert {said for said in all_said if not PAGES.knows(said)} == set()
        told = " ".join(PAGES.told(said, us) for said in all_said)
        assert conversion.metres(view.terms.breast_height_m) not in told
        assert " m away" not in told and " m wide" not in told
