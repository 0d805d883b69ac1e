"""Every language has every text, whole; no page shows a text that translators never got."""

import json
import re
from collections import defaultdict
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pypdfium2
import pytest
from babel.messages.pofile import read_po

from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.assets.catalogues import compile_catalogues
from service.sample import SAMPLES, load_samples
from service.settings import LANGUAGES, Settings
from service.store.migrating import open_store
from tests.other_words import KEPT, OwnWords, Page, write_other_language

TRANSLATIONS = Path(__file__).parents[2] / "service/web/translations"
THERE = sorted(path.parts[-3] for path in TRANSLATIONS.glob("*/LC_MESSAGES/messages.po"))
# What no language says of a tree; the same claims as in test_words, which reads the English texts.
CLAIMS = {
    "de": r"\b(?:unbedenklich|(?:stand|bruch|verkehrs)sicher|ungefährlich|harmlos|gesund|in Ordnung)\w*",
    "es": r"\b(?:segur[oa]s?|san[oa]s?|inofensiv[oa]s?|sin peligro|sin riesgo|en orden)\b",
    "fr": r"\b(?:sûre?s?|saine?s?|inoffensi\w+|sans danger|sans risque|en ordre)\b",
}


def messages(language=None):
    path = TRANSLATIONS / (f"{language}/LC_MESSAGES/messages.po" if language else "messages.pot")
    with path.open("rb") as file:
        return {message.id: message for message in read_po(file, locale=language) if message.id}


def forms(said):
    return said if isinstance(said, tuple) else (said,)


@pytest.fixture(scope="module")
def template():
    return messages()


@pytest.fixture(scope="module", params=THERE)
def translated(request):
    return request.param, messages(request.param)


def test_the_languages_that_are_there_are_ours():
    assert THERE and set(THERE) < set(LANGUAGES)


def test_every_text_is_translated_in_all_its_forms(template, translated):
    language, known = translated
    left = [text for text in template if text not in known or not all(forms(known[text].string))]
    assert left == [], f"{len(left)} texts without {language}; `make translations` shows them in the .po"
    assert set(known) == set(template)


def test_no_translation_is_a_guess(translated):
    assert [text for text, message in translated[1].items() if message.fuzzy] == []


def test_a_translation_has_the_places_and_marks_of_its_text(translated):
    odd = []
    for text, message in translated[1].items():
        allowed = {tuple(sorted(KEPT.findall(form))) for form in forms(text)}
        for said in filter(None, forms(message.string)):
            same_ends = (said[:1].isspace(), said[-1:].isspace()) == (forms(text)[0][:1].isspace(), False)
            if tuple(sorted(KEPT.findall(said))) not in allowed or not same_ends:
                odd.append((text, said))
    assert odd == []


def test_no_translation_calls_a_tree_safe(translated):
    language, known = translated
    claim = re.compile(CLAIMS[language], re.IGNORECASE)
    said = [form for message in known.values() for form in forms(message.string) if form]
    assert [form for form in said if claim.search(form)] == []


def test_every_translation_can_be_made_ready(tmp_path):
    for language in THERE:
        path = tmp_path / language / "LC_MESSAGES" / "messages.po"
        path.parent.mkdir(parents=True)
        path.write_bytes((TRANSLATIONS / language / "LC_MESSAGES/messages.po").read_bytes())
    made = compile_catalogues(tmp_path)
    assert [path.parts[-3] for path in made] == THERE
    assert all(path.read_bytes()[:4] == b"\xde\x12\x04\x95" for path in made)


# Data speak one language: files, the API, the open collections, pictures without words.
OF_DATA = re.compile(r"^/(?:static|tiles|api|ogc)|\.(?:csv|gpkg|zip|png|pdf)$|<form>$")


def visited(app, starts, most):
    """Every text that pages show, by the rule of their address: ``most`` pages of each kind are opened."""
    client, addresses = app.test_client(), app.url_map.bind("localhost")
    counted, seen, found = defaultdict(int), set(), defaultdict(set)
    waiting = list(starts)
    while waiting:
        address = waiting.pop(0)
        if address in seen:
            continue
        seen.add(address)
        parts = urlsplit(address)
        rule = addresses.match(parts.path, return_rule=True)[0].rule
        kind = (rule, re.sub("=[^&]*", "", parts.query))
        if counted[kind] >= most or OF_DATA.search(rule):
            continue
        counted[kind] += 1
        answer = client.get(address, headers={"Accept": "text/html"})
        assert answer.status_code == 200, address
        if answer.mimetype == "text/html":
            page = Page(answer.text)
            found[rule] |= set(page.texts)
            waiting += [urljoin(address, link).partition("#")[0] for link in page.links if is_ours(link)]
        elif answer.mimetype == "image/svg+xml":
            found[rule] |= {text.strip() for text in re.findall(r">([^<]+)<", answer.text) if text.strip()}
        elif rule.endswith("map.json"):
            found[rule] |= words_of_map(answer.get_json())
    return found


def is_ours(link):
    return not re.match(r"\w+:|//", link)


def words_of_map(document):
    """What a map says: its own words, and the sentences of its questions."""
    said = {re.sub(r"\{\w+\}", " ", text) for text in document["messages"].values()}
    for name in ("words", "evidence"):
        said |= {text for text in document["flags"][name]["values"] if text}
    return said


@pytest.fixture(scope="module")
def sample_app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("samples")
    store = open_store(str(folder / "store.sqlite"))
    load_samples(store, LOCAL_MANAGER)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("service.app.TRANSLATIONS", str(write_other_language(folder / "translations")))
        yield create_app(store, Settings(data_folder=folder, language="de")), folder / "store.sqlite"
    store.close()


def untranslated(sample_app, starts, most):
    app, path = sample_app
    own = OwnWords(path)
    found = visited(app, starts, most)
    assert len(found) > 25
    left = {
        rule: sorted({said for text in texts if (said := own.left(text))}) for rule, texts in found.items()
    }
    return {rule: texts for rule, texts in left.items() if texts}


START = ("/", "/start", "/cautions", "/problems/")


def test_no_page_of_the_school_shows_a_text_that_translators_never_got(sample_app):
    assert untranslated(sample_app, (*START, f"/sites/{SAMPLES[0]}"), most=1) == {}


@pytest.mark.slow
def test_no_page_of_the_samples_shows_a_text_that_translators_never_got(sample_app):
    assert untranslated(sample_app, (*START, *(f"/sites/{slug}" for slug in SAMPLES)), most=8) == {}


def test_no_paper_shows_a_text_that_translators_never_got(sample_app):
    app, path = sample_app
    client, own, base = app.test_client(), OwnWords(path), f"/sites/{SAMPLES[0]}"
    zone = re.search(r'<option value="([0-9a-f-]{36})"', client.get(f"{base}/sheets").text)[1]
    days = re.search(r"/rounds/[0-9a-f-]{36}(?=/plan)", client.get(f"{base}/rounds").text)[0]
    found = set()
    for paper in (f"{base}/sheets.pdf?zone={zone}&leader=yes", f"{base}{days}/sheets.pdf"):
        with pypdfium2.PdfDocument(client.get(paper).data) as pdf:
            for page in pdf:
                found |= set(page.get_textpage().get_text_range().splitlines())
                page.close()
    assert len(found) > 100
    assert sorted(filter(None, map(own.left_on_paper, found))) == []


def test_the_phone_shows_no_text_that_translators_never_got(sample_app):
    app, path = sample_app
    page = app.test_client().get("/field/").text
    words = json.loads(re.search(r'<script type="application/json" id="words">(.*?)</script>', page)[1])
    own = OwnWords(path)
    assert len(words) > 100
    assert {key: said for key, said in words.items() if own.left(re.sub(r"\{\w+\}", " ", str(said)))} == {}
