"""Pictures from outside: checked, bounded, freed of everything but the pixels."""

import io
import warnings

import pypdfium2
from PIL import Image, ImageOps

from service.errors import Unreadable

MAX_PIXELS = 60_000_000
LONGEST_PX = 5000
FORMATS = ("PNG", "JPEG", "WEBP", "TIFF", "BMP")


def picture_from(content: bytes, page: int = 1) -> Image.Image:
    """Return an uploaded picture, or a page of an uploaded PDF, upright and without metadata.

    Raises
    ------
    Unreadable
        If it is neither, is too large, or has no such page.
    """
    picture = _pdf_page(content, page) if content[:5] == b"%PDF-" else _image(content)
    picture = picture.convert("RGB")
    if max(picture.size) > LONGEST_PX:
        picture.thumbnail((LONGEST_PX, LONGEST_PX))
    clean = Image.new("RGB", picture.size)
    clean.paste(picture)
    return clean


def as_png(picture: Image.Image) -> bytes:
    """Return a picture as PNG."""
    out = io.BytesIO()
    picture.save(out, "PNG", optimize=False)
    return out.getvalue()


def turned(picture: Image.Image, size: tuple[int, int], coefficients: tuple[float, ...]) -> Image.Image:
    """Return a picture redrawn by a perspective transform; what lies outside of it is see-through."""
    return picture.convert("RGBA").transform(
        size, Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BILINEAR, fillcolor=(0, 0, 0, 0)
    )


def _image(content: bytes) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(content), formats=FORMATS)
            if picture.width * picture.height > MAX_PIXELS:
                raise Unreadable(
                    f"The picture has {picture.width * picture.height / 1e6:.0f} million pixels; "
                    f"send one of at most {MAX_PIXELS / 1e6:.0f} million."
                )
            picture.load()
            return ImageOps.exif_transpose(picture)
    except (
        OSError,
        SyntaxError,
        ValueError,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ) as error:
        raise Unreadable("This is no picture that can be read. Send a PNG, JPEG or PDF file.") from error


def _pdf_page(content: bytes, page: int) -> Image.Image:
    try:
        document = pypdfium2.PdfDocument(content)
    except pypdfium2.PdfiumError as error:
        raise Unreadable(
            "This PDF cannot be read. Save it again without a password, or send a picture."
        ) from error
    try:
        if not 1 <= page <= len(document):
            raise Unreadable(f"The PDF has {len(document)} pages; name one of them.")
        sheet = document[page - 1]
        width, height = sheet.get_size()
        if not (width > 0 and height > 0):
            raise Unreadable("This page of the PDF has no size. Send a picture of it.")
        drawn: Image.Image = sheet.render(scale=min(3.0, LONGEST_PX / max(width, height))).to_pil()
        return drawn
    finally:
        document.close()
