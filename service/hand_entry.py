"""Whether a reading may be counted with the hand of its crew: what is asked when it comes in."""

from collections.abc import Mapping, Sequence
from typing import Any

from layers import hands
from service.records import Appended, ReadingIn
from service.store.hand_rows import first_days, hands_named

NOT_YET = (
    "The hand that this reading was counted with has not been entered yet; until it comes, the usual hand of "
    "grown-ups counts."
)


class HandDesk:
    """What the store knows of the hands that a batch of readings was counted with."""

    def __init__(self, connection: Any, site_fid: int, items: Sequence[Appended]) -> None:
        readings = [item for item in items if isinstance(item, ReadingIn)]
        named = {item.calibration_id for item in readings if item.calibration_id}
        self.named: dict[str, Mapping[str, Any]] = hands_named(connection, site_fid, named) if named else {}
        counted = any(item.unit in hands.INSTRUMENT_OF for item in readings)
        self.first = first_days(connection, site_fid) if counted else {}

    def question(self, item: Appended) -> str | None:
        """Return what to ask about a reading's hand; None where there is nothing to ask."""
        if not isinstance(item, ReadingIn) or item.void:
            return None
        if item.calibration_id:
            return self._of_named(item, self.named.get(item.calibration_id))
        first = self.first.get((item.crew or "", item.instrument))
        if item.unit in hands.INSTRUMENT_OF and first and item.measured_on and first > item.measured_on:
            return (
                f"Team {item.crew} measured its hand only on {first}, after this reading of "
                f"{item.measured_on}. Please check both days; the usual hand of grown-ups counts for it."
            )
        return None

    def _of_named(self, item: ReadingIn, known: Mapping[str, Any] | None) -> str | None:
        if known is None:
            return NOT_YET
        if known["instrument"] != item.instrument:
            return (
                f"That hand was measured in {known['instrument']}, and this reading has {item.instrument}. "
                "Please check; the usual one counts."
            )
        if item.crew and known["crew"] != item.crew:
            return f"That is the hand of team {known['crew']}, not of {item.crew}. Please check; it counts."
        return hands.question_of_day(item.measured_on, known["calibrated_on"])
