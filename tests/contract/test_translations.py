"""Every text of the pages is collected for translators, and a translation reaches the pages."""

import ast
import io
import re
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from layers.caution import CAUTION
from service.app import create_app
from service.settings import Settings
from service.web.problems import known_problems

ROOT = Path(__file__).parents[2]
WEB = ROOT / "service" / "web"
KEYWORDS = {"_": None, "_l": None, "N_": None, "gettext": None, "ngettext": (1, 2)}
NAMES = {"Boleward"}
CLASSES = re.compile(r"\{% block layout %\}.*?\{% endblock %\}")  # of the page's style, no text
AGAIN = "make translations"


def collected():
    """{message id: its plural, or None} of the two packages."""
    with (WEB / "babel.cfg").open(encoding="utf-8") as file:
        methods, options = parse_mapping_cfg(file)
    found = {}
    for package in ("service", "layers"):
        for _, _, message, _, _ in extract_from_dir(ROOT / package, methods, options, KEYWORDS):
            single, plural = message if isinstance(message, tuple) else (message, None)
            found[single] = plural
    return found


@pytest.fixture(scope="module")
def template():
    with (WEB / "translations" / "messages.pot").open("rb") as file:
        return read_po(file)


def test_the_template_holds_every_text_and_no_other(template):
    known = {message.id[0] if message.pluralizable else message.id for message in template if message.id}
    assert known == set(collected()), f"make it again: {AGAIN}"


def test_no_text_is_given_where_the_collecting_does_not_look(template):
    """Inside of an f-string it collects nothing."""
    known = {
        each for message in template for each in ([*message.id] if message.pluralizable else [message.id])
    }
    modules = [path for package in ("service", "layers") for path in (ROOT / package).rglob("*.py")]
    calls = [
        node
        for path in modules
        if "node_modules" not in path.parts
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in KEYWORDS and node.args
    ]
    said = {call.args[0].value for call in calls if isinstance(call.args[0], ast.Constant)}
    assert len(said) > 1000
    assert said - known == set()


def test_the_caution_and_the_words_of_the_map_are_among_them(template):
    ids = {message.id if isinstance(message.id, str) else message.id[0] for message in template}
    assert CAUTION in ids
    assert "Width of the trunk at {height}" in ids
    assert {str(problem.title) for problem in known_problems()} <= ids


def test_templates_hold_no_text_outside_of_the_collected_ones():
    """What is left of a template without its tags and blocks is text that nobody can translate."""
    found = {}
    for path in sorted((WEB / "templates").glob("*.html")):
        text = re.sub(CLASSES, " ", path.read_text(encoding="utf-8"))
        text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", text, flags=re.S)
        text = re.sub(r'<code.*?</code>|[\w-]+="[^"]*"', " ", text)
        left = set(re.findall(r"[^\W\d_]{2,}", re.sub(r"<[^>]*>|&\w+;", " ", text))) - NAMES
        if left:
            found[path.name] = left
    assert found == {}


def test_a_translation_reaches_the_pages_and_the_language_is_said(store, tmp_path, monkeypatch):
    catalog = Catalog(locale="de")
    catalog.add("Start my ground", "Mein Gelände beginnen")
    folder = tmp_path / "translations" / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    with (folder / "messages.mo").open("wb") as file:
        write_mo(file, catalog)
    monkeypatch.setattr("service.app.TRANSLATIONS", str(tmp_path / "translations"))
    page = create_app(store, Settings(data_folder=tmp_path, language="de")).test_client().get("/")
    assert '<html lang="de">' in page.text
    assert "Mein Gelände beginnen" in page.text
    assert "I have a list" in page.text


def test_the_template_is_a_valid_one(template):
    written = io.BytesIO()
    write_po(written, template)
    assert read_po(io.BytesIO(written.getvalue()), abort_invalid=True)
