"""A plan on the wall becomes the base of the map."""

import io

import pytest
from PIL import Image

from layers import plan_image
from service.actors import LOCAL_MANAGER
from service.errors import InvalidRequest, NotFound, StaleVersion, Unreadable
from service.file_box import FileBox
from service.plan_images import add_plan_image, bounds, north_up_png, place_plan_image, plan_image_of
from service.store.site_rows import create_site, find_site


def _png(width=200, height=100, colour=(200, 180, 160)):
    out = io.BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "PNG")
    return out.getvalue()


@pytest.fixture
def box(tmp_path):
    return FileBox(tmp_path / "files")


@pytest.fixture
def school(store):
    create_site(store, "school", name="School", actor=LOCAL_MANAGER)
    return store


def test_a_plan_placed_by_a_length_makes_a_ground_without_place_on_earth_local(school, box):
    id = add_plan_image(school, box, "school", LOCAL_MANAGER, "wall plan", _png())
    placement = plan_image.from_length((0, 50), (200, 50), 50.0)
    place_plan_image(school, "school", LOCAL_MANAGER, id, 1, placement, 0.02)
    image = plan_image_of(school, "school", id)
    west, south, east, north = bounds(image)
    assert east - west == pytest.approx(50.0)
    assert north - south == pytest.approx(25.0)
    assert image.misfit_share == 0.02
    with school.read() as connection:
        assert find_site(connection, "school").frame == "local"
    assert Image.open(io.BytesIO(north_up_png(box, image))).size == (200, 100)


def test_a_plan_with_one_point_on_earth_lies_there(school, box):
    id = add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", _png())
    placed = plan_image.with_point_on_earth(
        plan_image.from_length((0, 50), (200, 50), 50.0), (0, 100), 9.0, 47.0
    )
    place_plan_image(school, "school", LOCAL_MANAGER, id, 1, placed, None)
    west, south, east, north = bounds(plan_image_of(school, "school", id))
    assert (west, south) == pytest.approx((9.0, 47.0), abs=1e-7)
    assert (east - west) * 111_320 * 0.682 == pytest.approx(50.0, rel=0.01)
    assert north > south


def test_placing_on_an_older_version_is_refused(school, box):
    id = add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", _png())
    placement = plan_image.from_length((0, 50), (200, 50), 50.0)
    place_plan_image(school, "school", LOCAL_MANAGER, id, 1, placement, None)
    with pytest.raises(StaleVersion):
        place_plan_image(school, "school", LOCAL_MANAGER, id, 1, placement, None)


def test_a_local_plan_is_refused_where_things_have_a_place_on_earth(school, box):
    id = add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", _png())
    first = plan_image.with_point_on_earth(plan_image.from_length((0, 0), (9, 0), 9.0), (0, 0), 9.0, 47.0)
    place_plan_image(school, "school", LOCAL_MANAGER, id, 1, first, None)
    from service.edit import add_trees

    add_trees(school, "school", LOCAL_MANAGER, [{"lon_deg": 9.0, "lat_deg": 47.0}])
    with pytest.raises(InvalidRequest, match="where one point of the plan is"):
        place_plan_image(
            school, "school", LOCAL_MANAGER, id, 2, plan_image.from_length((0, 0), (9, 0), 9.0), None
        )


@pytest.mark.parametrize("content", [b"", b"not a picture", b"%PDF-1.7 broken", b"GIF89a"])
def test_what_is_no_picture_is_refused_with_a_sentence(school, box, content):
    with pytest.raises(Unreadable, match="picture"):
        add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", content)


def test_a_picture_of_too_many_pixels_is_refused(school, box):
    out = io.BytesIO()
    Image.new("1", (10_000, 7_000)).save(out, "PNG")
    with pytest.raises(Unreadable, match="million pixels"):
        add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", out.getvalue())


def test_a_page_of_a_pdf_becomes_the_plan(school, box):
    from fpdf import FPDF

    pdf = FPDF(format="A4")
    pdf.add_page()
    pdf.add_page()
    content = bytes(pdf.output())
    id = add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", content, page=2)
    assert plan_image_of(school, "school", id).height_px > plan_image_of(school, "school", id).width_px
    with pytest.raises(Unreadable, match="2 pages"):
        add_plan_image(school, box, "school", LOCAL_MANAGER, "plan", content, page=3)


def test_a_file_that_is_not_kept_is_not_found(box):
    for name in ("0" * 64, "../etc/passwd", ""):
        with pytest.raises(NotFound):
            box.get(name)
