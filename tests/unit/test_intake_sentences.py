"""What an import says of its guesses, and what it asks, is known to translators word for word."""

import ast
import json
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from layers.telling import Voice
from service.errors import Ask
from service.intake.sentences import IMPORTS, SENTENCES
from service.web import import_words
from tests.intake_builders import prepared_of
from tests.shared_files import PLACEMARK, kml_of, parquet_of

POT = Path(__file__).parents[2] / "service/web/translations/messages.pot"
DAYS = "".join(f"{n};{90 + n};{n + 1}/14/2020;{n}.5.2020\n" for n in range(1, 9))
PAIRS = "".join(f"{n};{30 * n};{30 * n / 3.14159265:.2f}\n" for n in range(1, 9))
FAR = "tag;Essenza;X;Y\n" + "".join(f"{n};Tilia;{1465000 + n};{4973000 + n}\n" for n in range(5))
POINT = {"type": "Point", "coordinates": [9.1, 47.6]}
LINE = {"type": "LineString", "coordinates": [[9.1, 47.6], [9.2, 47.6]]}


def collection(*features, **members):
    made = [{"type": "Feature", "properties": p, "geometry": g} for p, g in features]
    return json.dumps({"type": "FeatureCollection", "features": made, **members})


LISTS = {
    "plain": ("a.csv", "tag,species,girth cm\n1,Tillia cordata,90\n2,Nobody,80\n0,,90\n0,,70\n"),
    "units below": (
        "a.csv",
        "tag;Umfang;Höhe;Zustand;leer\n;cm;m;;\n1;90;12;gut;\n2;80;9;Stubben;\n3;7;;wer;\n",
    ),
    "old letters": ("a.csv", "Nr;Baumart;BHD (cm)\n1;Bäume;30,5\n2;Linde;20\n".encode("cp1252")),
    "titles": ("a.csv", "Trees of the park\n\ntag,species,dbh (in)\n1,Tilia,10\n"),
    "no header": ("a.csv", "1,Tilia cordata,120\n2,Acer campestre,80\n3,Quercus robur,80\n"),
    "days": ("a.csv", "tag;girth cm;date;planted\n" + DAYS),
    "ambiguous days": ("a.csv", "tag;girth cm;date\n1;90;3/4/2020\n"),
    "years": ("a.csv", "tag,type,DBH 2019 (cm),2020\n1,tree,10,11\n2,stump,,\n3,tree,9,9.5\n"),
    "classes": (
        "a.csv",
        "tag,diameter\n" + "".join(f"{n},{n % 3 * 10}-{n % 3 * 10 + 10}\n" for n in range(9)),
    ),
    "computed": ("a.csv", "tag;girth cm;diameter cm\n" + PAIRS),
    "degrees": ("a.csv", "tag,x,y\n1,9.1,47.6\n2,9.2,47.6\n3,0,0\n"),
    "exchanged": ("a.csv", "tag,lon,lat\n1,47.6,109.1\n2,47.6,109.2\n"),
    "national": ("a.csv", FAR),
    "metric words": ("a.csv", "Nr;Umfang\n" + "".join(f"{n};{80 + n}\n" for n in range(9))),
    "no degrees": ("a.csv", "tag,girth cm,lat,lon\n1,90,here,there\n"),
    "half a pair": ("a.csv", "tag,girth cm,longitude\n1,90,9.1\n"),
    "grid letters": ("a.csv", "tag,girth cm,grid ref\n1,90,TQ 123 456\n"),
    "points": ("a.geojson", collection(({"species": "Tilia"}, POINT), ({"species": "Tilia"}, POINT))),
    "lines": ("a.geojson", collection(({"kind": "path"}, LINE), ({"kind": "bench"}, POINT))),
    "benches": ("a.csv", "name,kind,lon,lat\nA,bench,9.1,47.6\n"),
    "named": ("a.geojson", collection(({"tag": "1"}, POINT), crs={"properties": {"name": "EPSG:4326"}})),
    "kml": ("a.kml", kml_of(PLACEMARK + "<NetworkLink><Link><href>b</href></Link></NetworkLink>")),
    "parquet": ("a.parquet", parquet_of()),
    "strange": ("a.geojson", collection(({"tag": "1"}, POINT), crs={"properties": {"name": "EPSG:999999"}})),
}
ASKED = {
    "nameless": "tag,mark\n" + "".join(f"{n},{n + 20.5}\n" for n in range(30)),
    "unit": "tag,girth\n" + "".join(f"{n},{n}\n" for n in range(10, 50)),
    "seasons": "tag,Fall'14,Fall'15\n" + "".join(f"{n},{10 + n / 10},{11 + n / 10}\n" for n in range(30)),
    "own metres": "tag,x,y\n1,10,20\n2,300,40\n",
    "degrees or metres": "tag,x,y\n1,10,20\n2,60,40\n3,30,80\n",
    "zones": "tag,x,y\n1,500000,5000000\n2,500010,5000010\n",
}


SIZES_SAID = {
    "diameter-cm": "tag,2017,2018 (in)\n1,30,12\n2,31,12.5\n",
    "girth-mm": "tag,girth cm\n1,90\n",
    "girth-cm": "tag,diameter\n1,90\n",
}


def is_known(sentence):
    return import_words.known(sentence)


@pytest.mark.parametrize("kind", LISTS)
def test_every_reason_of_a_guess_is_made_of_texts_that_translators_have(tmp_path, kind):
    name, text = LISTS[kind]
    prepared = prepared_of(tmp_path, text, name=name)
    whys = [guess.why for guess in prepared.guesses] + list(prepared.left_out.values())
    assert whys
    assert [why for why in whys if not is_known(why)] == []


@pytest.mark.parametrize("size", SIZES_SAID)
def test_what_holds_of_an_option_and_a_header_is_said_in_texts_that_translators_have(tmp_path, size):
    why = [guess.why for guess in prepared_of(tmp_path, SIZES_SAID[size], size=size).guesses]
    assert any("holds." in said for said in why)
    assert [said for said in why if not is_known(said)] == []


@pytest.mark.parametrize("kind", ASKED)
def test_everything_that_is_asked_is_made_of_texts_that_translators_have(tmp_path, kind):
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, ASKED[kind])
    assert is_known(found.value.because)


# Gaps that words of ours are put into; in all others something of the list stands.
GAPS = {"where": " in 2030-01-01", "words": "is no size", "fault": "is no day"}


def asked_in(module):
    """Every sentence with which a module questions or refuses a row, something in its gaps."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Question":
            yield from map(text_of, node.args[1:2])
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "attr", "") == "refused":
            either = node.value.values if isinstance(node.value, ast.BoolOp) else [node.value]
            yield from map(text_of, either)


def text_of(node):
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if not isinstance(node, ast.JoinedStr):
        return ""
    parts = (part if isinstance(part, ast.Constant) else part.value for part in node.values)
    return "".join(
        part.value if isinstance(part, ast.Constant) else GAPS.get(getattr(part, "id", ""), "2030-01-01")
        for part in parts
    )


def test_everything_that_a_row_is_asked_or_refused_for_is_made_of_texts_that_translators_have():
    modules = sorted((Path(__file__).parents[2] / "service/intake").glob("*.py"))
    said = {text for module in modules for text in asked_in(module) if text and text.count(" ") > 2}
    assert len(said) > 20
    assert {text for text in said if not is_known(text)} == set()


def test_translators_have_every_template():
    with POT.open("rb") as file:
        known = {message.id for message in read_po(file) if isinstance(message.id, str)}
    assert set(SENTENCES) - known == set()


def test_a_reason_is_said_in_another_language_with_its_values():
    german = {
        "The header %(text)s is a word for it.": "Die Überschrift %(text)s ist ein Wort dafür.",
        "%(quantity)s in %(measure)s": "%(quantity)s in %(measure)s",
        "girth": "Umfang",
        "inches": "Zoll",
    }
    voice = Voice(translate=lambda text: german.get(text, text))
    assert (
        IMPORTS.told("The header 'StU' is a word for it.", voice)
        == "Die Überschrift 'StU' ist ein Wort dafür."
    )
    assert IMPORTS.told("girth in inches", voice) == "Umfang in Zoll"


def test_reasons_in_one_sentence_are_said_each_by_itself(app):
    why = "The header 'dbh' says diameter; the trees stand outside North America."
    with app.test_request_context("/"):
        assert import_words.why_words(why) == why
        assert import_words.why_words("Something nobody wrote.") == "Something nobody wrote."
