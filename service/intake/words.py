"""Header words of tree lists in seven languages, and how a header is taken apart.

Headers are compared without case, accents, blanks and signs; units, years and stem numbers in a header are
facts of their own and are taken off first.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache


def word_set(text: str, sign: str | None = None) -> frozenset[str]:
    """Return the words of a text, between blanks or another sign."""
    return frozenset(part.strip() for part in text.split(sign))


_UNITS = {
    "mm": ("mm", "millimeter", "millimetre", "millimetres", "millimetri", "milimetros", "millimetres"),
    "cm": ("cm", "zentimeter", "centimeter", "centimetre", "centimetres", "centimetri", "centimetros"),
    "m": ("m", "meter", "metre", "metres", "meters", "metri", "metros", "mtr"),
    "in": (
        *("in", "inch", "inches", "zoll", "pulgada", "pulgadas", "pouce", "pouces", "pollici", "duim"),
        *("polegada", "polegadas"),
    ),
    "ft": ("ft", "foot", "feet", "fuss", "pies", "pieds", "piedi", "voet", "pes"),
}
UNIT_OF = {word: unit for unit, words in _UNITS.items() for word in words}

# Words that say only that the list is one of trees, or how a number was meant.
_NEUTRAL = word_set(
    "tree trees baum baeume arbol arboles arbre arbres albero alberi boom bomen arvore arvores "
    "the of de del della du des do da di il la el le der die das van het at bei in a "
    "value wert valor valeur valore waarde std on gps"
)
SEASONS = word_set(
    "spring summer fall autumn winter fruehjahr fruehling sommer herbst primavera verano otono invierno "
    "printemps ete automne hiver estate autunno inverno lente zomer herfst verao outono"
)

# our word: phrases; the first phrases of a role are the surest
_PHRASES: dict[str, str] = {
    "tag": """tag|tag nr|tag number|tag no|label|plate|baumnr|baumnummer|plakette|etikett|etiqueta|plaque|
        targhetta|targa|placa|boomnummer|boomnr|merkteken|tree no|tree nr|tree number|numero arbol|num arbol|
        numero arbre|num arbre|numero albero|num albero|numero arvore|nr|no|nummer|number|numero|num|
        etiquette|lfd nr|laufende nummer|chapa|cartellino|marke""",
    "external_id": """tree id|baumid|boomid|id arbol|id arbre|id albero|id arvore|arbol id|asset id|
        inventory id|identificativo|identificador|identifiant|identifier|id|uid|uuid|guid|gml id|
        code|codice|codigo|kennung|baumkennung|key|external id|gisid|facility id|unit id|idbase|
        feature id|map id|mapid""",
    "row_id": "object id|objectid|fid|ogc fid|oid|row|zeile|fila|ligne|riga|rij|linha|index|gid",
    "species": """scientific name|species|latin name|name lat|name latin|latin|botanical name|
        botanischer name|
        botanisch|baumart|baumart lat|baumart botanisch|wissenschaftlicher name|art|art lat|
        gattung art|baumart bot|art bot|especie|nombre cientifico|nombre botanico|espece|nom latin|
        nom scientifique|nom botanique|essence|specie|nome scientifico|nome botanico|essenza|soort|boomsoort|
        wetenschappelijke naam|latijnse naam|botanische naam|nome cientifico|taxon|species name|
        scientific|spp|specie botanica|name botanical|species botanic|name wissenschaftlich|sp""",
    "genus": "genus|genus name|gattung|genero|genre|genere|geslacht|name genus|gattung lat",
    "epithet": """epithet|species epithet|art epitheton|epitheton|specific epithet|epiteto|epithete|
        soortaanduiding|species name epithet""",
    "cultivar": """cultivar|cultivar name|cultivar variety|variety|sorte|variedad|variete|varieta|
        cultivarnaam|
        variedade|ras|name cultivar""",
    "common_name": """common name|name common|name dt|deutscher name|name deutsch|baumart deutsch|trivialname|
        name de|nombre comun|nombre vulgar|nom commun|nom vernaculaire|nom francais|nome comune|
        nome volgare|nederlandse naam|nome comum|nome popular|plain name|vernacular name|common|
        art deutsch|baumart dt|art dt|soort nl|soort nederlands""",
    "girth": """girth|girth breast height|gbh|cbh|circumference|trunk circumference|stem circumference|
        trunk girth|umfang|stammumfang|stu|baumumfang|perimetro|perimetro tronco|
        circunferencia|circunferencia tronco|cap|circonference|circonference tronc|
        circonferenza|circonferenza fusto|circonferenza tronco|omtrek|stamomtrek|
        circunferencia altura peito|tour tronc|girth tape|brusthoehenumfang|bhu|pap""",
    "diameter": """diameter|dbh|d 130|d13|diameter breast height|trunk diameter|stem diameter|
        bhd|durchmesser|stammdurchmesser|brusthoehendurchmesser|diametro|dap|diametro tronco|
        diametre|dhp|diametre tronc|diametro fusto|diametro a petto uomo|
        stammstaerke|brusthoehenstaerke|stamdiameter|borsthoogtediameter|diametro normal|
        diametro altura pecho|diametro altura peito|dia|diam|trunk dbh|stammdm|trunk width|dn""",
    "class": """class|size class|diameter class|dbh class|girth class|diameter range|dbh range|range diameter|
        durchmesserklasse|stammdurchmesserklasse|klasse|umfangklasse|bhd klasse|clase diametrica|
        rango diametro|classe diametre|classe diametro|classe diametrica|range diametro fusto|
        range diametro|fascia diametro|diameterklasse|classe diametro tronco|classe dap|size range|
        classe circonference|classe circonferenza|girth range""",
    "size": "size|tree size|trunk size|stem size|size of tree|size of trunk|size of stem",
    "height": """height|total height|hoehe|baumhoehe|gesamthoehe|altura|altura total|hauteur|hauteur totale|
        altezza|altezza totale|hoogte|boomhoogte|altezza albero|ht|hgt""",
    "crown": """crown diameter|crown spread|crown width|crown|kronendurchmesser|kronenbreite|krone|
        diametro copa|copa|ancho copa|diametre couronne|diametre houppier|houppier|diametro chioma|
        larghezza chioma|chioma|kroondiameter|kroonbreedte|kroon|diametro copa arvore|canopy diameter|
        canopy spread|spread|envergure""",
    "measuring_height": """measuring height|height of measurement|measurement height|messhoehe|
        altura medicion|
        hauteur mesure|altezza misura|altezza misurazione|meethoogte|altura medicao|pom|pom height""",
    "place": """place|location|park|site name|area name|ort|standort|anlage|gruenanlage|objekt|objektname|
        lugar|ubicacion|emplazamiento|lieu|emplacement|site|luogo|localita|ubicazione|plaats|locatie|
        standplaats|local|localizacao|parque|parc|parco|school|schule|plot""",
    "quarter": """neighbourhood|neighborhood|neighbourhood name|neighborhood name|quarter|district|ward|
        stadtteil|ortsteil|bezirk|quartier|barrio|distrito|arrondissement|quartiere|rione|
        wijk|buurt|stadsdeel|bairro|freguesia|zone|zona|municipio""",
    "street": """street|street name|on street|strasse|strassenname|calle|via|rue|nom rue|straat|
        straatnaam|rua|road name|address|adresse|direccion|indirizzo|adres|endereco""",
    "measured_on": """measured on|date measured|measurement date|survey date|inventory date|date|
        date survey|datum|aufnahmedatum|messdatum|erfassungsdatum|kontrolldatum|fecha|fecha medicion|
        fecha inventario|date mesure|date releve|date inventaire|data censimento|data rilievo|data misura|
        data|datum meting|meetdatum|inventarisatiedatum|data medicao|data inventario|
        inspection date|last measured on|messjahr|erfassungsjahr|year measured|survey year|aufnahmejahr|
        measured|gemessen am|medido el|mesure le|misurato il|gemeten op|medido em""",
    "status": """status|state|alive|condition|health|tree status|tree condition|zustand|vitalitaet|baumstatus|
        estado|estado fitosanitario|vitalidad|etat|etat sanitaire|vitalite|stato|
        stato vegetativo|stato salute|vitalita|toestand|conditie|vitaliteit|situacao|estado vegetativo|
        vitalidade|dead alive|mort|condicion|salud""",
    "record_kind": """record kind|record type|type|tipologia|tipo|typ|objektart|art objekt|objekttyp|kind|
        site type|tipo elemento|type objet|categorie|categoria|kategorie|category|soort object|
        tree or site|plantstatus|tipo registro""",
    "planted_on": """planted on|date planted|planting date|planted|plant date|year planted|planting year|
        pflanzjahr|pflanzdatum|gepflanzt|baujahr|fecha plantacion|ano plantacion|anno impianto|
        date plantation|annee plantation|anneeplantation|data impianto|plantjaar|plantdatum|data plantio|
        ano plantio|jahr pflanzung|data messa dimora""",
    "lon": """longitude|lon|long|lng|lon deg|laenge|laengengrad|geographische laenge|longitud|
        longitudine|lengtegraad|point x lon|xlon|wgs84 lon|lon wgs84|geo lon|lengte""",
    "lat": """latitude|lat|lat deg|breite|breitengrad|geographische breite|latitud|latitudine|breedtegraad|
        ylat|wgs84 lat|lat wgs84|geo lat|breedte""",
    "x": """x|x coord|coord x|coordx|xcoord|x coordinate|point x|pointx|easting|east|rechtswert|rw|ostwert|
        ost|x koordinate|koordinate x|coordenada x|coordonnee x|coordinata x|x coordinaat|x utm|utm x|utm e|
        este|est|oost|pos x|geo x|e|x wert|xutm|x rd""",
    "y": """y|y coord|coord y|coordy|ycoord|y coordinate|point y|pointy|northing|north|hochwert|hw|nordwert|
        nord|y koordinate|koordinate y|coordenada y|coordonnee y|coordinata y|y coordinaat|y utm|utm y|utm n|
        norte|noord|pos y|geo y|n|y wert|yutm|y rd""",
    "geometry": "geometry|geom|wkt|the geom|shape|geometria|geometrie|wkt geometry|wkt geom|geometry wkt",
    "point": """geo point 2d|geo point|geopoint|coordinates|coordenadas|coordonnees|koordinaten|coordinate|
        coordinaten|lat lon|latlon|lat long|latlng|position|geolocation|geolocalisation|gps""",
    "name": "name|area name|bezeichnung|nombre|nom|nome|naam|title|titel|titre|titolo|label",
    "use": "use|usage|nutzung|uso|utilisation|gebruik|utilizzo|frequentation",
    "area_ha": """typed area|area ha|hectares|hektar|flaeche ha|superficie ha|hectareas|surface ha|ettari|
        oppervlakte ha|hectare|area hectares|flaeche|area m 2|area sqm|square metres|square meters|
        surface m 2|superficie m 2|flaeche m 2|flaeche qm|oppervlakte m 2|superficie mq|area acres|
        acres|acreage""",
    "keeper": "keeper",
}


@dataclass(frozen=True)
class HeaderWords:
    """A header taken apart: its key and shorter forms of it, the unit [-], the year, the stem number."""

    keys: tuple[str, ...]
    unit: str | None = None
    year: int | None = None
    season: bool = False
    index: int | None = None
    height_m: float | None = None


@lru_cache(maxsize=65_536)
def folded(text: str) -> str:
    """Return text without case, accents and umlauts, as words of letters and digits with single blanks."""
    text = unicodedata.normalize("NFKC", re.sub(r"(?i)\bn\s?[°º]|№|#", " nr ", text))
    text = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", text).casefold()
    for letter, plain in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ø", "o"), ("æ", "ae"), ("œ", "oe")):
        text = text.replace(letter, plain)
    text = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
    return " ".join(re.findall(r"[^\W_]+", text))


def _table() -> dict[str, list[tuple[str, float]]]:
    known: dict[str, list[tuple[str, float]]] = {}
    for role, phrases in _PHRASES.items():
        words = [folded(p).replace(" ", "") for p in phrases.split("|")]
        for place, key in enumerate(words):
            if all(role != other for other, _ in known.get(key, [])):
                known.setdefault(key, []).append((role, 1.0 - 0.3 * place / len(words)))
    return known


KNOWN = _table()
CUT_AT = 10  # bytes of a header in a shapefile (dBASE III)
ROLES = tuple(_PHRASES)


def _year(header: str, this_year: int) -> int | None:
    found = re.search(r"(?<!\d)(1[89]\d\d|20\d\d)(?!\d)", header)
    if found:
        return int(found.group(1))
    short = re.search(r"['’`´](\d\d)(?!\d)", header)
    if short is None:
        return None
    year = 2000 + int(short.group(1))
    return year if year <= this_year + 1 else year - 100


_AT = r"(?:\b(?:in|bei|at|a|ad|op|auf|gemessen in|measured at)|[à@])\s*"
_ABOVE = (
    r"(?:\s*(?:(?:di|de|d'|of)\s*)?(?:höhe|hoehe|height|hoogte|hauteur|altezza|altura|"
    r"above ground(?: level)?|über (?:dem )?boden|du sol|dal suolo|del suelo|do solo|boven maaiveld)\b)?"
)
_HEIGHTS = (  # in metres, centimetres and feet; a whole number of metres needs its preposition
    (re.compile(rf"(?i)(?:{_AT})?(?<![\d.,])([01][.,]\d{{1,4}})\s*m\b{_ABOVE}"), 1.0),
    (re.compile(rf"(?i){_AT}([01])\s*m\b{_ABOVE}"), 1.0),
    (re.compile(rf"(?i){_AT}(50|1[0-5]\d)\s*cm\b{_ABOVE}"), 0.01),
    (re.compile(rf"(?i){_AT}([1-5](?:[.,]\d)?)\s*(?:ft\b|feet\b|foot\b|')\.?{_ABOVE}"), 0.3048),
)
_BREAST = re.compile(r"(?i)^\W*([dcu])[ _]?(?:1[.,]30?|130)(?!\d)")  # d1.3, C130
_WITH_130 = re.compile(r"(?i)\b(?:d|dbh|bhd|du|u|girth|umfang|stu)_?(130|137|100|140|150)\b")
_STEM = r"(?:stem|trunk|stamm|tronc|tronco|fusto|tallo|stam|brin)"
_OF_STEM = re.compile(
    rf"(?i)\b{_STEM}\s*(?:nr\.?|no\.?|#)?\s*(\d{{1,2}})\b|\b(\d{{1,2}})\s*[.:]?\s*{_STEM}\b"
)
_DIAMETER_SIGN = re.compile(r"[⌀∅]|(?<![^\W\d_])[Øø](?![^\W\d_])")
_IN_YEAR = re.compile(r"(?i)\sin\s+(?=(?:1[89]|20)\d\d)")


def _without_height(header: str) -> tuple[str, float | None]:
    """Return a header without the height of measuring that it says, and that height [m]."""
    for pattern, metres in _HEIGHTS:
        found = pattern.search(header)
        if found:
            height = round(float(found.group(1).replace(",", ".")) * metres, 4)
            return f"{header[: found.start()]} {header[found.end() :]}", height
    found = _BREAST.match(header)
    if found:
        return ("dbh " if found.group(1) in "dD" else "girth ") + header[found.end() :], 1.3
    found = _WITH_130.search(header)
    return header, int(found.group(1)) / 100 if found else None


def _without_stem(header: str) -> tuple[str, int | None]:
    """Return a header without the number of a stem that it says, and that number."""
    found = _OF_STEM.search(header)
    if found is None:
        return header, None
    return f"{header[: found.start()]} {header[found.end() :]}", int(found.group(1) or found.group(2))


@lru_cache(maxsize=4096)
def taken_apart(header: str, this_year: int = 2100) -> HeaderWords:
    """Return the words of a header; ``keys`` go from everything it says to its core."""
    year = _year(header, this_year)
    bare, height = _without_height(_IN_YEAR.sub(" ", _DIAMETER_SIGN.sub(" durchmesser ", header)))
    bare = re.sub(r"(1[89]\d\d|20\d\d)|['’`´]\d\d", " ", bare) if year else bare
    bare, index = _without_stem(bare)
    all_tokens = re.sub(r"(?<=\D)(?=\d)|(?<=\d)(?=\D)", " ", folded(bare)).split()
    unit = "in" if re.search(r"[\d\s(\[]?[\"″”][)\]]?\s*$", header) else None
    tokens = list(all_tokens)
    for place in range(len(tokens) - 1, 0, -1):
        is_last = place == len(tokens) - 1  # elsewhere "in" is no inch
        if unit is None and tokens[place] in UNIT_OF and (is_last or tokens[place] != "in"):
            unit = UNIT_OF[tokens[place]]
            del tokens[place]
    if len(tokens) > 1 and tokens[-1].isdigit() and 1 <= int(tokens[-1]) <= 30 and height is None:
        index = int(tokens.pop())
    season = any(t in SEASONS for t in tokens)
    core = [t for t in tokens if t not in SEASONS and not (height and t.isdigit())]
    short = [t for t in core if t not in _NEUTRAL]
    forms = ("".join(all_tokens), "".join(tokens), "".join(core), "".join(short))
    keys = tuple(dict.fromkeys(form for form in forms if form))
    return HeaderWords(keys, unit, year, season, index, height)


_COORDINATES = ("lon", "lat", "x", "y", "point")


def roles_of(header: str, this_year: int = 2100) -> dict[str, float]:
    """Return what a header may stand for: our word -> how well it fits, 0 to 1."""
    fits: dict[str, float] = {}
    for step, key in enumerate(taken_apart(header, this_year).keys):
        for role, weight in KNOWN.get(key, []):
            fits[role] = max(fits.get(role, 0.0), weight * (1.0 - 0.05 * step))
    bare = re.sub(r"[(\[][^)\]]*[)\]]", " ", header)  # "Coord X (L93)": what follows is the system
    if not fits and bare != header:
        fits = {r: 0.8 * fit for r, fit in roles_of(bare, this_year).items() if r in _COORDINATES}
    return fits or _roles_of_cut(header, this_year)


def _roles_of_cut(header: str, this_year: int) -> dict[str, float]:
    """Return what a header may stand for of which only the ten characters are left that dBASE keeps."""
    if len(header.encode()) != CUT_AT:
        return {}
    known = []
    for key in taken_apart(header, this_year).keys:
        longer = sorted((word for word in KNOWN if len(key) >= 5 and word.startswith(key)), key=len)
        one = longer[:1] if all(word.startswith(longer[0]) for word in longer) else longer
        known += [KNOWN[word] for word in one]
    without_unit = KNOWN.get("".join(folded(header).split()[:-1]))  # "diameter_c": the c may be of cm
    if without_unit is not None:
        known.append(without_unit)
    found = {role for roles in known for role, _ in roles}
    return dict.fromkeys(found, 0.7) if len(found) == 1 else {}


LANGUAGE_WORDS: dict[str, frozenset[str]] = {
    "en": word_set("tree species height diameter girth street planted location name common crown"),
    "de": word_set(
        "baum umfang stammumfang hoehe krone kronendurchmesser standort strasse baumart pflanzjahr nr dt "
        "name_dt baumnr ort gattung"
    ),
    "es": word_set("arbol especie altura diametro perimetro calle copa fecha nombre barrio"),
    "fr": word_set("arbre espece hauteur diametre circonference rue houppier date nom lieu essence"),
    "it": word_set(
        "albero essenza altezza diametro circonferenza via chioma data specie fusto censimento tipologia "
        "posizione suolo identificativo portamento stato disposizione interferenze foglia"
    ),
    "nl": word_set("boom soort hoogte diameter omtrek straat kroon datum naam plaats boomsoort"),
    "pt": word_set("arvore especie altura diametro perimetro rua copa data nome bairro"),
}


def language(headers: list[str]) -> str | None:
    """Return the language that most headers speak, or None where none leads."""
    said = [token for header in headers for token in folded(header).split()]
    counts = {code: sum(token in words for token in said) for code, words in LANGUAGE_WORDS.items()}
    ranked = sorted(counts.items(), key=lambda item: -item[1])
    return ranked[0][0] if ranked[0][1] > 0 and ranked[0][1] > ranked[1][1] else None


def speaks_metric(headers: list[str]) -> bool:
    """Return whether headers are rather in the languages of countries with metric units than in English."""
    said = {token for header in headers for token in folded(header).split()}
    english = LANGUAGE_WORDS["en"]
    others = frozenset().union(*(words for code, words in LANGUAGE_WORDS.items() if code != "en"))
    return len(said & others - english) > len(said & english - others)
