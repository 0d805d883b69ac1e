"""A site as an archive: every layer and every kind of record as GeoParquet or Parquet and as CSV."""

import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from service.layer_parts import Layer, LayerColumn, LayerFacts
from service.outlets.csv_out import csv_pieces
from service.outlets.parquet_out import write_parquet
from service.outlets.record_files import write_tables

README = "README.txt"
FIRST_YEAR = 1980  # of the format
Records = Iterable[tuple[str, Sequence[tuple[str, str]], Iterable[tuple[Any, ...]]]]


def write_archive(layers: Sequence[Layer], records: Records, path: Path) -> int:
    """Write layers and records (kind, columns with what their cells are, rows) into a new file.

    Returns the number of rows of the layers; the caution is in the README, once.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    facts = [layer.facts for layer in layers]
    day = facts[0].as_of
    made = path.with_name(f"{path.name}.part")
    other = path.with_name(f"{path.name}.other")
    kinds = []
    try:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for layer in layers:
                name = f"layers/{layer.facts.layer}"
                write_parquet(layer, made)
                _put(archive, made, f"{name}.parquet", day)
                with archive.open(_entry(f"{name}.csv", day), "w", force_zip64=True) as out:
                    out.writelines(csv_pieces(layer))
            for kind, columns, rows in records:
                write_tables(columns, rows, made, other)
                _put(archive, made, f"records/{kind}.parquet", day)
                _put(archive, other, f"records/{kind}.csv", day)
                kinds.append(kind)
            archive.writestr(_entry(README, day), readme(facts, kinds))
    finally:
        made.unlink(missing_ok=True)
        other.unlink(missing_ok=True)
    return sum(each.rows for each in facts)


def readme(facts: Sequence[LayerFacts], kinds: Sequence[str]) -> str:
    """Return the text that goes with the files: what they are, the caution, the words of the columns."""
    first = facts[0]
    said = [f"The site {first.site} as of {first.as_of}, as known at change {first.known_at}.", ""]
    said += [each.caution for each in facts if each.caution][:1]
    said += ["", "Licence: whoever owns these data names one here before passing them on.", "", _FILES, ""]
    for each in facts:
        said += [f"{each.layer}: {each.rows} rows", *map(_word, each.columns), ""]
    said += ["Records: " + ", ".join(kinds) + ".", "Every record has the number of the change that wrote it."]
    return "\n".join(said) + "\n"


_FILES = """\
layers/ has each layer as GeoParquet 1.1 and as CSV in UTF-8: what was computed for the day, in metric units.
records/ has everything that was said about the site, as Parquet and CSV, whatever became of it.
In CSV, text that a spreadsheet would run as a formula has a quote before it; shapes are WKT, other binary
values hexadecimal. Longitude and latitude are in WGS84; x_m and y_m are metres of a ground without a place
on earth."""


def _word(column: LayerColumn) -> str:
    unit = f" [{column.unit}]" if column.unit else ""
    return f"  {column.name}{unit} ({column.kind}): {column.meaning}"


def _entry(name: str, day: str) -> zipfile.ZipInfo:
    year, month, of_month = (int(part) for part in day.split("-"))
    made = zipfile.ZipInfo(name, (max(year, FIRST_YEAR), month, of_month, 0, 0, 0))
    made.compress_type = zipfile.ZIP_STORED if name.endswith(".parquet") else zipfile.ZIP_DEFLATED
    made.external_attr = 0o644 << 16
    return made


def _put(archive: zipfile.ZipFile, path: Path, name: str, day: str) -> None:
    with path.open("rb") as read, archive.open(_entry(name, day), "w", force_zip64=True) as out:
        while block := read.read(1 << 20):
            out.write(block)
