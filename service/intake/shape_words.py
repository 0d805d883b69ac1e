"""Words for kinds of areas and targets and for how much people are there, in seven languages."""

import re
from functools import lru_cache

from service.intake.words import folded

AREA_KINDS = (
    "boundary",
    "play area",
    "lawn",
    "woodland",
    "car park",
    "street",
    "building edge",
    "other",
)
TARGET_KINDS = ("path", "bench", "play equipment", "building", "road", "other")
USES = ("most of the day", "every day", "now and then", "hardly ever")

_AREA = {
    "boundary": """boundary|site boundary|outline|perimeter|grenze|grundstueck|flurstueck|umriss|limite|
        limites|
        perimetro|contorno|limite du site|emprise|confine|grens|perceel|contour|parcel|site|plot boundary""",
    "play area": """play area|playground|school yard|schoolyard|spielplatz|schulhof|pausenhof|patio|
        zona de juegos|area de juego|parque infantil|aire de jeux|cour|cour de recreation|parco giochi|
        area giochi|cortile|speelplaats|speelplein|schoolplein|parque infantil|recreio""",
    "lawn": """lawn|grass|meadow|green|rasen|wiese|liegewiese|gruenflaeche|cesped|pradera|pelouse|gazon|prato|
        gazon|gras|grasveld|relvado|grama""",
    "woodland": """woodland|wood|woods|forest|wald|gehoelz|bosque|arboleda|bois|foret|bosco|bos|bosje|mata|
        floresta|arvoredo|woodland corner""",
    "car park": """car park|parking|parking lot|parkplatz|aparcamiento|estacionamiento|parcheggio|
        parkeerplaats|
        estacionamento|stationnement""",
    "street": "street|road|avenue|strasse|allee|calle|avenida|rue|via|viale|straat|laan|rua",
    "building edge": """building edge|gebaeuderand|borde de edificio|abords de batiment|bordo edificio|gevel|
        entrance|eingang""",
    "other": "other|sonstige|otro|otra|autre|altro|overig|outro|outra",
}
_TARGET = {
    "path": """path|footpath|walkway|footway|pavement|sidewalk|weg|fussweg|gehweg|camino|sendero|chemin|
        sentier|
        allee|sentiero|vialetto|pad|wandelpad|caminho|trilho|cycleway|steps""",
    "bench": "bench|seat|bank|sitzbank|banco|banc|panchina|panca|bankje|zitbank|picnic table",
    "play equipment": """play equipment|swing|slide|spielgeraet|schaukel|rutsche|columpio|juego|jeu|
        balancoire|
        gioco|altalena|speeltoestel|schommel|baloico|playground""",
    "building": """building|house|school|gebaeude|haus|edificio|casa|batiment|maison|gebouw|huis|predio|
        edificacao|kindergarten|shed|garage""",
    "road": "road|street|strasse|carretera|calle|route|rue|strada|via|weg road|straat|estrada|rua|highway",
    "other": "other|sonstige|otro|otra|autre|altro|overig|outro|outra",
}
_USE = {
    "most of the day": """most of the day|all day|ganztags|todo el dia|toute la journee|tutto il giorno|
        constant""",
    "every day": """every day|daily|taeglich|cada dia|diario|tous les jours|ogni giorno|dagelijks|
        diario|frequent""",
    "now and then": """now and then|sometimes|occasional|occasionally|gelegentlich|de vez en cuando|
        de temps en temps|ogni tanto|soms|af en toe|de vez em quando|weekly""",
    "hardly ever": "hardly ever|rarely|rare|selten|rara vez|rarement|raramente|zelden|seldom|never",
}


def _flat(table: dict[str, str]) -> dict[str, str]:
    return {folded(word): kind for kind, words in table.items() for word in words.split("|")}


AREA_KIND_OF, TARGET_KIND_OF, USE_OF = _flat(_AREA), _flat(_TARGET), _flat(_USE)
# Words that are kinds of targets only: a file of them is one of targets.
ONLY_TARGETS = frozenset(TARGET_KIND_OF) - frozenset(AREA_KIND_OF)


_UNITS_HA = (
    (re.compile(r"\b(?:m2|mq|qm|sqm|m\^2|quadratmeter|square met(?:er|re)s?|metri quadri)\b"), 1e-4),
    (re.compile(r"\b(?:ac|acres?|acreage)\b"), 0.40468564224),
    (re.compile(r"\b(?:ha|hect?ares?|hektare?|ettari|hectareas|hectares)\b"), 1.0),
)


def area_unit(header: str) -> float | None:
    """Return the unit [ha] of a header of areas, None where it says none.

    References
    ----------
    The international acre: 4840 square yards of 0.9144 m (international yard and pound agreement, 1959).
    """
    words = folded(header)
    return next((unit for pattern, unit in _UNITS_HA if pattern.search(words)), None)


@lru_cache(maxsize=4096)
def shape_kind(text: str, layer: str) -> str | None:
    """Return the kind of an area or target that a word says, None where it is not known."""
    return (AREA_KIND_OF if layer == "areas" else TARGET_KIND_OF).get(folded(text))


@lru_cache(maxsize=4096)
def use_of(text: str) -> str | None:
    """Return how much people are there, None where the word is not known."""
    return USE_OF.get(folded(text))
