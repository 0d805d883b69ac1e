"""All texts of the phone page, by the keys of its scripts; ``{name}`` stands for what a script fills in."""

from flask_babel import gettext as _

from layers import stop_card
from layers.awkward_stems import FACTS
from layers.sights import DANGERS
from layers.translating import N_
from service.web.field_screen_words import FURTHER

FRAME = {
    "field": N_("Measuring"),
    "back": N_("Back"),
    "danger": N_("Danger"),
    "all_sent": N_("all sent"),
    "unsent": N_("not sent: {num}"),
    "needs_scripts": N_("This page needs JavaScript. Switch it on, or measure with the paper sheets."),
    "tree": N_("Tree {tag}"),
    "tree_without": N_("A tree without a number"),
    "in_memory": N_(
        "{num} measurements are only on this screen: the phone is full. Leave this page open, write the "
        "numbers on paper as well, make room on the phone, then tap “Send now”."
    ),
    "full": N_(
        "This phone is full. What you enter is still kept, but there is little room left: delete "
        "pictures or films on the phone, or send what is here soon."
    ),
    "little_room": N_(
        "There is little room left on this phone. Delete pictures or films before you go on, or send often."
    ),
    "no_database": N_(
        "This browser keeps nothing (a private window?). Open the page in an ordinary window, or leave "
        "it open until everything is sent."
    ),
    "word_ended": N_(
        "The word of this team has ended, or it is not known any more. Everything you entered is still "
        "here. Ask your leader for the new word; then it is sent."
    ),
    "enter_word": N_("Type the new word"),
    "clock_off": N_(
        "The clock of this phone is off by about {num} minutes. Both times are kept; set the clock right "
        "if you can."
    ),
    "new_version": N_("A new version of this page is here. What you entered stays."),
    "load_it": N_("Load it"),
    "plain_http": N_(
        "This page came without a secure connection, or the browser cannot keep it: it works as long as "
        "it stays open, but it cannot be opened without a network. Do not close it before everything is "
        "sent."
    ),
    "no_gps": N_(
        "Without a secure connection a phone tells no position: find trees by number and on the map."
    ),
    # Some phones forget what a page keeps after about a week without a visit (from memory, unverified).
    "stays_here": N_("What is not sent yet is kept on this phone. Send it before the end of the week."),
    "languages": N_("Language"),
}

JOIN = {
    "welcome": N_("Welcome, {crew}"),
    "no_pack": N_("The list of trees is not on this phone yet. It comes with the first connection."),
    "join_title": N_("Join your team"),
    "join_says": N_("Type the two words of your team. They are on the slip that your leader has."),
    "word": N_("Team's word"),
    "word_hint": N_("Two words, for example: green heron"),
    "word_missing": N_("Type the two words of your team."),
    "join": N_("Join"),
    "no_names": N_("Nobody's name is asked for or kept: a team is a code."),
    "no_connection": N_(
        "No connection. The first time the phone needs one; afterwards this page works without."
    ),
    "wait": N_("Try again in {num} minutes."),
    "kept_until": N_("Kept on this phone and not sent yet: {num}. It is sent as soon as the word is typed."),
    "joined_as": N_(
        "This phone is with {crew} on {site}. Another word joins another team; what was entered "
        "keeps its own."
    ),
}

TREES = {
    "not_begun": N_("These days have not begun."),
    "of_team": N_("{crew}: {done} of {num} trees done"),
    "practice": N_("A tree to practise on: all teams measure it, then compare."),
    "measure_it": N_("Measure this tree"),
    "another_first": N_("Another tree first"),
    "all_done": N_("All trees of your list are done"),
    "meet_at": N_("Send what is not sent yet, then go to the meeting point: {words}"),
    "meet": N_("Send what is not sent yet, then go to the meeting point."),
    "all_trees": N_("List of trees, find a tree"),
    "new_tree": N_("A tree that is not on the list"),
    "saw": N_("We saw something"),
    "heights": N_("Height and crown"),
    "hands": N_("Measure our hand"),
    "entered": N_("What was entered here"),
    "find": N_("Find a tree"),
    "find_hint": N_("Its number, the code of its tag, or its kind"),
    "near_you": N_("Near you"),
    "no_such_tree": N_("No tree of this ground has the number {tag}."),
    "measure_by_number": N_("Measure it by this number"),
    "which_of": N_("{num} trees have the number {tag}. Which one is it?"),
    "closed": N_("closed"),
    "done": N_("done"),
    "way": N_("about {far} to the {way}"),
    "here": N_("It is right here."),
    "beside": N_("right beside: {from}"),
    "from_tree": N_("From tree {tag}"),
    "from_meeting": N_("From the meeting point"),
    "way_n": N_("north"),
    "way_ne": N_("north-east"),
    "way_e": N_("east"),
    "way_se": N_("south-east"),
    "way_s": N_("south"),
    "way_sw": N_("south-west"),
    "way_w": N_("west"),
    "way_nw": N_("north-west"),
    "map_says": N_("Map of the ground with the trees of your team. The list says the same in words."),
    "map_nearer": N_("Nearer"),
    "map_farther": N_("Farther"),
    "map_whole": N_("Whole"),
    "map_me": N_("Me"),
    "map_meeting": N_("Meeting point"),
}

MEASURE = {
    "trunk_of": N_("Trunk {number} of {num}"),
    "at_height": N_("{height} above the ground"),
    "last_time": N_("Last time:"),
    "last_at": N_("at {height}"),
    "guess_first": N_("Guess first: look, do not measure yet."),
    "guess_label": N_("Our guess ({unit})"),
    "guess": N_("That is our guess"),
    "reading_label": N_("Reading ({unit})"),
    "level": N_("Is the tape level all round? Is it tight, without slack?"),
    "keep": N_("Keep it"),
    "no_number": N_("Type a number above 0, for example 94.2."),
    "goes_times": N_("Whole rulers"),
    "goes_long": N_("How long the ruler is"),
    "goes_rest": N_("What is left after the last whole ruler"),
    "goes_hint": N_(
        "How often the whole ruler fits along the string; leave it empty if the string is shorter."
    ),
    "caliper_1": N_("Across, first way"),
    "caliper_2": N_("Across, at right angles to it"),
    "sighting_mark": N_("Mark on the stick"),
    "sighting_reach": N_("From the eye to the trunk, in the same unit"),
    "no_trunk": N_("No trunk of this tree is in the list."),
    "or_else": N_("Cannot be measured?"),
    "says_not_found": N_("Not found"),
    "says_looks_dead_no_leaves": N_("Looks dead: no leaves"),
    "says_only_a_stump": N_("Only a stump"),
    "says_hint": N_("Whoever looks after the ground settles it; nothing is taken off the list by this."),
    "says_it": N_("Say so"),
    "hands_first": N_("Measure your hand first: without that, the usual hand of grown-ups counts."),
    "kept": N_("Kept on this phone."),
    "kept_in_memory": N_(
        "Only on this screen: the phone is full. Write the number on paper as well, and leave this page "
        "open until it is sent."
    ),
    "fits": N_("It fits those before it"),
    "first_here": N_("Written down"),
    "please_check": N_("Please check"),
    "measure_again": N_("Measure again"),
    "it_is_so": N_("It is so."),
    "next_tree": N_("Next tree"),
    "next_trunk": N_("Next trunk"),
    "photo_tape": N_("Photo of the tape"),
    "expected": N_("{low} to {high} {unit} was to be expected."),
    "last_size": N_("Last: {value} {unit} ({on})"),
    "tree_closed": N_("{tree} is closed"),
    "keep_away": N_("Keep away from it, all of you. Go on with another tree."),
    "go_on": N_("Another tree"),
    "ask_inches": N_("Were these inches?"),
    "ask_centimetres": N_("Were these centimetres?"),
    "ask_metres": N_("Were these metres?"),
    "ask_feet": N_("Were these feet?"),
    "ask_slip": N_("Is the number as it was read?"),
    "ask_digits_swapped": N_("Were two digits swapped?"),
    "ask_earlier": N_("Or is the one before it the odd one?"),
    "ask_shrinkage": N_("Did the trunk lose bark or wood?"),
    "ask_neighbour": N_("Is it {tree}, which stands close by?"),
    "ask_another_stem": N_("Is it trunk {number} of the tree?"),
    "ask_another_height": N_("Was it measured at {height}?"),
    "ask_girth_as_width": N_("Is it the distance round the trunk, and not its width?"),
    "ask_width_as_girth": N_("Is it the width of the trunk, and not the distance round it?"),
    "ask_ten_times_too_big": N_("Is there a digit too many, or is the decimal point missing?"),
    "ask_ten_times_too_small": N_("Is a digit missing, or the decimal point in the wrong place?"),
    "side_uphill": N_("uphill"),
    "side_downhill": N_("downhill"),
    "side_between": N_("between uphill and downhill"),
    "side_upper_side_of_the_lean": N_("upper side of the lean"),
    "side_under_side_of_the_lean": N_("under side of the lean"),
    "instrument_girth_tape": N_("Tape"),
    "instrument_diameter_tape": N_("Diameter tape"),
    "instrument_caliper": N_("Caliper"),
    "instrument_string_and_ruler": N_("String and ruler"),
    "instrument_hand_breadths": N_("Hand breadths"),
    "instrument_hand_spans": N_("Hand spans"),
    "instrument_sighting": N_("Sighting stick"),
    "instrument_eye": N_("By eye"),
    "instrument_unknown": N_("Any instrument"),
    "unit_hands": N_("hands"),
    "unit_spans": N_("spans"),
}

DANGER = {
    "danger_anywhere": N_("At some place of the ground"),
    "danger_elsewhere": N_("Not at this tree"),
    "place_not_said": N_("not said yet where"),
    "danger_where": N_("Where is it?"),
    "danger_where_hint": N_("For example: the row of poplars behind the gym"),
    "danger_where_missing": N_("Say in words where it is."),
    "sites_number": N_("the site's number"),
    "danger_kept": N_("It is kept on this phone and sent before everything else. Call all the same."),
    "for_leader": N_("For the leader: what was done"),
    "leader_did": N_("Done:"),
    "leader_called": N_("Who was called"),
    "leader_missing": N_("Tick what was done."),
    "leader_confirms": N_("This was done"),
}

ENTRIES = {
    "send_now": N_("Send now"),
    "save_file": N_("Save all as a file"),
    "undo": N_("Undo the last: {what}"),
    "other_word": N_("Another word"),
    "nothing_yet": N_("Nothing was entered on this phone yet."),
    "state_on_phone": N_("on this phone, not sent yet"),
    "state_arrived": N_("arrived"),
    "state_asks": N_("arrived; please check"),
    "state_aside": N_("arrived; kept aside until somebody has looked"),
    "state_refused": N_("not taken; kept on this phone"),
    "other_ground": N_("belongs to another ground ({site}): join it there again, or save it as a file"),
    "crossed_out": N_("crossed out"),
    "replaced": N_("does not count any more: entered anew, or crossed out"),
    "kind_reading": N_("Measurement"),
    "kind_observation": N_("seen"),
    "kind_calibration": N_("Our hand"),
    "kind_photo": N_("Picture"),
    "kind_tree": N_("New tree"),
    "kind_status": N_("Tree"),
}

PARTS = (FRAME, JOIN, TREES, MEASURE, DANGER, ENTRIES, *FURTHER)


def words() -> dict[str, str]:
    """Return all texts in the language of the page."""
    said = {key: str(_(text)) for part in PARTS for key, text in part.items()}
    card = {"stop": stop_card.STOP, "stop_call": stop_card.CALL, "stop_when": stop_card.WHEN}
    said |= {key: str(_(text)) for key, text in card.items()}
    said |= {f"did_{word.replace(' ', '_')}": str(_(text)) for word, text in stop_card.LEADER_DID.items()}
    said |= {f"fact_{word.replace(' ', '_')}": str(_(fact.plain)) for word, fact in FACTS.items()}
    said |= {f"sight_{sight.word.replace(' ', '_')}": str(_(sight.plain)) for sight in DANGERS}
    return said
