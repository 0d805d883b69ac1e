"""The list "to be looked at": questions that recorded facts raise about trees (definitions R12).

Three kinds: *signs* (only these count as to be looked at), *circumstances* (they order the looking) and
*gaps* (something to find out). A list, never an inspection: the caution goes with it wherever it is shown.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import columns, seen, underneath
from layers.circumstances import circumstances, gaps
from layers.days import Days
from layers.findings import answers
from layers.inputs import Records, SiteTerms
from layers.screening_questions import questions
from layers.screening_rules import FIRST_LOOK_DAYS, GAP_DAYS, QUALIFIED, RULES, SIGN_DAYS
from layers.standing import REMOVED
from layers.surroundings import Surroundings, surroundings
from layers.translating import N_, filled

QUALIFIED_HERE = N_("a qualified person (here: %(text)s)")
_KINDS = ("sign", "circumstance", "gap")
_FACTS = ("height", "name", "reach not known")  # settled by finding out, not by looking
_PLACE = {word: number for number, word in enumerate(RULES)}


def flags(
    records: Records,
    trees: pd.DataFrame,
    terms: SiteTerms,
    as_of: str,
    *,
    around: Surroundings | None = None,
) -> pd.DataFrame:
    """Return every question about the trees of a site on a day, in the order of looking.

    Parameters
    ----------
    records
        The records of the site.
    trees
        Columns of TREES on that day; removed trees raise nothing.
    terms
        Intervals, country, time zone and who is qualified here.
    as_of
        The day, taken to its end.
    around
        What is round these trees on that day, where it was worked out before.

    Returns
    -------
    pandas.DataFrame
        Columns of FLAGS, answered questions included (``answered`` says how). The order: open before
        answered; signs, circumstances, gaps; the six danger sights first; where more people are first; what
        could reach something first; then by rule and tree. It says which first, never whether.
    """
    columns.require(
        trees, "trees", ("tree_id", "tag", "place", "status", "name_as_written", "scientific_name")
    )
    around = around or surroundings(records, trees, terms, as_of)
    raised = [*around.signs, *circumstances(around), *gaps(around, records, terms, as_of)]
    if not raised:
        return columns.empty("flags")
    cells = {
        name: list(cell) for name, cell in zip(seen.Raised._fields, zip(*raised, strict=True), strict=True)
    }
    return _listed(_keyed(cells, around), around, records, terms, as_of)


def _keyed(cells: dict[str, list[object]], around: Surroundings) -> pd.DataFrame:
    """What was raised, with keys and what the order and the answers go by."""
    tree = np.array(cells["tree"], dtype=np.int64)
    tree_id = around.trees["tree_id"].to_numpy(dtype=object)[tree]
    targets = zip(cells["rule"], tree_id, cells["target_id"], strict=True)
    return pd.DataFrame(
        {
            "tree": tree,
            "tree_id": tree_id,
            "rule": pd.Series(cells["rule"], dtype=object),
            "target_id": pd.Series(cells["target_id"], dtype=object),
            "evidence": pd.Series(cells["evidence"], dtype=object),
            "since": np.array(cells["since"], dtype="datetime64[D]").astype("datetime64[s]"),
            "danger": np.array(cells["danger"], dtype=bool),
            "size_m": np.array(cells["size_m"], dtype=float),
            "use": around.use[tree],
            "flag_key": pd.Series([f"{rule}:{id}:{at or 'none'}" for rule, id, at in targets], dtype=object),
        }
    )


def _listed(
    rows: pd.DataFrame, around: Surroundings, records: Records, terms: SiteTerms, as_of: str
) -> pd.DataFrame:
    """The questions with their answers, dates and words, in order."""
    code, words = pd.factorize(rows["rule"])
    rules = [RULES[word] for word in words]

    def of_rule(values: list[object]) -> NDArray[np.object_]:
        return np.asarray(np.array(values, dtype=object)[code])

    tree = rows["tree"].to_numpy()
    out = rows[["flag_key", "tree_id", "rule", "evidence", "target_id"]].assign(
        tag=around.trees["tag"].to_numpy(dtype=object)[tree],
        place=around.trees["place"].to_numpy(dtype=object)[tree],
        kind=of_rule([rule.kind for rule in rules]),
        rule_version=of_rule([rule.version for rule in rules]),
        words=of_rule([rule.question for rule in rules]),
        source=of_rule([rule.source for rule in rules]),
        who_may_answer=of_rule([_who(rule.who, terms) for rule in rules]),
        answer_by=_texts(_answer_by(rows, around, records)),
        answered=pd.Series(answers(rows, records.findings, as_of), index=rows.index, dtype=object),
    )
    out = out.iloc[_order(rows, out, around)].reset_index(drop=True)
    number = np.arange(1, len(out) + 1)
    return columns.shaped("flags", out.assign(fid=number, order=number))


def _who(who: str, terms: SiteTerms) -> str:
    return filled(QUALIFIED_HERE, text=terms.qualified) if who == QUALIFIED and terms.qualified else who


def _texts(days: Days) -> NDArray[np.object_]:
    texts = np.datetime_as_string(days).astype(object)
    texts[np.isnat(days)] = None
    return np.asarray(texts)


def _order(rows: pd.DataFrame, out: pd.DataFrame, around: Surroundings) -> NDArray[np.int64]:
    """Row numbers in the order of looking; the last key counts most."""
    tree = rows["tree"].to_numpy()
    keys = (
        tree,
        out["rule"].map(_PLACE).to_numpy(),
        ~around.reaches[tree],
        rows["use"].to_numpy(),
        ~rows["danger"].to_numpy(dtype=bool),
        out["kind"].map({kind: number for number, kind in enumerate(_KINDS)}).to_numpy(),
        out["answered"].notna().to_numpy(),
    )
    return np.asarray(np.lexsort(keys))


def _answer_by(rows: pd.DataFrame, around: Surroundings, records: Records) -> Days:
    """By when each question should be answered: our reminders, counted from when it was raised."""
    begin = _records_begin(records)
    tree, since = rows["tree"].to_numpy(), rows["since"].to_numpy().astype("datetime64[D]")
    patience = np.array([SIGN_DAYS[use] for use in underneath.USE_ORDER])[rows["use"].to_numpy()]
    patience = np.where(rows["danger"].to_numpy(), 0, patience).astype("timedelta64[D]")
    is_sign = rows["rule"].map(lambda word: RULES[word].kind == "sign").to_numpy(dtype=bool)
    is_fact = rows["rule"].isin(_FACTS).to_numpy(dtype=bool)
    due = around.looks.due
    look = np.where(np.isnat(due), begin + np.timedelta64(FIRST_LOOK_DAYS, "D"), due)[tree]
    by = np.where(is_fact, begin + np.timedelta64(GAP_DAYS, "D"), look)
    return np.asarray(np.where(is_sign, np.where(np.isnat(since), begin, since) + patience, by))


def _records_begin(records: Records) -> np.datetime64:
    """The first day on which anything was said of this site; NaT when nothing was."""
    said = (
        records.readings["received_at"],
        records.observations["received_at"],
        records.inspections["inspected_on"],
    )
    first = [str(times.dropna().min())[:10] for times in said if times.notna().any()]
    return np.datetime64(min(first) if first else "NaT", "D")


def with_flags(
    trees: pd.DataFrame,
    flags: pd.DataFrame,
    records: Records,
    terms: SiteTerms,
    as_of: str,
    *,
    around: Surroundings | None = None,
) -> pd.DataFrame:
    """Return the table of trees with what the screening knows of each.

    Parameters
    ----------
    trees, flags
        Columns of TREES and FLAGS of the same day.
    records, terms, as_of, around
        As for :func:`flags`.

    Returns
    -------
    pandas.DataFrame
        Same rows and index: ``last_inspected_on``, ``inspection_level``, ``signs`` and ``circumstances``
        (open ones, in words), ``questions_asked``, ``questions_not_askable``. Removed trees have none.
    """
    around = around or surroundings(records, trees, terms, as_of)
    asked = questions(around)
    at = pd.Index(asked.tree_id).get_indexer(trees["tree_id"])
    listed = per_tree(flags, trees["tree_id"])
    looked = around.looks
    level = np.array(looked.text("level"), dtype=object)
    known = {
        "last_inspected_on": _spread(_texts(looked.on), at, None),
        "inspection_level": _spread(level, at, None),
        "signs": listed["signs"],
        "circumstances": listed["circumstances"],
        "questions_asked": _spread(asked.asked.astype(object), at, 0),
        "questions_not_askable": _spread(asked.not_askable.astype(object), at, 0),
    }
    kind = {name: "Int64" if name.startswith("questions") else "object" for name in known}
    return trees.assign(
        **{name: pd.Series(list(v), index=trees.index, dtype=kind[name]) for name, v in known.items()}
    )


def _spread(values: NDArray[np.object_], at: NDArray[np.int64], absent: object) -> NDArray[np.object_]:
    """The value of each tree; ``absent`` for those that no longer stand."""
    padded = np.empty(len(values) + 1, dtype=object)
    padded[:-1], padded[-1] = values, absent
    return np.asarray(padded[at])


def per_tree(flags: pd.DataFrame, tree_ids: pd.Series) -> pd.DataFrame:
    """Return the open signs and circumstances of each tree as lists of words, one row a tree in order."""
    out = {}
    for kind, name in (("sign", "signs"), ("circumstance", "circumstances")):
        held = flags[(flags["kind"] == kind) & flags["answered"].isna()]
        words: dict[str, dict[str, None]] = {}
        for tree_id, rule in zip(held["tree_id"], held["rule"], strict=True):
            words.setdefault(tree_id, {})[RULES[rule].short] = None
        out[name] = pd.Series([list(words.get(tree_id, ())) for tree_id in tree_ids], dtype=object)
    return pd.DataFrame(out)


def per_area(members: pd.DataFrame, trees: pd.DataFrame, flags: pd.DataFrame) -> pd.DataFrame:
    """Return the counts of the screening for each area.

    Parameters
    ----------
    members
        ``area_id`` and ``tree_id``: MEMBERSHIP, or the trees of places, or all trees under one id.
    trees
        TREES as given by :func:`with_flags`; removed ones count nowhere.
    flags
        FLAGS of the same day.

    Returns
    -------
    pandas.DataFrame
        Indexed by ``area_id``, areas without a standing tree left out: ``to_be_looked_at`` (trees with an
        open sign), ``looked_at`` (by a qualified person within the interval), ``look_overdue`` (late or
        never), ``circumstances`` {word: trees}, ``questions_asked``, ``questions_not_askable``.
    """
    standing = trees[(trees["status"] != REMOVED).to_numpy(dtype=bool)]
    held = flags[flags["answered"].isna()]
    facts = pd.DataFrame(
        {
            "tree_id": standing["tree_id"],
            "to_be_looked_at": standing["tree_id"].isin(held.loc[held["kind"] == "sign", "tree_id"]),
            "look_overdue": standing["tree_id"].isin(held.loc[held["rule"] == "look", "tree_id"]),
            "questions_asked": standing["questions_asked"].astype("int64"),
            "questions_not_askable": standing["questions_not_askable"].astype("int64"),
        }
    )
    facts["looked_at"] = ~facts["look_overdue"]
    inside = members[["area_id", "tree_id"]].merge(facts, on="tree_id")
    counts = inside.drop(columns="tree_id").groupby("area_id", sort=False).sum().astype("int64")
    counts["circumstances"] = _circumstances(counts.index, inside, held)
    return counts[
        [
            "to_be_looked_at",
            "looked_at",
            "look_overdue",
            "circumstances",
            "questions_asked",
            "questions_not_askable",
        ]
    ]


def _circumstances(areas: pd.Index, inside: pd.DataFrame, held: pd.DataFrame) -> pd.Series:
    """For each area {word: trees}, in the order of the rules."""
    told = held.loc[held["kind"] == "circumstance", ["tree_id", "rule"]].drop_duplicates()
    counted = inside[["area_id", "tree_id"]].merge(told, on="tree_id").groupby(["area_id", "rule"]).size()
    words: dict[object, dict[str, int]] = {area: {} for area in areas}
    for (area, rule), number in sorted(counted.items(), key=lambda each: _PLACE[each[0][1]]):
        words[area][RULES[rule].short] = int(number)
    return pd.Series([words[area] for area in areas], index=areas, dtype=object)


def gap_sentences(trees: pd.DataFrame, flags: pd.DataFrame) -> list[str]:
    """Return each gap of a site once, with how many trees it concerns, instead of once a tree."""
    standing = int((trees["status"] != REMOVED).sum())
    gap = flags[(flags["kind"] == "gap") & flags["answered"].isna()]
    number = gap.groupby("rule")["tree_id"].nunique()
    looked = trees.loc[(trees["status"] != REMOVED).to_numpy(dtype=bool), "last_inspected_on"].notna()
    never = standing - int(looked.sum())
    said = []
    if standing and never == standing:
        said.append(f"We have recorded no look by a qualified person at any of the {standing} trees.")
    elif number.get("look", 0):
        late = int(number["look"]) - never
        said.append(
            f"Of {standing} trees, we have recorded no look by a qualified person at {never}, "
            f"and the next look is late at {late}."
        )
    if number.get("height", 0):
        said.append(f"Of {standing} trees, {int(number['height'])} have no height recorded.")
    if number.get("name", 0):
        said.append(f"Of {standing} trees, the name of {int(number['name'])} is in doubt or not known.")
    return said
