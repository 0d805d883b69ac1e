"""Whether a filter fits the columns of a collection: names and types, checked before SQL sees anything."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from layers.column_kinds import Kind
from service.cql_filter import fault, moment_of
from service.cql_nodes import (
    All,
    Between,
    Compare,
    Drawn,
    Folded,
    IsNull,
    Like,
    Meets,
    Moment,
    Node,
    Not,
    OneOf,
    Property,
    Some,
    Truth,
    Value,
    Written,
    unfolded,
)
from service.feature_kinds import GEOMETRY, queryable
from service.layer_parts import LayerColumn

Family = Literal["number", "text", "truth", "time", "shape"]
FAMILIES: Mapping[Kind, Family] = {
    "text": "text",
    "float": "number",
    "int": "number",
    "flag": "truth",
    "date": "time",
    "time": "time",
}
Predicate = Compare | Between | OneOf | Like | IsNull | Meets
_WORDS: Mapping[Family, str] = {
    "number": "a number",
    "text": "a text",
    "truth": "true or false",
    "time": "a day or time",
    "shape": "a shape",
}


def checked(node: Node, columns: tuple[LayerColumn, ...]) -> Node:
    """Return a filter whose names and types fit the columns; texts that stand for times become times.

    Raises
    ------
    InvalidRequest
        If it names a property that is not there or sets things of two types side by side.
    """
    return _Checker({column.name: column for column in columns}).node(node)


class _Checker:
    def __init__(self, columns: Mapping[str, LayerColumn]) -> None:
        self.columns = columns

    def node(self, node: Node) -> Node:
        """Return a condition with what stands below it checked."""
        match node:
            case All(of) | Some(of):
                return replace(node, of=tuple(map(self.node, of)))
            case Not(of):
                return Not(self.node(of))
            case Truth(of):
                if self.family(of) != "truth":
                    raise fault(f"{_named(of)} is not true or false; compare it with something.")
                return node
            case _:
                return self._predicate(node)

    def _predicate(self, node: Predicate) -> Node:
        match node:
            case Compare(op, left, right):
                left, right = self._alike(left, right)
                if self.family(left) == "truth" and op not in ("=", "<>"):
                    raise fault(f"{_named(left)} is true or false: use = or <> instead of {op}.")
                return Compare(op, left, right)
            case Between(value, low, high):
                return Between(*self._alike(value, low, high))
            case OneOf(value, choices):
                value, *rest = self._alike(value, *choices)
                return OneOf(value, tuple(rest))
            case Like():
                return self._like(node)
            case IsNull(of):
                if not isinstance(of, Property):
                    raise fault("IS NULL is asked of a property.")
                self.family(of)
                return node
            case Meets():
                return self._meets(node)

    def family(self, value: Value | Drawn) -> Family:
        """Return what kind of thing a value is."""
        match value:
            case Property(name):
                return self._family_of(name)
            case Written(said):
                if isinstance(said, bool):
                    return "truth"
                return "text" if isinstance(said, str) else "number"
            case Moment():
                return "time"
            case Folded(of):
                if self.family(of) != "text":
                    raise fault(f"{_named(of)} is {_WORDS[self.family(of)]}: CASEI needs a text.")
                return "text"
            case Drawn():
                return "shape"

    def _family_of(self, name: str) -> Family:
        if name == GEOMETRY:
            return "shape"
        if name not in self.columns:
            raise fault(f"There is no property {name[:60]!r}; the queryables of the collection list them.")
        column = self.columns[name]
        if not queryable(column):
            raise fault(f"The property {name!r} holds lists, which filters do not look into.")
        return FAMILIES[column.kind]

    def _alike(self, *values: Value) -> list[Value]:
        """Return values that stand side by side, all of one type."""
        families = [self.family(value) for value in values]
        if "shape" in families:
            raise fault("A shape is compared by S_INTERSECTS.")
        if "time" in families:
            made = [self._as_time(value) for value in values]
            values, families = tuple(made), [self.family(value) for value in made]
        odd = next((at for at, family in enumerate(families) if family != families[0]), None)
        if odd is not None:
            first, other = (_WORDS[families[at]] for at in (0, odd))
            raise fault(f"{_named(values[0])} is {first}, {_named(values[odd])} is {other}.")
        return list(values)

    def _as_time(self, value: Value) -> Value:
        """Return a text that was written out as the time it says, anything else as it is."""
        if isinstance(value, Written) and isinstance(value.value, str):
            return moment_of(value.value)
        return value

    def _like(self, node: Like) -> Node:
        if self.family(node.value) != "text":
            raise fault(f"{_named(node.value)} is {_WORDS[self.family(node.value)]}: LIKE needs a text.")
        plain = unfolded(node.pattern)
        if not isinstance(plain, Written) or self.family(plain) != "text":
            raise fault("LIKE needs a pattern that is written out, such as 'T-%'.")
        return node

    def _meets(self, node: Meets) -> Node:
        places = [side for side in (node.left, node.right) if isinstance(side, Property)]
        if len(places) != 1 or self.family(places[0]) != "shape":
            raise fault(f"S_INTERSECTS needs the property {GEOMETRY!r} and a shape that is written out.")
        return node


def _named(value: Value) -> str:
    match value:
        case Property(name):
            return f"The property {name!r}"
        case Written(said):
            return repr(str(said)[:60])
        case Moment(text):
            return repr(text)
        case Folded(of):
            return _named(of)
