"""The sentences in which an import says what it guessed and what it asks, for translators.

Files and JSON hold them in English, filled in; a page finds the template again (``layers.telling``) and says
it in its own language. A test imports lists of all kinds and holds that none of their sentences is missing.
"""

from layers.telling import Catalogue
from layers.translating import N_
from service.intake import row_sentences

OF_FILES = (
    N_("The file starts with the mark of this encoding."),
    N_("Plain ASCII reads the same in all."),
    N_("Every byte of the file fits UTF-8."),
    N_("The file is not UTF-8, and read as %(name)s %(share)s of its special characters are letters."),
    N_("It cuts %(share)s of the first lines into %(text)s columns."),
    N_("The file has a single column."),
    N_("No line of the first 20 holds words that name columns; they are numbered column 1, column 2 ..."),
    N_("%(text)s of its %(name)s cells are words that name columns."),
    N_("What stands above it is no row of the list: %(text)s."),
    N_("Line %(text)s has only units under the headers."),
    N_("The file names %(text)s, which is not known here: it was not used."),
    N_("The file names it: %(text)s."),
    N_("The GeoPackage names it for the table %(text)s."),
    N_("GeoParquet is in longitude and latitude where it names no other system."),
    N_("KML is in WGS84 (OGC 07-147r2)."),
    N_("The file points to other files, which were not fetched; only what stands in it was read."),
    N_("It carries our own ids, which are known here."),
    N_("The column %(text)s says tree, as OpenStreetMap does."),
    N_("The column %(text)s calls objects of OpenStreetMap, such as node/123."),
    N_("The column %(text)s calls objects of OpenStreetMap by their numbers."),
    N_("Headers such as %(name)s and %(text)s are tags of OpenStreetMap."),
)
OF_COLUMNS = (
    N_("The header %(text)s is a word for it."),
    N_("Each of these columns is headed by a year and holds sizes."),
    N_("Its cells are size classes that touch each other, not single sizes."),
    N_("%(share)s of its cells look like botanical names."),
    N_("%(share)s of its cells are words for trees, stumps and gaps."),
    N_("The column is empty."),
    N_("computed"),
    N_("computed for a day; a status is changed on the page of its tree, with the day from which it holds"),
    N_("computed from %(text)s: girth is pi times diameter in its rows"),
    N_("Its header is a tag of OpenStreetMap."),
    N_("It says the same as %(text)s."),
    N_("It says who edited the map, nothing of the tree."),
    N_("It is the running number that the format gives its rows."),
    N_("It holds pictures or other binary data."),
    N_("It is the box that the format gives its shapes."),
    N_("It is a second shape of the row."),
)
OF_LAYERS = (
    N_("Its shapes are %(name)s."),
    N_("Its shapes are %(name)s, and its words are those of targets."),
    N_("Most of its shapes are points, and its headers are those of trees (%(name)s)."),
    N_("The words of %(text)s are those of targets, and no header is one of trees."),
    N_("The names of the rows are words for it."),
    N_(
        "%(name)s has %(text)s points and %(value)s polygons; an area is a polygon, a tree stands at a "
        "point, a target may be either."
    ),
    N_("%(name)s holds several tables (%(text)s)."),
)
OF_POSITIONS = (
    N_("x runs from %(name)s to %(value)s, y from %(other)s to %(text)s"),
    N_("GeoJSON is in WGS84 (RFC 7946)."),
    N_("The site has no place on earth; its ground is in metres."),
    N_("Both are degrees: %(ends)s."),
    N_("The headers name longitude and latitude, and %(ends)s."),
    N_("The values are degrees close together: %(ends)s."),
    N_("The positions look like metres on a ground of its own: %(ends)s."),
    N_("The positions may be degrees or metres on a ground of its own: %(ends)s."),
    N_("No coordinate system that is tried here fits: %(ends)s."),
    N_("Several coordinate systems make sense of the positions: %(ends)s."),
    N_(
        "X runs from %(low)s to %(high)s, y from %(other)s to %(value)s m: read as %(name)s the trees stand "
        "in its area (%(text)s), and the headers are in a language spoken there."
    ),
    N_(
        "X runs from %(low)s to %(high)s, y from %(other)s to %(value)s m: read as %(name)s the trees stand "
        "in its area (%(text)s)."
    ),
    N_("As written the latitudes cannot be, or lie far from the site; exchanged they fit."),
    N_("Both coordinates are exactly 0, which no tree has: the position is missing."),
    N_("It may be the longitude, but no column is there that could be the other of the two."),
    N_("It may be the latitude, but no column is there that could be the other of the two."),
    N_(
        "It may be the longitude, but %(text)s and others in it are no coordinates that are read here; write "
        "them as 51.5033 or 51°30'12\"N."
    ),
    N_(
        "It may be the latitude, but %(text)s and others in it are no coordinates that are read here; write "
        "them as 51.5033 or 51°30'12\"N."
    ),
    N_(
        "Its cells, such as %(text)s, look like references of a grid with letters, which are not read here: "
        "give longitude and latitude, or easting and northing as numbers."
    ),
)
OF_SIZES = (
    N_("The header %(text)s says what it is and its unit."),
    N_("The sizes in %(name)s (the middle one is %(text)s) may be %(value)s or %(other)s."),
    N_("The sizes in %(name)s may be %(value)s or %(other)s."),
    N_("No column is named as a size, but the numbers in %(text)s could be sizes."),
    N_("--size says %(value)s, and no column of the file is named as one."),
    N_("%(quantity)s in %(measure)s"),
    N_("the header %(name)s says %(value)s"),
    N_("The tag counts in metres where no unit is written."),
    N_("The tag %(name)s counts in %(value)s where no unit is written."),
    N_(
        "The tag %(name)s counts in %(value)s where no unit is written: the middle value %(text)s is a girth "
        "of %(number)s cm."
    ),
    N_("The tag %(name)s counts in %(value)s where no unit is written, but its values speak against that"),
    N_(
        "The tags mean 1.3 m above ground, in an older text 1 m, and the rows do not say it: sizes count as "
        "taken at the standard height of the ground, with more doubt. --height-m says it."
    ),
    N_("Sizes with ';' between them are those of several trunks (common practice, no source)."),
    N_("the values go in whole, half and quarter steps"),
    N_("the values go in steps finer than quarters"),
    N_("the middle value %(text)s would be a girth of %(number)s cm, as trees of lists have"),
    N_("the trees stand in North America"),
    N_("the trees stand outside North America"),
    N_("the headers are in a language of countries with metric units"),
    N_("--size says %(value)s, but the header %(name)s says %(other)s: the header holds."),
    N_("The header %(name)s says %(value)s, but --size says %(other)s: that holds."),
    N_("there are no values to judge by"),
    N_("The header says so."),
    N_("The classes say so."),
    N_("No unit is said; the trees stand in North America."),
    N_("No unit is said; the trees stand outside North America."),
    N_("No unit is said; centimetres are usual."),
    N_("95 of 100 values stay below %(number)s."),
    N_("95 of 100 values stay below %(number)s, and the sizes are in inches."),
    *(N_("girth"), N_("diameter"), N_("inches"), N_("feet"), N_("metres"), N_("millimetres")),
)
OF_ROWS = (
    N_("Every row has its own %(text)s; it tells the rows apart."),
    N_("No column of numbers or names is there in which every row differs."),
    N_(
        "The site knows these rows by %(value)s, from an earlier import. By %(name)s, which would come first "
        "now, all of them would be taken once more."
    ),
    N_("The tag 0 repeats: it stands for no tag."),
    N_("Read %(text)s."),
    N_("Read %(name)s. Not in the species table: %(text)s."),
    N_("Not in the species table: %(text)s."),
    N_("The column %(text)s says that no tree stands there."),
    N_("The column %(text)s tells them from trees."),
    N_("Words of %(name)s that are not known here: %(text)s. These trees count as living."),
    N_("%(number)s dates have a first number above 12."),
    N_("%(number)s dates have a second number above 12."),
    N_("%(number)s dates have a first number above 12, %(text)s the other."),
    N_("%(number)s dates have a second number above 12, %(text)s the other."),
    N_("Days and months cannot be told apart; the trees stand in North America."),
    N_("Days and months cannot be told apart; outside North America the day comes first."),
)
OF_SITES = (
    N_("--crs local was given, and nothing of the site has a position on earth yet"),
    N_("--crs local was given"),
    N_("the site was not there and was made with defaults; all can be changed before measuring starts"),
    N_("the default of a new site"),
)
OF_VALUES = (
    N_("none"),
    N_("comma"),
    N_("semicolon"),
    N_("tab"),
    N_("bar"),
    N_("local"),
    N_("trees"),
    N_("areas"),
    N_("targets"),
    N_("day first"),
    N_("month first"),
    N_("one that left here"),
    N_("not as the file names it"),
    N_("tags of OpenStreetMap"),
    N_("not said"),
    N_("in %(number)s rows"),
    N_("latitude and longitude exchanged"),
    N_("tag and place"),
    N_("what the file calls it"),
    N_("what the file calls it and place"),
    N_("position to 0.1 m and species as written"),
    N_("missing in %(number)s rows"),
    N_("not taken from %(text)s"),
    N_("unknown in %(number)s rows"),
    N_("by name in %(number)s rows"),
    N_("%(number)s doubtful, %(text)s not known, of %(other)s names"),
)
SENTENCES = (
    *OF_FILES,
    *OF_COLUMNS,
    *OF_LAYERS,
    *OF_POSITIONS,
    *OF_SIZES,
    *OF_ROWS,
    *OF_SITES,
    *OF_VALUES,
    *row_sentences.SENTENCES,
)
IMPORTS = Catalogue(SENTENCES)
