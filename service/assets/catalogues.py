"""Make the translations of pages ready to be read: a ``.mo`` beside every ``.po``, which alone is kept.

Run by the build hook of the wheel and by ``python -m service.assets.catalogues``; needs Babel only.
"""

import sys
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

TRANSLATIONS = Path(__file__).resolve().parent.parent / "web" / "translations"


def compile_catalogues(folder: Path = TRANSLATIONS) -> list[Path]:
    """Write the ``.mo`` of every ``.po`` below a folder and return them.

    Raises
    ------
    OSError
        If a file can be neither read nor written.
    PoFileError
        If a ``.po`` cannot be understood; it is named.
    """
    return [_compiled(path) for path in sorted(folder.glob("*/LC_MESSAGES/*.po"))]


def _compiled(path: Path) -> Path:
    with path.open("rb") as file:
        catalogue = read_po(file, locale=path.parts[-3], abort_invalid=True)
    made = path.with_suffix(".mo")
    fresh = made.with_suffix(".new")
    with fresh.open("wb") as out:
        write_mo(out, catalogue)
    fresh.replace(made)
    return made


if __name__ == "__main__":
    sys.stderr.write(f"Translations made ready: {len(compile_catalogues())}.\n")
