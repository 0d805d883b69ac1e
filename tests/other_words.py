"""A language that nobody speaks, and what a reader sees of a page: what has ASCII letters is not translated.

Every text of the template gets its letters changed for others; places, marks and numbers stay. Whatever then
still stands in plain letters was never given to translators, wherever it came from.
"""

import re
import sqlite3
from html.parser import HTMLParser
from pathlib import Path

from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from layers.explaining_words import EQUATIONS, LUOMA
from layers.screening_rules import RULES
from service.outlets.layer_rows import LAYERS

ROOT = Path(__file__).parents[1]
LANGUAGE = "de"  # whose months and decimal commas are on the pages
_PLAIN = "abcdefghijklmnopqrstuvwxyz"
_OTHER = "абцдефгхийклмнопярстувшщыз"
_LETTERS = str.maketrans(_PLAIN + _PLAIN.upper(), _OTHER + _OTHER.upper())
KEPT = re.compile(r"(%\(\w+\)[sd]|%%|\{\w+\}|</?\w[^>]*>|&\w+;)")
UNSEEN = {"script", "style", "code", "pre", "kbd"}
UNPAIRED = {"meta", "link", "img", "input", "br", "hr", "source", "wbr", "col", "base"}
SPOKEN = ("title", "alt", "aria-label", "placeholder", "data-label", "data-busy", "data-filter", "data-take")
NAMES = {
    *(
        "Boleward",
        "CSV",
        "JSON",
        "GeoJSON",
        "GeoPackage",
        "GeoParquet",
        "FlatGeobuf",
        "KML",
        "TileJSON",
        "GIS",
    ),
    *("OGC", "API", "PDF", "QR", "UTF", "WGS", "EPSG", "UTC", "Letter", "Gompertz", "curl", "geopandas"),
    *("ogr", "ogrinfo", "OWSLib", "pandas", "pyogrio", "sequence", "US", "DE", "cm", "mm", "ha", "ft", "kV"),
}
_UNIT = re.compile(r"(?<=\d)\s?(?:cm|mm|m|in|ft|ha|min|kV|MB)\b|(?<=, )in$")
_CODE = re.compile(r"\b[A-Z0-9]{3,5}-[A-Z0-9]{3,5}\b|\w*…")
_OWN = {  # columns that people fill in, by their own words
    "site": ("slug", "name", "phone", "qualified", "wind_limit"),
    "place": ("name",),
    "area": ("name", "area_source"),
    "target": ("name",),
    "tree": ("tag", "scientific_name", "name_as_written", "common_name", "genus", "status_as_said"),
    "status_event": ("as_said",),
    "reading": ("crew", "note", "reason", "rule"),
    "observation": ("text", "method", "crew"),
    "inspection": ("organisation", "qualification", "note"),
    "inspection_answer": ("note",),
    "round": ("name",),
    "crew": ("code",),
    "danger_report": ("text", "crew"),
    "danger_answer": ("did", "organisation", "qualification"),
    "closure": ("name", "why", "how_marked", "who_may_reopen"),
    "hazard": ("note",),
    "change": ("file_name",),
}


def in_other_letters(text: str) -> str:
    """Return a text with other letters; its places, tags and entities stay."""
    return "".join(part if n % 2 else part.translate(_LETTERS) for n, part in enumerate(KEPT.split(text)))


def write_other_language(folder: Path) -> Path:
    """Write the catalogue of a folder of translations and return the folder."""
    with (ROOT / "service/web/translations/messages.pot").open("rb") as file:
        template = read_po(file)
    catalogue = Catalog(locale=LANGUAGE)
    for message in template:
        if message.id:
            many = isinstance(message.id, tuple)
            said = tuple(map(in_other_letters, message.id)) if many else in_other_letters(message.id)
            catalogue.add(message.id, said)
    path = folder / LANGUAGE / "LC_MESSAGES" / "messages.mo"
    path.parent.mkdir(parents=True)
    with path.open("wb") as out:
        write_mo(out, catalogue)
    return folder


class Page(HTMLParser):
    """What a reader sees and hears of a page, and where it leads."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.links: list[str] = []
        self._open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag not in UNPAIRED:
            unseen = "hreflang" in told or told.get("translate") == "no"
            self._open.append("script" if unseen else tag)
        self.texts += [told[name] for name in SPOKEN if told.get(name)]
        if "hreflang" not in told:
            self.links += [told[name] for name in ("href", "src") if told.get(name)]

    def handle_endtag(self, tag):
        if self._open:
            self._open.pop()

    def handle_data(self, data):
        if data.strip() and not UNSEEN & set(self._open):
            self.texts.append(data.strip())


class OwnWords:
    """The words of people and names of things, which no language translates."""

    def __init__(self, store: Path) -> None:
        said = {rule.source for rule in RULES.values()} | {LUOMA}
        said |= {source for equation in EQUATIONS.values() for source in equation.sources}
        with sqlite3.connect(store) as connection:
            for table, columns in _OWN.items():
                for column in columns:
                    rows = connection.execute(f"SELECT DISTINCT {column} FROM {table}")
                    said |= {text for (text,) in rows if text}
            kept = connection.execute("SELECT DISTINCT kept FROM tree WHERE kept IS NOT NULL").fetchall()
            said |= {part for (text,) in kept for part in re.findall(r'"([^"]*)"', text)}
            meeting = connection.execute("SELECT DISTINCT meeting FROM round WHERE meeting IS NOT NULL")
            said |= {part for (text,) in meeting for part in re.findall(r'_words": "([^"]*)"', text)}
        for path in (ROOT / "sample_sites").glob("*/trees.csv"):
            said |= set(path.read_text(encoding="utf-8").partition("\n")[0].split(","))
        said.add(", ".join(LAYERS[1:]))
        months = Locale(LANGUAGE).months["format"]
        said |= {name for width in ("wide", "abbreviated") for name in months[width].values()}
        self.phrases = sorted(
            {text for text in said if re.search("[A-Za-z]{2}", text)}, key=len, reverse=True
        )

    def left(self, text: str) -> str | None:
        """Return a text without own words, names and units where words are left in it, else None."""
        for phrase in self.phrases:
            if phrase in text:
                text = re.sub(rf"(?<!\w){re.escape(phrase)}(?!\w)", " ", text)
        text = _UNIT.sub(" ", text)
        words = set(re.findall(r"[A-Za-z]{2,}", text)) - NAMES
        return text if words else None

    def left_on_paper(self, line: str) -> str | None:
        """Return a line of a paper where it has words that are in no own ones, which are cut there."""
        said = set(re.findall(r"[A-Za-z]{2,}", _CODE.sub(" ", line))) - NAMES - {"in"}
        return line if said - set(re.findall(r"[A-Za-z]{2,}", " ".join(self.phrases))) else None
