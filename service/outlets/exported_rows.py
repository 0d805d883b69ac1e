"""What leaves as a file of its own: the layers, and trees as tags of OpenStreetMap."""

from service.outlets.layer_rows import LAYERS, LayerRows, Viewed, layer_rows
from service.outlets.osm_tags import OSM_TREES, osm_trees

EXPORTED = (*LAYERS, OSM_TREES)  # the last never in a snapshot, which holds the trees already


def exported_rows(view: Viewed, layer: str) -> LayerRows:
    """Return a layer, or the trees as tags, of a site at a day.

    Raises
    ------
    NotFound
        If there is no such layer.
    InvalidRequest
        If trees without a place on earth are asked for as tags.
    """
    return osm_trees(view) if layer == OSM_TREES else layer_rows(view, layer)
