"""Plant names as people write them, taken apart into the words that a table can be asked about.

Nothing here knows which species there are; :mod:`layers.species` looks the words up.
"""

import re
import unicodedata
from dataclasses import dataclass

LONGEST_NAME = 200

_QUOTES = "'\"`´‘’‚‛“”„«»‹›"
_RANKS = {
    "ssp": "ssp.",
    "subsp": "ssp.",
    "subspecies": "ssp.",
    "var": "var.",
    "varietas": "var.",
    "f": "f.",
    "fo": "f.",
    "forma": "f.",
}
_CULTIVAR_WORDS = {"cv", "cvar", "cultivar", "convar", "sorte"}
_SPECIES_WORDS = {"sp", "spp", "spec", "species", "unknown", "indet", "spez", "xx"}
_HYBRID_WORDS = {"hybr", "hybrid", "hybrids", "hybride", "hybriden", "hybrida", "hybridus", "hypride"}
_HYBRID_SIGNS = {"x", "×"}
_NOT_KNOWN = {
    *("unknown", "unbekannt", "sconosciuto", "sconosciuta", "indeterminata", "indeterminato", "inconnu"),
    *("inconnue", "desconocido", "desconocida", "onbekend", "ukendt", "ukjent", "okänd", "nieznany"),
    *("na", "n/a", "n.a.", "nan", "none", "null", "nil", "tbd", "k.a.", "indet", "indet.", "unidentified"),
    *("undetermined", "unspecified", "unsure", "misc", "various", "diverse", "other", "others", "x"),
    *("sp", "sp.", "spp", "spp.", "species", "tree", "baum", "albero", "arbre", "arbol", "árbol"),
    *("not known", "no idea", "not said", "nicht bekannt", "keine angabe", "non determinato"),
    *("non déterminé", "unknown species", "species unknown", "unknown tree", "tree unknown"),
}

# Letters of other alphabets that look like Latin ones (common practice, no source: the usual look-alikes).
_LOOKALIKES = str.maketrans(
    "АВЕЅІЈКМНОРСТУХаеѕіјорсухһԁԛԝΑΒΕΖΗΙΚΜΝΟΡΤΥΧοıɑ",
    "ABESIJKMHOPCTYXaesijopcyxhdqwABEZHIKMNOPTYXoia",
)


@dataclass(frozen=True)
class Cleaned:
    """A name without what cannot be seen; ``odd`` says in words what was found and put right."""

    text: str
    odd: str | None = None


@dataclass(frozen=True)
class NameParts:
    """The words of a scientific name, lower case: genus, epithet and what stands below or beside it."""

    genus: str
    epithet: str | None = None
    rank: str | None = None  # ssp., var. or f.
    infra: str | None = None
    other_epithet: str | None = None  # second parent of a hybrid formula
    abbreviated: bool = False  # the epithet was cut short with a full stop


def folded(text: str) -> str:
    """Return ``text`` in lower case without accents, hyphens and blanks as single blanks."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return " ".join(plain.casefold().replace("-", " ").split())


def cleaned(name: str) -> Cleaned:
    """Return a name without invisible characters and with look-alike letters replaced by Latin ones."""
    text = unicodedata.normalize("NFKC", name)
    visible = "".join(
        c for c in text if unicodedata.category(c) not in ("Cf", "Cc", "Co", "Cs") or c.isspace()
    )
    found = []
    if visible != text:
        found.append("characters that cannot be seen")
    if any(_foreign(c) for c in visible):
        replaced = visible.translate(_LOOKALIKES)
        if not any(_foreign(c) for c in replaced):
            found.append("letters of another alphabet that look like Latin ones")
            visible = replaced
    return Cleaned(" ".join(visible.split()), " and ".join(found) or None)


def _foreign(character: str) -> bool:
    return character.isalpha() and "LATIN" not in unicodedata.name(character, "LATIN")


def says_not_known(text: str) -> bool:
    """Return whether the words say that nobody knows the name."""
    plain = text.casefold().strip(" " + _QUOTES + "()[]")
    return plain in _NOT_KNOWN or not any(c.isalpha() for c in plain)


def is_latin(text: str) -> bool:
    """Return whether all letters of ``text`` are Latin ones."""
    return not any(_foreign(c) for c in text)


def readings(text: str) -> list[str]:
    """Return the ways to read one cell: as a whole, then what stands beside and inside its separators.

    ``Taxus baccata (Tasso)``, ``Quercus agrifolia :: Coast live oak``, ``Beech - Fagus sylvatica``.
    """
    ways = [text]
    outside = " ".join(re.sub(r"[(\[][^()\[\]]*[)\]]", " ", text).split())
    ways.append(outside)
    ways += re.findall(r"[(\[]([^()\[\]]+)[)\]]", text)
    ways += re.split(r"\s*(?:[:;|]+|\s[-–—/]\s)\s*", outside)
    ways += [" ".join(reversed(outside.split(", ")))] if outside.count(", ") == 1 else []
    unique = dict.fromkeys(way.strip() for way in ways)
    return [way for way in unique if way]


def _tokens(text: str) -> list[str]:
    """Split a name before its cultivar: quotes end it; signs of hybrids become ``x``."""
    bare = text.strip()
    if bare[:1] in _QUOTES:
        bare = bare.strip(_QUOTES + " ")
    cut = re.split(f"[{re.escape(_QUOTES)}]", bare, maxsplit=1)[0]
    spaced = re.sub(r"[×✕✖]", " x ", cut)
    spaced = re.sub(r"^x(?=[A-Z])", "", spaced)
    return spaced.replace(",", " ").replace("_", " ").split()


def _plain(token: str) -> str:
    return "".join(
        c for c in unicodedata.normalize("NFKD", token.casefold()) if not unicodedata.combining(c)
    ).strip(".()[]{};:!?*#+")


def parts(text: str) -> NameParts | None:
    """Return the words of a scientific name, or ``None`` when the text does not begin like one."""
    tokens = _tokens(text)
    while tokens and _plain(tokens[0]) in _HYBRID_SIGNS:
        tokens = tokens[1:]
    if not tokens or not re.fullmatch(r"[a-z]+(?:-[a-z]+)?", _plain(tokens[0])):
        return None
    genus = _plain(tokens[0])
    rest = [token for token in tokens[1:] if _plain(token) not in _HYBRID_SIGNS or token is not tokens[1]]
    if not rest or _ends_before_epithet(rest[0]):
        return NameParts(genus)
    epithet = _plain(rest[0])
    rank, infra = _below(rest[1:])
    return NameParts(genus, epithet, rank, infra, _formula(genus, rest), rest[0].endswith("."))


def _ends_before_epithet(token: str) -> bool:
    plain = _plain(token)
    return (
        len(plain) < 3  # the initials of an author
        or plain in _SPECIES_WORDS
        or plain in _CULTIVAR_WORDS
        or plain in _RANKS
        or plain in _HYBRID_SIGNS
        or (plain in _HYBRID_WORDS and plain not in ("hybrida", "hybridus"))
        or not re.fullmatch(r"[a-z]+(?:-[a-z]+)*", plain)
    )


def _below(rest: list[str]) -> tuple[str | None, str | None]:
    for i, token in enumerate(rest[:-1]):
        rank = _RANKS.get(_plain(token))
        if rank is not None:
            return rank, _plain(rest[i + 1])
    return None, None


def _formula(genus: str, rest: list[str]) -> str | None:
    """Return the second parent of ``robur x alba`` or ``robur x Q. alba``."""
    for i, token in enumerate(rest):
        if i and _plain(token) in _HYBRID_SIGNS:
            after = [_plain(t) for t in rest[i + 1 :]]
            if after and (after[0] == genus or (len(after[0]) == 1 and after[0] == genus[0])):
                after = after[1:]
            return after[0] if after and re.fullmatch(r"[a-z-]{3,}", after[0]) else None
    return None


def says_hybrid_only(epithet: str) -> bool:
    """Return whether an epithet says no more than that the plant is a hybrid."""
    return epithet in _HYBRID_WORDS
