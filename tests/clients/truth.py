"""What every client must have read of the large list, whatever it makes of types."""

import math

import pytest


def is_missing(value):
    """Whether a client says that there is nothing; each has its own word for it."""
    return value is None or value != value or str(value) in ("", "NaT", "<NA>", "NULL")


def check_trees(read, rows):
    """Every row is there once with exact values; ``read`` is a list of mappings with ``lon`` and ``lat``."""
    found = {str(tree["external_id"]): tree for tree in read}
    assert len(read) == len(found) == len(rows)
    for row in rows:
        tree = found[row["id"]]
        assert tree["tag"] == row["tag"]
        assert tree["remark"] == row["remark"]
        assert tree["name_as_written"] == row["species"]
        assert tree["site"] == "large"
        assert tree["lon"] == pytest.approx(float(row["lon"]), abs=1e-9)
        assert tree["lat"] == pytest.approx(float(row["lat"]), abs=1e-9)
        assert tree["dbh_cm"] == pytest.approx(float(row["girth_cm"]) / math.pi, rel=1e-13)
        if row["height_m"]:
            assert tree["height_m"] == float(row["height_m"])
            assert str(tree["planted_on"])[:10].replace("/", "-") == row["planted"]
        else:
            assert is_missing(tree["height_m"])
            assert is_missing(tree["planted_on"])
