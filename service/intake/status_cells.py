"""Words for what a row or stem is: living, dead, removed; a tree, a stump, a gap; and words of size cells."""

import re
from functools import lru_cache

from service.intake.words import folded, word_set

_STATUS = {
    "dead": """dead|tot|abgestorben|muerto|muerta|seco|seca|mort|morte|morto|morta|dood|afgestorven|
        standing dead|dead standing|dead tree|deceased|fallen|snapped|died|died back|snag|secco|secca|
        stehend tot|totholz|abgestorben stehend|mort sur pied|muerto en pie|morto in piedi|morto em pe|
        dood staand|staand dood""",
    "removed": """removed|felled|cut down|cut|gefaellt|entfernt|geroded|gerodet|talado|talada|retirado|
        eliminado|abattu|abattue|supprime|abbattuto|abbattuta|rimosso|rimossa|gekapt|verwijderd|geveld|
        abatido|abatida|removido|removida|gone|missing tree|nicht mehr vorhanden|no longer there|
        no longer present|no longer exists|entnommen|disparu|disparue|scomparso|scomparsa|desaparecido|
        desaparecida|verdwenen|ya no existe|n existe plus|non piu presente""",
    "living": """living|alive|live|lebend|lebendig|vital|vivo|viva|vivant|vivante|levend|standing|good|
        fair|poor|
        excellent|very good|very poor|critical|healthy|gut|mittel|schlecht|sehr gut|maessig|geschaedigt|
        bueno|regular|malo|buena|mala|bon|moyen|mauvais|mediocre|buono|discreto|pessimo|ottimo|scarso|
        goed|matig|slecht|redelijk|bom|boa|ruim|razoavel|mau|dying|declining|stressed|absterbend""",
    "unknown": "unknown|unbekannt|desconocido|inconnu|sconosciuto|onbekend|desconhecido",
}
STATUS_OF = {
    folded(word): status for status, words in _STATUS.items() for word in words.replace("\n", " ").split("|")
}

_KINDS = {
    "tree": """tree|trees|baum|arbol|arbre|albero|boom|arvore|einzelbaum|new planting|neupflanzung|
        nueva plantacion|nouvelle plantation|plantation|neoimpianto|nuovo impianto|nieuwe aanplant|
        jungbaum|young tree|jeune arbre|conifer|deciduous|laubbaum|nadelbaum|palm|street tree|park tree|
        strassenbaum|parkbaum|existing|bestand|planted|specimen""",
    "stump": """stump|tree stump|stubben|baumstumpf|stumpf|stubbe|tocon|souche|ceppaia|ceppo|stronk|stomp|
        boomstronk|toco|cepo|baumstubben""",
    "gap": """gap|fehlstelle|luecke|hueco|manque|fallanza|falla|lacuna|leemte|falha|missing""",
    "vacant": """vacant|vacant site|vacant planting site|vacant place|planting site|empty|empty site|
        empty pit|planting place|leer|leere baumscheibe|pflanzplatz|freier standort|alcorque vacio|
        vacio|vacante|vacant pit|emplacement vide|fosse vide|place vide|posta vuota|posto vuoto|vuoto|
        lege plek|leeg|leeg plantvak|vazio|cova vazia|available site|potential site""",
    "other": """moncone|dismesso|abandoned|disused|retired|snag only|hedge|shrub|hecke|strauch|seto|arbusto|
        haie|arbuste|siepe|haag|struik|sebe|pole|monolith""",
}
KIND_OF = {
    folded(word): kind for kind, words in _KINDS.items() for word in words.replace("\n", " ").split("|")
}

_DOUBTFUL_STATUS = frozenset({"missing", "manque", "falta"})  # it may be there and was not found
_NO_TREE = frozenset({"stump", "gap", "vacant"})
# Among names these may say that no name was written, not that no tree stands there.
_NAMELESS = word_set(
    "missing|manque|falla|falta|lacuna|gap|luecke|hueco|empty|leer|leeg|vacio|vuoto|vazio|vacante|falha", "|"
)
_NO_SIZE = word_set(
    "too short|too small|below limit|not measured|not found|zu klein|under limit|no dbh|missed", "|"
)


@lru_cache(maxsize=4096)
def status_of(cell: str) -> str | None:
    """Return living, dead, removed or unknown for a word of a list, None where the word is not known."""
    words = folded(cell)
    if words in STATUS_OF:
        return STATUS_OF[words]
    for first in ("dead", "removed", "tot", "muerto", "mort", "morto", "dood"):
        if words.startswith(first + " "):
            return STATUS_OF[first]
    return None


@lru_cache(maxsize=4096)
def kind_of(cell: str) -> str | None:
    """Return tree, stump, gap, vacant or other for a word of a list, None where the word is not known."""
    return KIND_OF.get(folded(cell))


@lru_cache(maxsize=4096)
def kind_in_status(cell: str) -> str | None:
    """Return stump, gap or vacant where the word of a column of statuses says that no tree stands there."""
    kind = kind_of(cell)
    no_tree = kind in _NO_TREE and folded(cell) not in _DOUBTFUL_STATUS
    return kind if no_tree and status_of(cell) is None else None


@lru_cache(maxsize=4096)
def kind_in_name(name: str) -> str | None:
    """Return stump or vacant where a name says that no tree stands there: ``Vacant site, large``."""
    words = folded(name).split()
    for several in range(len(words), 0, -1):
        first = " ".join(words[:several])
        if KIND_OF.get(first) in _NO_TREE and first not in _NAMELESS:
            return KIND_OF[first]
    return None


@lru_cache(maxsize=4096)
def status_in_name(name: str) -> str | None:
    """Return dead or removed where that is all that is written for the name of a tree."""
    status = STATUS_OF.get(folded(name))
    return status if status in ("dead", "removed") else None


@lru_cache(maxsize=4096)
def status_in_size(cell: str) -> tuple[str, str] | None:
    """Return (status, the rest that may be a size) of a size cell such as ``DEAD`` or ``DEAD - 18.1``."""
    found = re.match(r"\s*([^\W\d_]+(?:\s+[^\W\d_]+)?)\b\s*[-:,;(]*\s*(.*?)\)?\s*$", cell, re.DOTALL)
    if found is None:
        return None
    status = STATUS_OF.get(folded(found.group(1)))
    return (status, found.group(2)) if status in ("dead", "removed", "living") else None


def says_no_size(cell: str) -> bool:
    """Return whether a size cell says why there is no size: too short, not found."""
    return folded(cell) in _NO_SIZE
