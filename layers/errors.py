"""What cannot be computed, as facts.

LayerError(ValueError)
    ColumnMissing       a frame lacks columns
    CrsUnsuitable       positions are in a frame that this cannot be computed in
    OutsideDomain       a value lies outside the range a rule was fitted for
    NothingToCompute    there is nothing to compute from
    AddressUnusable     the address of a browser file has characters that have no place in one
    PictureNotPlaced    clicks or lengths that do not place a picture on the ground
    PositionNotFixed    lengths that do not say where a tree stands
"""


class LayerError(ValueError):
    """Base of what the layers cannot compute."""


class ColumnMissing(LayerError):
    """A frame lacks columns; ``frame`` and ``columns`` say which."""

    def __init__(self, frame: str, columns: list[str]) -> None:
        self.frame = frame
        self.columns = columns
        super().__init__(f"The frame {frame} lacks {', '.join(columns)}.")


class CrsUnsuitable(LayerError):
    """Positions are in a frame that this cannot be computed in; ``found`` and ``needed``."""

    def __init__(self, found: str, needed: str) -> None:
        self.found = found
        self.needed = needed
        super().__init__(f"Positions are in {found}; {needed} is needed.")


class OutsideDomain(LayerError):
    """A value lies outside the range of a rule; ``column``, ``value``, ``low``, ``high``."""

    def __init__(self, column: str, value: float, low: float, high: float) -> None:
        self.column = column
        self.value = value
        self.low = low
        self.high = high
        super().__init__(f"{column} is {value:g}; it must lie between {low:g} and {high:g}.")


class NothingToCompute(LayerError):
    """There is nothing to compute from; ``what`` says of what."""

    def __init__(self, what: str) -> None:
        self.what = what
        super().__init__(f"There is nothing to compute {what} from.")


class PictureNotPlaced(LayerError):
    """Clicks or lengths do not place a picture on the ground; ``because`` says why and what to do."""

    def __init__(self, because: str) -> None:
        self.because = because
        super().__init__(f"The picture cannot be placed: {because}.")


class PositionNotFixed(LayerError):
    """Lengths do not say where a tree stands; ``reason`` in a word, ``because`` says why and what to do."""

    def __init__(self, reason: str, because: str) -> None:
        self.reason = reason
        self.because = because
        super().__init__(f"The position cannot be found: {because}.")


class AddressUnusable(LayerError):
    """The address of a browser file has characters that have no place in one; ``address``."""

    def __init__(self, address: str) -> None:
        self.address = address
        super().__init__(f"{address!r} is no address of a browser file.")
