"""Filters worked out by hand: a plain evaluator of CQL2 JSON over rows, and a writer of CQL2 text.

It shares nothing with the program: truth is True, False or None (unknown), times are datetimes, shapes
shapely's, and patterns go through regular expressions (OGC 21-065r2, sections 6 and 7).
"""

import datetime as dt
import json
import operator
import re

import shapely

COMPARE = {
    "=": operator.eq,
    "<>": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}


def negated(truth):
    return None if truth is None else not truth


def conjunction(truths):
    truths = list(truths)
    if any(truth is False for truth in truths):
        return False
    return None if any(truth is None for truth in truths) else True


def truth_of(said, row):
    """Whether a filter holds of a row: True, False or None."""
    if isinstance(said, bool):
        return said
    if "property" in said:
        return row[said["property"]]
    op, args = said["op"], said["args"]
    if op == "and":
        return conjunction(truth_of(arg, row) for arg in args)
    if op == "or":
        return negated(conjunction(negated(truth_of(arg, row)) for arg in args))
    if op == "not":
        return negated(truth_of(args[0], row))
    if op == "isNull":
        return row[args[0]["property"]] is None
    if op == "in":
        return truth_of({"op": "or", "args": [{"op": "=", "args": [args[0], c]} for c in args[1]]}, row)
    if op == "between":
        sides = [{"op": ">=", "args": [args[0], args[1]]}, {"op": "<=", "args": [args[0], args[2]]}]
        return truth_of({"op": "and", "args": sides}, row)
    left, right = (value_of(arg, row) for arg in args)
    if left is None or right is None:
        return None
    if op == "like":
        return re.fullmatch(expression_of(right), left, re.DOTALL) is not None
    return bool(shapely.intersects(left, right)) if op == "s_intersects" else COMPARE[op](left, right)


def value_of(said, row):
    """What a value is in a row."""
    if not isinstance(said, dict):
        return said
    if "property" in said:
        return row[said["property"]]
    if said.get("op") == "casei":
        text = value_of(said["args"][0], row)
        return None if text is None else text.casefold()
    if "date" in said:
        return dt.datetime.fromisoformat(said["date"]).replace(tzinfo=dt.UTC)
    if "timestamp" in said:
        return dt.datetime.fromisoformat(said["timestamp"])
    if "bbox" in said:
        west, south, east, north = said["bbox"]
        if west <= east:
            return shapely.box(west, south, east, north)
        return shapely.union(shapely.box(west, south, 180, north), shapely.box(-180, south, east, north))
    return shapely.geometry.shape(said)


def expression_of(pattern):
    """A pattern of LIKE as a regular expression."""
    out, escaped = "", False
    for sign in pattern:
        if escaped or sign not in "%_\\":
            out, escaped = out + re.escape(sign), False
        elif sign == "\\":
            escaped = True
        else:
            out += ".*" if sign == "%" else "."
    return out + (re.escape("\\") if escaped else "")


def text_of(said):
    """A filter as CQL2 text, with parentheses everywhere."""
    if isinstance(said, bool):
        return str(said).upper()
    if isinstance(said, str):
        return "'" + said.replace("'", "''") + "'"
    if isinstance(said, int | float):
        return json.dumps(said)
    if "property" in said:
        return '"' + said["property"].replace('"', '""') + '"'
    if "op" not in said:
        return _literal_of(said)
    op, args = said["op"], said["args"]
    if op == "in":
        return f"({text_of(args[0])} IN ({', '.join(map(text_of, args[1]))}))"
    sides = [text_of(arg) for arg in args]
    if op in ("and", "or"):
        return "(" + f" {op.upper()} ".join(sides) + ")"
    if op == "not":
        return f"(NOT {sides[0]})"
    if op == "isNull":
        return f"({sides[0]} IS NULL)"
    if op == "between":
        return f"({sides[0]} BETWEEN {sides[1]} AND {sides[2]})"
    if op in ("casei", "s_intersects"):
        return f"{op.upper()}({', '.join(sides)})"
    return f"({sides[0]} {op.upper()} {sides[1]})"


def _literal_of(said):
    for kind in ("date", "timestamp"):
        if kind in said:
            return f"{kind.upper()}('{said[kind]}')"
    if "bbox" in said:
        return f"BBOX({', '.join(map(repr, said['bbox']))})"
    return shapely.to_wkt(shapely.geometry.shape(said), rounding_precision=-1)
