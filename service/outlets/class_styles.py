"""Styles of the layer of trees by size class, for desktop programs: colour, size and label carry the class.

References
----------
Open Geospatial Consortium (2007): Styled Layer Descriptor profile 05-078r4 and Symbology Encoding 05-077r4,
both 1.1.0. The style of QGIS is written as its open source reads it; no specification of it is published.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from layers.symbology import INK, SIGNS, DrawnClass

SIZE = "dbh_cm"
STROKE_PX = 0.8
_SLD, _SE, _OGC = "http://www.opengis.net/sld", "http://www.opengis.net/se", "http://www.opengis.net/ogc"
_DEAD = ("status", "dead")
_WITHOUT = {"dead": "dead", "unmeasured": "not measured"}


@dataclass(frozen=True)
class _Mark:
    """A rule: the trees it is for, and how they are drawn; sizes are diameters [px]."""

    label: str
    shape: str
    fill: str | None
    size_px: float
    dead: bool = False
    bounds: tuple[float | None, float | None] | None = None


def sld_style(classes: Sequence[DrawnClass]) -> str:
    """Return the style as a Styled Layer Descriptor."""
    for prefix, address in (("sld", _SLD), ("se", _SE), ("ogc", _OGC)):
        ET.register_namespace(prefix, address)
    root = ET.Element(f"{{{_SLD}}}StyledLayerDescriptor", version="1.1.0")
    layer = ET.SubElement(root, f"{{{_SLD}}}NamedLayer")
    _said(layer, _SE, "Name", "trees")
    style = ET.SubElement(layer, f"{{{_SLD}}}UserStyle")
    _said(style, _SE, "Name", "size classes")
    drawn = ET.SubElement(style, f"{{{_SE}}}FeatureTypeStyle")
    for number, mark in enumerate(_marks(classes)):
        rule = ET.SubElement(drawn, f"{{{_SE}}}Rule")
        _said(rule, _SE, "Name", f"rule {number}")
        _said(ET.SubElement(rule, f"{{{_SE}}}Description"), _SE, "Title", mark.label)
        _sld_filter(ET.SubElement(rule, f"{{{_OGC}}}Filter"), mark)
        graphic = ET.SubElement(ET.SubElement(rule, f"{{{_SE}}}PointSymbolizer"), f"{{{_SE}}}Graphic")
        _sld_mark(ET.SubElement(graphic, f"{{{_SE}}}Mark"), mark)
        _said(graphic, _SE, "Size", f"{mark.size_px:g}")
    return _written(root)


def qml_style(classes: Sequence[DrawnClass]) -> str:
    """Return the style in the words of QGIS, a renderer by rules."""
    root = ET.Element("qgis", version="3.22.0", styleCategories="Symbology")
    renderer = ET.SubElement(root, "renderer-v2", type="RuleRenderer", symbollevels="0", forceraster="0")
    rules = ET.SubElement(renderer, "rules", key="rules")
    symbols = ET.SubElement(renderer, "symbols")
    for number, mark in enumerate(_marks(classes)):
        ET.SubElement(
            rules, "rule", key=f"rule{number}", symbol=str(number), label=mark.label, filter=_expression(mark)
        )
        symbol = ET.SubElement(symbols, "symbol", type="marker", name=str(number), alpha="1")
        layer = ET.SubElement(symbol, "layer", {"class": "SimpleMarker", "enabled": "1"})
        for name, value in _qml_marker(mark).items():
            ET.SubElement(layer, "prop", k=name, v=value)
    ET.SubElement(root, "layerGeometryType").text = "0"
    return _written(root)


def _marks(classes: Sequence[DrawnClass]) -> Iterator[_Mark]:
    for one in classes:
        yield _Mark(one.label, "circle", one.fill, 2 * one.radius_px, bounds=(one.from_cm, one.to_cm))
    unmeasured, dead = SIGNS["unmeasured"], SIGNS["dead"]
    yield _Mark(_WITHOUT["unmeasured"], "circle", None, 2 * unmeasured["radius_px"])
    yield _Mark(_WITHOUT["dead"], "x", None, 2 * dead["radius_px"], dead=True)


def _sld_filter(parent: ET.Element, mark: _Mark) -> None:
    if mark.dead:
        _compared(parent, "PropertyIsEqualTo", *_DEAD)
        return
    both = ET.SubElement(parent, f"{{{_OGC}}}And")
    _compared(both, "PropertyIsNotEqualTo", *_DEAD)
    if mark.bounds is None:
        _said(ET.SubElement(both, f"{{{_OGC}}}PropertyIsNull"), _OGC, "PropertyName", SIZE)
        return
    low, high = mark.bounds
    _compared(both, "PropertyIsGreaterThanOrEqualTo", SIZE, f"{low or 0:g}")
    if high is not None:
        _compared(both, "PropertyIsLessThan", SIZE, f"{high:g}")


def _compared(parent: ET.Element, how: str, name: str, value: str) -> None:
    compared = ET.SubElement(parent, f"{{{_OGC}}}{how}")
    _said(compared, _OGC, "PropertyName", name)
    _said(compared, _OGC, "Literal", value)


def _sld_mark(parent: ET.Element, mark: _Mark) -> None:
    _said(parent, _SE, "WellKnownName", mark.shape)
    if mark.fill is not None:
        _said(ET.SubElement(parent, f"{{{_SE}}}Fill"), _SE, "SvgParameter", mark.fill, name="fill")
    stroke = ET.SubElement(parent, f"{{{_SE}}}Stroke")
    _said(stroke, _SE, "SvgParameter", INK, name="stroke")
    _said(stroke, _SE, "SvgParameter", f"{STROKE_PX:g}", name="stroke-width")


def _said(parent: ET.Element, space: str, name: str, text: str, /, **attributes: str) -> None:
    ET.SubElement(parent, f"{{{space}}}{name}", attributes).text = text


def _expression(mark: _Mark) -> str:
    name, value = _DEAD
    if mark.dead:
        return f"\"{name}\" = '{value}'"
    standing = f'("{name}" IS NULL OR "{name}" <> \'{value}\')'
    if mark.bounds is None:
        return f'{standing} AND "{SIZE}" IS NULL'
    low, high = mark.bounds
    above = f'{standing} AND "{SIZE}" >= {low or 0:g}'
    return above if high is None else f'{above} AND "{SIZE}" < {high:g}'


def _qml_marker(mark: _Mark) -> dict[str, str]:
    return {
        "name": "cross2" if mark.shape == "x" else mark.shape,
        "color": _numbers(mark.fill) if mark.fill else _numbers("#ffffff", 0),
        "outline_color": _numbers(INK),
        "outline_style": "solid",
        "outline_width": f"{STROKE_PX:g}",
        "outline_width_unit": "Pixel",
        "size": f"{mark.size_px:g}",
        "size_unit": "Pixel",
    }


def _numbers(colour: str, alpha: int = 255) -> str:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"{red},{green},{blue},{alpha}"


def _written(root: ET.Element) -> str:
    return ET.tostring(root, encoding="unicode")
