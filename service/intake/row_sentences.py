"""What an import asks about a row, or why it does not take one, for translators.

Files hold these in English, filled in; pages say them anew (see ``service.intake.sentences``). A heading of a
list is ``name``, what stands under it ``text``. A test holds that none is missing.
"""

from layers.translating import N_

OF_TREES = (
    N_(
        "Another standing tree has the tag %(text)s. Both are kept: give one of them another tag, or "
        "cross out one if they are the same tree."
    ),
    N_(
        "Another standing tree in %(name)s has the tag %(text)s. Both are kept: give one of them another "
        "tag, or cross out one if they are the same tree."
    ),
    N_(
        "A tree of this name stands at this very position already. Both are kept: cross out one if they "
        "are the same tree."
    ),
    N_(
        "The list calls this %(kind)s now, and called it %(before)s before. Nothing was changed: settle "
        "it on its page."
    ),
    N_(
        "The key %(name)s is known as another species in another place. Nothing was changed: if the tree "
        "was replaced, give the new one a key of its own; if the list is one of another part of the "
        "ground, import it with --place."
    ),
    N_(
        "The list has changed %(text)s, and so did somebody here since its last import. What is here was "
        "kept: accept or decline what the list says."
    ),
    N_(
        "The list has another value than before, and the reading was corrected here too. Both corrections "
        "are kept: void the wrong one."
    ),
    N_("Row %(number)s goes by the same key as row %(other)s. Both are kept: void one if they are the same."),
    N_("The row says %(text)s of one day; the last was taken."),
    N_("The row says nothing of a tree: no tag, name, position, place, status or size."),
    N_("The row is a line of totals (%(text)s), no tree."),
    N_(
        "The row has %(number)s cells, the header %(other)s: they cannot be told apart. Put quotes round "
        "the cell that holds the delimiter."
    ),
    N_("natural: a tree_row is a line of trees, none of which is told by itself."),
    N_("natural: %(text)s is no single tree."),
    N_("natural is empty, and no other tag says that this is a tree."),
    N_("natural is empty; its other tags are those of a tree, so it was taken as one."),
    *(N_("a tree"), N_("stump"), N_("gap"), N_("vacant")),
)
OF_CELLS = (
    N_("%(name)s: %(text)s says why there is no size; no size was taken from it."),
    N_("%(name)s: %(text)s is no size; no size was taken from it."),
    N_("%(name)s: %(text)s was taken as the size of a stem that is %(state)s."),
    N_("%(name)s: %(text)s is below 0; no trunk has that size."),
    N_(
        "%(name)s: %(text)s would be %(number)s cm round the trunk, more than %(most)s cm; check the "
        "number and its unit."
    ),
    N_("%(name)s: %(text)s would be only %(number)s cm round the trunk; check the number and its unit."),
    N_("%(name)s: %(text)s would be %(number)s cm round the trunk, more than %(most)s cm; please check."),
    N_(
        "%(name)s: %(text)s would be %(number)s cm round the trunk, far above the rest of the file (99 of "
        "100 stay below %(most)s cm)."
    ),
    N_("%(name)s: %(text)s: %(doubt)s."),
    N_("it says that it is a %(quantity)s, among sizes of the other kind; it was taken as that"),
    N_("it was read as %(number)s stems of %(size)s"),
    N_("a stem of size 0 was left without a size"),
    N_("it is marked as about that size"),
    N_("it is a bound, no size; it was taken as a size class"),
    N_("it is a range, no size; it was taken as a size class"),
    N_("%(first)s The other sizes of the row were taken."),
    N_("It was written %(state)s before, and has the size %(text)s in %(year)s."),
    *(N_("living"), N_("dead"), N_("removed"), N_("unknown"), N_("crown diameter"), N_("height")),
    N_("%(name)s: %(text)s cannot be a %(quantity)s; it was not taken."),
    N_("%(name)s: %(text)s is no height to measure a trunk at."),
    N_("%(name)s: %(text)s is not known; taken as a tree."),
    N_("%(name)s: %(text)s is no day."),
    N_("%(name)s: %(text)s is no day; it was not taken."),
    N_("%(name)s: %(text)s lies more than a year in the future; it was not taken."),
    N_("%(name)s: %(text)s lies in the future."),
    N_(
        "%(name)s: the tree would have been planted (%(day)s) after it was measured (%(until)s); check "
        "both days."
    ),
    N_("%(name)s: %(text)s is no number."),
    N_("%(name)s: %(value)s %(unit)s is no size of a trunk."),
    N_("%(text)s in %(name)s is no reading; a girth, diameter or class has a unit such as cm."),
    N_("The reading has no value."),
    N_("measured_on: %(text)s is no day; write YYYY-MM-DD."),
    N_("measured_on: %(day)s lies more than a year in the future."),
)
OF_PLACES = (
    N_("Only one of two coordinates is given."),
    N_("Only one of longitude and latitude is given."),
    N_("%(text)s is no coordinate."),
    N_("%(text)s is a longitude in the column of the other; no position was taken."),
    N_("%(text)s is a latitude in the column of the other; no position was taken."),
    N_("%(text)s is no pair of coordinates."),
    N_("%(text)s is no position; KML writes longitude,latitude with decimal points."),
    N_("A tree stands at one point; this row has another shape."),
    N_("Longitude %(name)s and latitude %(text)s are no place on earth."),
    N_("The coordinates %(number)s, %(other)s cannot be in %(name)s; no position was taken."),
    N_(
        "Longitude %(name)s and latitude %(text)s look exchanged: the other way round the tree would "
        "stand among the others. No position was taken; correct the file or place the tree."
    ),
    N_("The position lies %(number)s km from the middle of the other rows."),
    N_("It lies %(number)s km from the middle of the other rows."),
    N_("It lies %(number)s km from what stands on this site."),
    N_("A target needs a point, line or polygon; this row has none."),
    N_("An area needs an outline or its hectares; this row has neither."),
    N_("An area is a polygon; this row has another shape."),
    N_("The polygon encloses no ground."),
    N_("%(name)s is the name of several rows; it is number %(number)s."),
    N_("%(text)s does not say how much people are there; use one of %(name)s."),
    N_("%(name)s: %(text)s is no area of ground; it was not taken."),
)
OF_SHAPES = (
    N_("The shape has more than %(number)s points; simplify it or cut it into parts."),
    N_("The coordinates are nested deeper than a shape can be."),
    N_("The coordinates are not nested as this kind of shape needs."),
    N_("The coordinates do not make a %(name)s."),
    N_("A coordinate is not a finite number."),
    N_("The geometry is no object."),
    N_("A shape of the kind %(name)s is not taken; use points, lines or polygons."),
    N_("The bytes are no geometry."),
    N_("The bytes of the geometry are cut off."),
    N_("The geometry is no GeoPackage geometry."),
    N_("The polygon is invalid (%(text)s); draw it again so that its outline does not cross itself."),
    N_("%(name)s holds text that is not UTF-8."),
    N_("%(name)s holds a NUL character."),
    N_("%(name)s holds a NUL character, a number that is not finite or lists too deep."),
    N_("This row has columns of its own, which a table cannot have; export the layer again."),
)
SENTENCES = (*OF_TREES, *OF_CELLS, *OF_PLACES, *OF_SHAPES)
