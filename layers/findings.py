"""What qualified people answered to the questions, and when an answer no longer holds."""

import re
from typing import Any

import numpy as np
import pandas as pd

from layers.corrections import LIVE, corrected
from layers.days import Days, days, order_said
from layers.looks import months_later
from layers.screening_rules import RULES
from layers.underneath import USE_ORDER

NOT_QUALIFIED = ("pupils", "volunteers", "trained staff")  # kinds of crews; they answer no sign
ONLY_BY_RECORD = ("look", "height", "reach not known")  # settled by an inspection or a height, not by words
LONGEST_ANSWER_MONTHS = 12  # of a sign without a date to look again; our reminder

NEEDED = ("id", "flag_key", "rule_version", "looked_on", "look_again_by", "found", "capacity", "evidence")


def live_findings(findings: pd.DataFrame, as_of: str) -> pd.DataFrame:
    """Return the latest live finding on each key, indexed by ``flag_key``; looks after the day left out."""
    if findings.empty or any(name not in findings for name in (*NEEDED, "supersedes", "void")):
        return pd.DataFrame(columns=list(NEEDED)).set_index("flag_key")
    rows = findings.assign(void=[bool(v) and v == v for v in findings["void"]])
    rows = rows[corrected(rows, "id", "flag_key")["state"] == LIVE]
    rows = rows[(rows["looked_on"] <= as_of).to_numpy(dtype=bool)]
    rows = rows.assign(said=order_said(rows, "id")).sort_values(["looked_on", "said"])
    rows = rows.drop_duplicates("flag_key", keep="last")
    return rows.set_index("flag_key")


def answers(flags: pd.DataFrame, findings: pd.DataFrame, as_of: str) -> list[str | None]:
    """Return for each flag the finding that answers it, in words; None where the question is open.

    Parameters
    ----------
    flags
        ``flag_key``, ``rule``, ``evidence``, ``since`` (day of the latest evidence), ``use`` (rank),
        ``size_m`` [m].
    findings
        The table of findings; void and superseded ones included.
    as_of
        The day.

    Notes
    -----
    An answer lapses when its date passes (a sign without one: 12 months after the look), when the rule has
    another version, and when the evidence is worse than what was looked at: a sign was seen again after the
    look (or on its day, where the evidence of the finding is another), the tree now reaches farther or its
    crown is wider than the evidence of the finding says, or more people are there than it says.
    """
    known = live_findings(findings, as_of)
    out: list[str | None] = [None] * len(flags)
    if known.empty:
        return out
    at = known.index.get_indexer(flags["flag_key"])
    hit = np.flatnonzero(at >= 0)
    if not len(hit):
        return out
    until = _until(known)
    cells = flags.iloc[hit]
    for i, row, flag in zip(hit, at[hit], cells.itertuples(index=False), strict=True):
        finding = known.iloc[row]
        if _holds(flag, finding) and until[row] >= np.datetime64(as_of, "D"):
            out[i] = _in_words(finding, str(until[row]))
    return out


def _until(findings: pd.DataFrame) -> Days:
    said = days(findings["look_again_by"])
    months = np.full(len(findings), LONGEST_ANSWER_MONTHS, dtype=np.int64)
    return np.where(np.isnat(said), months_later(days(findings["looked_on"]), months), said)


def _holds(flag: Any, finding: pd.Series) -> bool:
    rule = RULES[flag.rule]
    if rule.word in ONLY_BY_RECORD or finding["rule_version"] != rule.version:
        return False
    if rule.kind != "gap" and str(finding["capacity"]).strip().casefold() in NOT_QUALIFIED:
        return False
    return not _is_worse(flag, finding, rule.kind)


def _is_worse(flag: Any, finding: pd.Series, kind: str) -> bool:
    seen = finding["evidence"] if isinstance(finding["evidence"], str) else ""
    changed = bool(seen) and seen != flag.evidence
    if kind == "gap":
        return changed
    if kind == "sign":
        latest, looked = str(flag.since)[:10], str(finding["looked_on"])[:10]
        return not pd.isna(flag.since) and (latest > looked or (latest == looked and changed))
    size_then, use_then = size_in(seen), use_in(seen)
    grown = size_then is not None and round(flag.size_m, 1) > size_then
    return grown or (use_then is not None and flag.use < use_then)


def size_in(evidence: str) -> float | None:
    """Return the first length [m] that a sentence of evidence states."""
    found = re.search(r"(\d+(?:\.\d+)?) m\b", evidence)
    return float(found[1]) if found else None


def use_in(evidence: str) -> int | None:
    """Return the rank of the use that a sentence of evidence states."""
    return next((rank for rank, use in enumerate(USE_ORDER) if f"people are there: {use}" in evidence), None)


def _in_words(finding: pd.Series, until: str) -> str:
    on, who, found = finding["looked_on"], finding["capacity"], finding["found"]
    return f"Looked at on {on} ({who}): “{found}”; look again by {until}."
