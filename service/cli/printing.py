"""How facts are printed on a terminal."""

from typing import Any

from layers.inputs import SiteTerms
from service.intake.report import ImportReport


def import_report_lines(report: ImportReport, dry_run: bool) -> list[str]:
    """Return the sentences about an import."""
    said = report.to_json()
    lines = [f"{guess['what']}: {guess['value']} ({guess['why']})" for guess in said["guesses"]]
    verb = "would be taken" if dry_run else "taken"
    lines.append(
        f"{said['read']:,} rows read: {said['taken']:,} {verb}, {said['already_there']:,} already there, "
        f"{said['questioned']:,} to check, {said['refused']:,} not taken in."
    )
    for name, counts in said["records"].items():
        if counts["new"] or counts["changed"]:
            lines.append(f"  {name}: {counts['new']:,} new, {counts['changed']:,} changed")
    if said["columns"]["kept"]:
        lines.append(f"Columns kept as written: {', '.join(said['columns']['kept'])}")
    if said["columns"]["left_out"]:
        left = "; ".join(f"{header} ({why})" for header, why in said["columns"]["left_out"].items())
        lines.append(f"Columns left out: {left}")
    if said["not_in_file"]:
        lines.append(f"{len(said['not_in_file']):,} of ours are not in this file: nothing was done to them.")
    if said["side_file"]:
        lines.append(f"Rows to check and rows not taken in, with reasons: {said['side_file']}")
    return lines


def figures_table(rows: list[dict[str, Any]], terms: SiteTerms) -> str:
    """Return figures as an aligned table: per row trees, sizes and basal area give or take its error."""
    headers = ["area", "ha", "trees", "measured", "BA m2", "give or take", "BA m2/ha", "stems/ha", "QMD cm"]
    table = [headers] + [_cells(row, terms) for row in rows]
    if any(row["increment"] for row in rows):
        headers += ["growth cm/yr", "give or take"]
        for cells, row in zip(table[1:], rows, strict=True):
            cells += _growth_cells(row["increment"])
    widths = [max(len(line[i]) for line in table) for i in range(len(headers))]
    return "\n".join(
        "  ".join(
            cell.ljust(w) if i == 0 else cell.rjust(w)
            for i, (cell, w) in enumerate(zip(line, widths, strict=True))
        )
        for line in table
    )


def _growth_cells(increment: dict[str, Any] | None) -> list[str]:
    if increment is None:
        return [_number(None, 2)] * 2
    half = (increment["growth_hi_cm_per_yr"] - increment["growth_lo_cm_per_yr"]) / 2
    return [_number(increment["growth_cm_per_yr"], 2), _number(half, 2)]


def _cells(row: dict[str, Any], terms: SiteTerms) -> list[str]:
    half = None
    if row["basal_area_hi"] is not None and row["basal_area_lo"] is not None:
        half = (row["basal_area_hi"] - row["basal_area_lo"]) / 2
    return [
        row["name"] or terms.name,
        _number(row["area_ha"], 4),
        f"{row['trees']:,}",
        f"{row['measured_stems']:,}",
        _number(row["basal_area_m2"], 3),
        _number(half, 3),
        _number(row["basal_area_m2_per_ha"], 3),
        _number(row["stems_per_ha"], 1),
        _number(row["qmd_cm"], 2),
    ]


def _number(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:,.{digits}f}"
