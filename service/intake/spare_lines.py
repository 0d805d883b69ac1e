"""Lines of a sheet that are no rows of its list: units under the headers, totals at its end."""

from collections.abc import Sequence

from service.intake.words import UNIT_OF, folded, word_set

LAST_LINES = 5  # of a sheet, in which totals stand
_TOTALS = word_set(
    "total totals sum sums subtotal average mean count summe gesamt gesamtsumme insgesamt mittelwert "
    "durchschnitt anzahl suma totales promedio media conteo somme totaux moyenne nombre totale totali somma "
    "numero totaal som gemiddelde aantal soma contagem"
)


def first_filled(records: Sequence[Sequence[str]], start: int) -> int | None:
    """Return the place of the first record that says something, from ``start`` on."""
    places = range(start, len(records))
    return next((place for place in places if any(cell.strip() for cell in records[place])), None)


def units_below(headers: Sequence[str], record: Sequence[str]) -> dict[str, str]:
    """Return the units [-] that a record says for the headers above it; none if it says anything else."""
    units = {}
    for header, cell in zip(headers, record, strict=False):
        word = cell.strip().strip("[]()").strip().casefold()
        if word and word not in UNIT_OF:
            return {}
        if word:
            units[header] = UNIT_OF[word]
    return {} if any(cell.strip() for cell in record[len(headers) :]) else units


def totals_below(columns: Sequence[Sequence[str]]) -> dict[int, str]:
    """Return the rows at the end of a list that are totals, with the reason that they are no trees.

    Their first words say so, and they have no more than half of their cells filled.
    """
    count = len(columns[0]) if columns else 0
    faults = {}
    for place in range(max(1, count - LAST_LINES), count):
        filled = [column[place].strip() for column in columns if column[place].strip()]
        words = folded(filled[0]).split() if filled else []
        if words and words[0] in _TOTALS and len(filled) <= max(2, len(columns) // 2):
            faults[place] = f"The row is a line of totals ({filled[0][:40]!r}), no tree."
    return faults
