"""The sentences in which the service answers what was sent, for translators; pages say them anew.

The service raises and returns them in English, filled in; a page finds the template again
(``layers.telling``) and says it in its language and units. A test holds that none is missing here.
"""

from layers.telling import LAYERS, Catalogue
from layers.translating import N_
from service import waiting_words

OF_ENTRIES = (
    N_("%(value)s %(measure)s is more than 10 m round the trunk. Please check number and unit."),
    N_("That makes %(value)s cm each, unusual for %(instrument)s. Please check the lengths."),
    N_("The lengths differ much among each other. Please lay the hands once more."),
    N_("This id is known with another %(names)s; nothing was changed."),
    N_("This id is known on another ground; send it with an id of its own."),
    N_("There is no %(kind)s %(id)s on this site."),
    N_("It corrects a record of something else; name the right one."),
    N_("It would correct a record that corrects it."),
    N_("%(day)s is more than a year ahead; check the date."),
    N_("%(day)s lies ahead. Please check the date."),
)
OF_RECORDS = (
    N_("A NUL character cannot be kept; leave it out."),
    N_("Half a character (a lone surrogate) cannot be kept; type it again."),
    N_("%(said)s is not a day; write it as YYYY-MM-DD."),
    N_("%(said)s is not a time; write it as 2026-05-14T10:30:00+02:00."),
    N_("%(said)s is not a UUID."),
    N_(
        "A count of %(measure)s goes round the trunk and has the instrument %(instrument)s; choose another "
        "unit or that instrument."
    ),
    N_("%(said)s does not add up; write goes of a ruler as 3x30 + 12.5, a sighting as mark 14.9, reach 25."),
    N_("%(said)s makes %(value)s, not %(other)s; type one of them again."),
    N_("A class needs class_from_cm or class_to_cm."),
    N_("A class from %(low)s to %(high)s cm holds nothing; give the smaller end first."),
    N_("Only a diameter by caliper has a second axis; leave value_2 out."),
    N_("A reading needs a value; leave the row empty when nothing was measured."),
    N_("%(value)s %(measure)s is below zero; type it again."),
    N_("%(value)s %(measure)s is more than 45 m round the trunk; check number and unit."),
    N_("%(value)s cm is no length of %(counts)s hands; check number and unit."),
    N_("An area needs an outline, or its hectares and where that number is from."),
    N_("The last day of an area (valid_to) lies before its first (valid_from)."),
)
OF_DANGERS = (
    N_("Say at which tree or where on the ground it was seen."),
    N_("Close a circle round the tree or an outline, not both at once."),
    N_("Say how far from it people are kept out (radius_m)."),
    N_("What is closed needs an outline, or a point with a radius."),
    N_("The last day of a closure (to_on) lies before its first (from_on)."),
    N_("Only an overhead line has a voltage; leave it empty."),
    N_("The last day of a hazard (valid_to) lies before its first (valid_from)."),
    N_("It was closed only after that day; check the date."),
)
OF_PHONES = (
    *waiting_words.SENTENCES,
    N_("Say which tree it is."),
    N_("Say what it is like: not found, looks dead, or only a stump."),
    N_("A picture has at most %(size)s MB; take it again with fewer pixels."),
    N_("Somebody settled it meanwhile. Look at the list again."),
    N_("Choose the tree and the trunk that were meant."),
    N_("Say why it is dropped; that is kept with it."),
    N_("This file is of the ground %(site)s. Bring it in there."),
    N_("This file of a phone is damaged. Save it again on the phone."),
    N_("A file of a phone has at most 32 MB; save it again on the phone."),
)
OF_SETTLINGS = (
    N_("This is what was read. Type what it should be, or let it stay."),
    N_("It was corrected or crossed out meanwhile. Look at it again, then settle it anew."),
    N_("Say what it should be: another number, unit, or round or across."),
    N_("What a list asked can only be left as it is here; change the tree on its page."),
)
OF_EDITS = (
    N_("An area needs an outline, not a line or a point."),
    N_("The outline leaves the earth: longitude goes from -180 to 180, latitude from -90 to 90."),
    N_("A position needs both its numbers, or none."),
    N_("This ground has no place on earth yet: give x_m and y_m, or no position."),
    N_("This ground has its place on earth: give lon_deg and lat_deg, or no position."),
    N_("What is on this ground already has a place on earth; say where one point of the plan is."),
    N_("This ground has no place on earth yet; leave the point on earth out."),
    N_("Give the ground a name."),
    N_("Use at most %(number)s characters."),
)
OF_PICTURES = (
    N_("The picture cannot be placed: %(because)s."),
    N_("this is no placement of a picture. Place the picture again"),
    N_("both clicks are on one spot. Click the two ends of the known length"),
    N_("both clicks are on one spot. Click the two ends of a second known length"),
    N_("both clicks are on one spot. Click the foot and the tip of the north arrow"),
    N_("the direction of north is not a number. Type degrees from 0 to 360"),
    N_("a rectangle has four corners. Click its four corners, one after the other"),
    N_("these four clicks do not go round a rectangle. Click its corners one after the other around it"),
    N_("%(number)s points in the picture and %(other)s on the ground do not match. Give each its place"),
    N_("this is no place on a local ground. Type metres east and north"),
    N_("this is no place that can be mapped. Type longitude (-180 to 180) and latitude (-85 to 85)"),
    N_("the known length must be above 0 m. Type what was measured on the ground"),
    N_("This is no picture that can be read. Send a PNG, JPEG or PDF file."),
    N_("This PDF cannot be read. Save it again without a password, or send a picture."),
    N_("The PDF has %(number)s pages; name one of them."),
    N_("This page of the PDF has no size. Send a picture of it."),
    N_("The picture has %(number)s million pixels; send one of at most %(most)s million."),
)
# What the checking library says of a field by itself.
OF_FIELDS = (
    N_("Field required."),
    N_("Input should be a valid number."),
    N_("Input should be a valid integer."),
    N_("Input should be a valid integer, got a number with a fractional part."),
    N_("Input should be a finite number."),
    N_("Input should be a valid string."),
    N_("Input should be greater than %(least)s."),
    N_("Input should be greater than or equal to %(least)s."),
    N_("Input should be less than %(most)s."),
    N_("Input should be less than or equal to %(most)s."),
    N_("Input should be %(choices)s."),
    N_("String should have at least %(number)s character."),
    N_("String should have at least %(number)s characters."),
    N_("String should have at most %(number)s characters."),
    N_("Extra inputs are not permitted."),
)
# What an error says by itself.
OF_ERRORS = (
    N_("There is no %(kind)s %(id)s."),
    N_("The %(kind)s %(id)s is known with other content; nothing was changed."),
    N_("An import of %(name)s into this site is under way. Wait until it has ended, then try again."),
    N_(
        "The copy knows change %(number)s of %(name)s otherwise than it happened here, where the last one is "
        "%(other)s. Throw the copy away and read anew with since=0."
    ),
    N_("This needs the right to %(text)s."),
    N_("Only these can be given: %(text)s."),
)
SENTENCES = (
    *OF_ERRORS,
    *OF_ENTRIES,
    *OF_RECORDS,
    *OF_DANGERS,
    *OF_PHONES,
    *OF_SETTLINGS,
    *OF_EDITS,
    *OF_PICTURES,
    *OF_FIELDS,
)

PAGES = Catalogue((*LAYERS.templates, *SENTENCES))
