"""Names as written, matched to the species table once for each name."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from layers.species import matched


@dataclass(frozen=True)
class Matched:
    """What the species table says of a name as written."""

    scientific_name: str | None
    genus: str | None
    common_name: str | None
    name_sure: str


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def matched_names(names: Sequence[str]) -> dict[str, Matched]:
    """Return what the species table says of each name."""
    if not names:
        return {}
    frame = matched(list(names))
    return {
        name: Matched(_text(scientific), _text(genus), _text(common), _text(sure) or "unknown")
        for name, scientific, genus, common, sure in zip(
            names,
            frame["scientific_name"],
            frame["genus"],
            frame["common_name"],
            frame["name_sure"],
            strict=True,
        )
    }
