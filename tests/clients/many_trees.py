"""A list of 25,000 invented trees that is unkind to readers of formats.

Heights and days of planting are empty on the first pages; heights that do come begin whole and have decimals
only later; remarks are written in many scripts, from right to left, with signs that formats give a meaning.
"""

import csv
import random

TREES = 25_000
EMPTY_FIRST = 3_000  # rows without a height or a day of planting
WHOLE_UNTIL = 6_000  # and up to here heights are whole metres
REMARKS = (
    "Größe & Maß <schön>",
    "дерево у ворот",
    "δέντρο στην αυλή",
    "شجرة بجانب الباب",
    "עץ ליד השער",
    "校园里的树",
    "校庭の木",
    "운동장 나무",
    "विद्यालय का पेड़",
    "ต้นไม้ในสนาม",
    "ağaç, İstanbul'da",
    "e\u0301tude decomposed",  # NFD, stays as it is written
    '"quoted", with; marks\tand tab',
    "=1+1 is no formula",
    "null",
    "12",
    "\U0001f333 beyond the first plane",
    "it's a {curly} $dollar `tick`",
)
SPECIES = ("Tilia cordata", "Quercus robur", "Acer platanoides", "Platanus × hispanica", "Pinus sylvestris")


def rows(trees=TREES):
    """The rows of the list, always the same ones."""
    drawn = random.Random(20240601)
    for number in range(trees):
        yield {
            "id": str(number + 1),
            "tag": f"№ {number + 1}",
            "species": SPECIES[number % len(SPECIES)],
            "girth_cm": f"{drawn.uniform(20, 300):.1f}",
            "height_m": _height(number, drawn),
            "planted": "" if number < EMPTY_FIRST else f"{1900 + number % 120}-03-{1 + number % 28:02d}",
            "lon": f"{9.0 + drawn.random() * 0.2:.7f}",
            "lat": f"{47.0 + drawn.random() * 0.2:.7f}",
            "remark": REMARKS[number % len(REMARKS)],
        }


def _height(number, drawn):
    if number < EMPTY_FIRST:
        return ""
    return f"{drawn.randint(3, 30)}" if number < WHOLE_UNTIL else f"{drawn.uniform(3, 30):.2f}"


def write_list(path, trees=TREES):
    """Write the list as CSV and return its rows."""
    said = list(rows(trees))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(said[0]))
        writer.writeheader()
        writer.writerows(said)
    return said
