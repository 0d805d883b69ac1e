"""Which species a name means, and how sure that is.

The table is that of the US Forest Service, with commonly planted species of other parts of the world beside
it (``layers/data/ORIGIN.md``).
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import pandas as pd
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from layers.species_names import (
    LONGEST_NAME,
    NameParts,
    cleaned,
    folded,
    is_latin,
    parts,
    readings,
    says_hybrid_only,
    says_not_known,
)

USFS_SOURCE = "US Forest Service, FIADB table REF_SPECIES"
MORE_SOURCE = "general botanical knowledge, from memory, no source"

NameSure = Literal["sure", "doubtful", "unknown"]
MATCHED = ("scientific_name", "genus", "common_name", "name_sure", "why")

_DATA = Path(__file__).parent / "data"
_WOOD = {"S": "softwood", "H": "hardwood"}
_NO_GENUS = {"Tree"}  # rows of the table that stand for trees that nobody named
_NOT_BOTANICAL = re.compile(r"[^aeiouy]{6}|(.)\1\1")
_COMMON_LIKENESS = 90  # [%] of letters in place, below which a plain name is not guessed at


@dataclass(frozen=True)
class Match:
    """What a name was taken for."""

    scientific_name: str | None = None
    genus: str | None = None
    common_name: str | None = None
    name_sure: NameSure = "unknown"
    why: str | None = None


@lru_cache(maxsize=1)
def species_table() -> pd.DataFrame:
    """Return the species table, shared by all callers: read it, never change it.

    Returns
    -------
    pandas.DataFrame
        Indexed by ``scientific_name`` (unique; also a column), with ``common_name``, ``genus``, ``species``,
        ``softwood_hardwood`` (S, H or, in a few rows, ?), ``wood_density_green_volume`` [-],
        ``carbon_fraction_live`` [-],
        ``stump_profile_b_outside_bark`` [-] (NaN where the source has none), ``source`` and the other columns
        of the US table.

    References
    ----------
    US Forest Service, Forest Inventory and Analysis Database, table REF_SPECIES (public domain); the rows
    from ``species_more.csv`` are general botanical knowledge without a source and carry no coefficients.
    """
    usfs = _csv("species_usfs.csv").assign(source=USFS_SOURCE)
    more = _csv("species_more.csv").assign(source=MORE_SOURCE)
    more["species"] = more["scientific_name"].str.partition(" ")[2]
    table = pd.concat([usfs, more], ignore_index=True)
    return table.set_index(pd.Index(table["scientific_name"].tolist()))


def _csv(name: str) -> pd.DataFrame:
    return pd.read_csv(_DATA / name, keep_default_na=False, na_values=[""], encoding="utf-8")


@dataclass(frozen=True)
class _Lookup:
    """The table turned round: from words to names."""

    scientific: dict[str, str]  # "acer rubrum" -> name in the table
    common: dict[str, str | None]  # "red maple" -> name in the table; None: several
    common_of: dict[str, str]
    genera: dict[str, str]  # "acer" -> "Acer"
    epithets: dict[str, dict[str, str]]  # "acer" -> {"rubrum": name in the table}
    initials: dict[str, set[str]]  # "a rubrum" -> names in the table


@lru_cache(maxsize=1)
def _lookup() -> _Lookup:
    table = species_table()
    table = table[~table["genus"].isin(_NO_GENUS)]
    others = _csv("species_other_names.csv")
    scientific = {_key(name): name for name in table.index}
    common_of = dict(zip(table.index, table["common_name"], strict=True))
    common = _common_names(common_of.items())
    for other, kind, name in others.itertuples(index=False, name=None):
        if kind == "scientific":
            scientific.setdefault(_key(other), name)
        else:
            common[folded(other)] = name
    epithets: dict[str, dict[str, str]] = {}
    initials: dict[str, set[str]] = {}
    for key, name in scientific.items():
        words = key.split()
        if len(words) == 2 and words[1] != "spp.":
            epithets.setdefault(words[0], {})[words[1]] = name
            initials.setdefault(f"{words[0][0]} {words[1]}", set()).add(name)
    genera = {genus.lower(): genus for genus in table["genus"]}
    genera |= {
        key.split()[0]: key.split()[0].capitalize() for key in scientific if key.split()[0] not in genera
    }
    return _Lookup(scientific, common, common_of, genera, epithets, initials)


def _common_names(pairs: Iterable[tuple[str, str]]) -> dict[str, str | None]:
    names: dict[str, str | None] = {}
    for scientific, common in pairs:
        key = folded(common)
        if key.endswith(" spp."):
            key = key.removesuffix(" spp.")
        names[key] = None if key in names and names[key] != scientific else scientific
    return names


def _key(scientific_name: str) -> str:
    """A scientific name without the sign of a hybrid, lower case."""
    return " ".join(word for word in scientific_name.lower().split() if word != "x")


def softwood_or_hardwood(genus: str | None) -> Literal["softwood", "hardwood"] | None:
    """Return whether a genus counts as a softwood or a hardwood; ``None`` when it is not known.

    References
    ----------
    Column SFTWD_HRDWD of the US table; where its rows of a genus disagree, most of them decide.
    """
    return _wood_by_genus().get(genus or "")


@lru_cache(maxsize=1)
def _wood_by_genus() -> dict[str, Any]:
    table = species_table()
    wood = table[table["softwood_hardwood"].isin(_WOOD)].groupby("genus")["softwood_hardwood"]
    return {genus: _WOOD[letters.value_counts().index[0]] for genus, letters in wood}


def matched(names: Iterable[object]) -> pd.DataFrame:
    """Return what each name as written is taken for.

    Parameters
    ----------
    names
        An array or Series of names as written; missing ones are None or NaN. Give every name once.

    Returns
    -------
    pandas.DataFrame
        One row a name, index of the Series kept: ``scientific_name`` (name in the species table;
        ``Acer spp.`` where only the genus is said; empty when not known), ``genus``, ``common_name``,
        ``name_sure`` (sure, doubtful, unknown) and ``why`` (a sentence where it is not sure).
    """
    index = names.index if isinstance(names, pd.Series) else None
    rows = [matched_name(name) for name in names]
    columns = {word: [getattr(row, word) for row in rows] for word in MATCHED}
    return pd.DataFrame(columns, index=index, dtype=object)


def matched_name(name: object) -> Match:
    """Return what one name as written is taken for."""
    if not isinstance(name, str) or not name.strip():
        return Match(why="No name was written.")
    if len(name) > LONGEST_NAME:
        return Match(why=f"The name is longer than {LONGEST_NAME} letters and was not read.")
    clean = cleaned(name)
    if says_not_known(clean.text):
        return Match(why=f"{_quoted(clean.text)} is not the name of a species.")
    if not is_latin(clean.text):
        return Match(why="The name is not in Latin letters; write the scientific name beside it.")
    match = _best(clean.text)
    if clean.odd and match.name_sure == "sure":
        return replace(
            match,
            name_sure="doubtful",
            why=_sentence(f"The name contains {clean.odd}; taken for {match.scientific_name}"),
        )
    return match


def _best(text: str) -> Match:
    """Return the surest of what the ways to read a cell give."""
    ways = readings(text)
    found: list[Match] = []
    for attempt in (_by_scientific_name, _by_common_name, _by_likeness):
        matches = [match for match in map(attempt, ways) if match is not None]
        sure = [match for match in matches if match.name_sure == "sure"]
        if sure:
            return _one_of(text, sure)
        found += matches
    return found[0] if found else Match(why=f"No name in the species table is like {_quoted(text)}.")


def _one_of(text: str, sure: list[Match]) -> Match:
    """Return the most exact of several readings of one cell; several species are in doubt."""
    exact = [match for match in sure if not str(match.scientific_name).endswith("spp.")] or sure
    names = dict.fromkeys(str(match.scientific_name) for match in exact)
    if len(names) > 1:
        return replace(
            exact[0], name_sure="doubtful", why=_sentence(f"{_quoted(text)} may be {' or '.join(names)}")
        )
    return exact[0]


def _quoted(text: str) -> str:
    return f"“{text}”"


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _named(name: str, name_sure: NameSure = "sure", why: str | None = None) -> Match:
    genus = name.split()[0]
    return Match(name, genus, _lookup().common_of.get(name), name_sure, why)


def _by_scientific_name(text: str) -> Match | None:
    """A name that is in the table, or whose genus is and that says no more than the genus."""
    words, lookup = parts(text), _lookup()
    if words is None:
        return None
    for key in _keys(words):
        if key in lookup.scientific:
            return _named(lookup.scientific[key])
    genus = lookup.genera.get(words.genus)
    if genus is None:
        return None
    if words.epithet is None or says_hybrid_only(words.epithet):
        return _named(lookup.scientific.get(f"{words.genus} spp.", f"{genus} spp."))
    if words.other_epithet is not None:
        own = lookup.epithets.get(words.genus, {})
        if words.epithet in own and words.other_epithet in own:
            return _named(f"{genus} {words.epithet} x {words.other_epithet}")
    return None


def _keys(words: NameParts) -> Iterator[str]:
    """The keys a name may have in the table, the most exact first."""
    if words.epithet is None:
        return
    binomial = f"{words.genus} {words.epithet}"
    if words.other_epithet is not None and words.other_epithet in _lookup().epithets.get(words.genus, {}):
        yield f"{binomial} {words.other_epithet}"
        return
    if words.infra is not None:
        yield f"{binomial} {words.rank} {words.infra}"
    yield binomial
    if words.epithet.startswith("x"):
        yield f"{words.genus} {words.epithet[1:]}"


def _by_common_name(text: str) -> Match | None:
    """An English name of the table: sure when it has two words or more and means one species."""
    key = folded(text)
    for word in (key, key.removesuffix(" tree")):
        if word in _lookup().common:
            return _common_match(text, _lookup().common[word], " " in word)
    return None


def _common_match(text: str, name: str | None, sure: bool) -> Match:
    if name is None:
        return Match(why=f"{_quoted(text)} is the plain name of several species; write the scientific name.")
    if sure and not name.endswith("spp."):
        return _named(name)
    return _named(
        name, "doubtful", _sentence(f"Only the plain name {_quoted(text)} is written; taken for {name}")
    )


def _by_likeness(text: str) -> Match | None:
    """A misspelt name, a good name that the table lacks, or a misspelt plain name: never sure."""
    words = parts(text)
    if words is not None and words.epithet is not None:
        match = _like_scientific_name(text, words)
        if match is not None:
            return match
    if words is not None and words.epithet is None and len(text.split()) == 1:
        genus = _nearest(words.genus, _lookup().genera)
        if genus is not None:
            return _like(text, _lookup().scientific.get(f"{genus} spp.", f"{_lookup().genera[genus]} spp."))
    return _like_common_name(text)


def _like(text: str, name: str) -> Match:
    return _named(
        name, "doubtful", _sentence(f"{_quoted(text)} is not in the species table; taken for {name}")
    )


def _like_scientific_name(text: str, words: NameParts) -> Match | None:
    lookup, epithet = _lookup(), words.epithet or ""
    if len(words.genus) == 1:
        names = lookup.initials.get(f"{words.genus} {epithet}", set())
        return _like(text, next(iter(names))) if len(names) == 1 else None
    genus = words.genus if words.genus in lookup.genera else _nearest(words.genus, lookup.genera)
    if genus is None:
        return None
    own = lookup.epithets.get(genus, {})
    nearest = epithet if epithet in own else _nearest(epithet, own)
    if nearest is None and words.abbreviated:
        starts = {own[known] for known in own if known.startswith(epithet)}
        if len(starts) == 1:
            return _like(text, starts.pop())
    if nearest is not None:
        return _like(text, own[nearest])
    return _outside_table(text, genus, epithet)


def _outside_table(text: str, genus: str, epithet: str) -> Match:
    """A genus that is known with an epithet that is not."""
    known = _lookup().genera[genus]
    if len(epithet) < 3 or _NOT_BOTANICAL.search(epithet):
        return _like(text, _lookup().scientific.get(f"{genus} spp.", f"{known} spp."))
    why = f"The species table has {known} but no {known} {epithet}; please check the name."
    return Match(f"{known} {epithet}", known, None, "doubtful", why)


def _nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the one known word that differs from ``word`` in the fewest letters, if few enough."""
    most = 0 if len(word) < 4 else 1 if len(word) < 7 else 2 if len(word) < 12 else 3
    if most == 0:
        return None
    hits = process.extract(word, list(known), scorer=OSA.distance, score_cutoff=most, limit=2)
    if not hits or (len(hits) == 2 and hits[0][1] == hits[1][1]):
        return None
    return str(hits[0][0])


def _like_common_name(text: str) -> Match | None:
    common = _lookup().common
    hit = process.extractOne(folded(text), common.keys(), scorer=fuzz.ratio, score_cutoff=_COMMON_LIKENESS)
    if hit is None or common[hit[0]] is None:
        return None
    return _like(text, str(common[hit[0]]))
