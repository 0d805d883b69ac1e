"""Texts of the further screens of the phone page: new trees, hands, sights, heights, pictures and more."""

from layers.awkward_stems import FACTS
from layers.translating import N_

WHICH = {
    "which_tree": N_("Which tree is it about?"),
    "by_number": N_("No tree of the list has it: tree number {tag} all the same"),
    "scan": N_("Read the code of a tag"),
    "scan_none": N_("No code was found on that picture. Go nearer, or type what stands under the code."),
}

NEW_TREE = {
    "nt_says": N_(
        "First walk from tree to tree and say where each one stands; number, kind and trunks can follow "
        "later. A tree that has a number is perhaps on the list: look there first."
    ),
    "nt_place": N_("Place {n}: where does it stand?"),
    "nt_n": N_("Place {n}"),
    "nt_open": N_("Places that wait for their details"),
    "nt_no_details": N_("no details yet"),
    "nt_waits": N_("They are kept on this phone only, and sent when their details are there."),
    "nt_send_all": N_("Send all as they are"),
    "nt_keep_place": N_("Keep this place"),
    "nt_no_place": N_("Without a place"),
    "nt_tag": N_("Number of the tag, as it stands there"),
    "nt_tag_hint": N_("Leave empty if it has none"),
    "nt_name": N_("Kind of tree, in your words"),
    "nt_name_hint": N_("For example: a maple, red leaves"),
    "nt_sure": N_("How sure are you of the kind?"),
    "nt_is_sure": N_("sure"),
    "nt_thinks": N_("think so"),
    "nt_no_idea": N_("no idea"),
    "nt_trunks": N_("How many trunks?"),
    "nt_trunks_hint": N_("Trunks that part below the measuring height count one by one"),
    "nt_trunks_fault": N_("Type how many trunks, 1 to {num}."),
    "nt_note": N_("Anything else"),
    "nt_twice": N_("A tree of the list has the number {tag}. Is it the same one? Then measure that one."),
    "nt_enter_measure": N_("Enter it and measure"),
    "nt_enter": N_("Enter it"),
    "nt_leaf": N_("Photo of a leaf"),
}

WHERE = {
    "pos_way": N_("How do you find its place?"),
    "pos_tap_on_plan": N_("Tap on the plan"),
    "pos_two_tapes": N_("Two tapes"),
    "pos_baseline_and_offset": N_("Along a wall and off it"),
    "pos_bearing_and_distance": N_("Compass and tape"),
    "pos_paces": N_("Paces"),
    "pos_gps": N_("GPS"),
    "pos_tap_on_plan_says": N_("Make the plan large, then tap where the trunk stands. Larger is better."),
    "pos_two_tapes_says": N_(
        "From two known points, for example corners of a house, to the middle of the trunk. Best where "
        "the tapes meet like the corner of a book."
    ),
    "pos_baseline_and_offset_says": N_(
        "Walk along the wall from A towards B until the trunk is straight beside you; then from the wall to "
        "the trunk."
    ),
    "pos_bearing_and_distance_says": N_(
        "Stand at a known point, away from steel, and aim at the trunk. A hand compass is often 15 degrees "
        "off: 5 m at a distance of 20 m."
    ),
    "pos_paces_says": N_("As along a wall, but counted in your own paces."),
    "pos_gps_says": N_(
        "Stand at the trunk for 20 seconds. Under trees a phone is 5 to 10 m off, however long it waits."
    ),
    "pos_point_a": N_("From point A"),
    "pos_point_b": N_("Point B"),
    "pos_choose": N_("choose"),
    "pos_corners": N_("A corner that is not in the list: tap it on the map, made large."),
    "pos_corner": N_("Corner {n}"),
    "pos_from_a_m": N_("Tape from A"),
    "pos_from_b_m": N_("Tape from B"),
    "pos_along_m": N_("Along, from A towards B"),
    "pos_off_m": N_("Off the line, to the trunk"),
    "pos_along": N_("Paces along, from A towards B"),
    "pos_off": N_("Paces off the line, to the trunk"),
    "pos_bearing_deg": N_("Degrees on the compass"),
    "pos_bearing_deg_hint": N_("Clockwise from north; north itself is 360"),
    "pos_distance_m": N_("From A to the trunk"),
    "pos_declination_deg": N_("Declination, in degrees"),
    "pos_declination_deg_hint": N_("East is plus. Left empty, the compass is taken as it reads."),
    "pos_side": N_("Standing at A and looking to B, the tree is"),
    "pos_left": N_("left"),
    "pos_right": N_("right"),
    "pos_own_pace": N_("Our own pace"),
    "pos_own_pace_says": N_("Walk a measured way of 20 m three times and count your paces."),
    "pos_walk": N_("Paces over 20 m, time {n}"),
    "pos_gps_start": N_("Start"),
    "pos_gps_waits": N_("Waiting for the first position ..."),
    "pos_gps_seen": N_("{num} positions so far. Stay where you are."),
    "pos_gps_done": N_("Done: {num} positions."),
    "pos_gps_none": N_("The phone gives no position. Allow it for this page, or take another way."),
    "pos_gps_local": N_("This ground has no place on earth yet; take another way."),
    "pos_here": N_("the tree"),
    "pos_known": N_("Known to about {far}"),
    "pos_missing": N_("Something is missing: fill in what is asked above, or tap the map."),
    "pos_fault_too_short": N_("These two tapes do not reach each other. Measure again."),
    "pos_fault_too_long": N_("One tape is too long for the other. Measure again."),
    "pos_fault_too_narrow": N_("The two tapes run nearly along one line. Take another known point."),
    "pos_fault_same_point": N_("A and B are the same point. Choose another one."),
    "pos_fault_outside": N_("One of these numbers cannot be. Check them."),
    "pos_fault_nothing": N_("There is nothing to compute from yet."),
}

HANDS = {
    "hd_part": N_("Measured in"),
    "hd_breadths": N_("hand breadths: the palm without the thumb"),
    "hd_spans": N_("spans: from the tip of the thumb to that of the little finger"),
    "hd_says": N_(
        "Lay {num} along a tape, each close to the one before, and write down the length. Do that {times} "
        "times, each time anew from the beginning."
    ),
    "hd_time": N_("Length of all, time {n}"),
    "hd_more": N_("{num} more, then we know how broad one is."),
    "hd_each": N_("One is {each}, give or take {error}."),
    "hd_too_long": N_("That is too long for {num}. Type it again."),
    "hd_one": N_("One person of the team does this and counts all trunks of the day."),
}

SEE = {
    "see_danger": N_("One of these? Tap it and stop"),
    "see_rest": N_("What else do you see?"),
    "see_ground": N_("Look from the ground only. Nobody climbs, knocks, digs or pulls."),
    "see_note": N_("In your own words"),
    "see_note_hint": N_("Where on the tree, how much. No names of people."),
    "see_nothing": N_("Tick what you see, or say below that you saw none of these."),
    "see_ticked": N_("Something is ticked: keep that, or take the ticks away."),
}

HEIGHTS = {
    "ht_stick": N_("Height with a stick"),
    "ht_angle": N_("Height by angles"),
    "ht_crown": N_("Crown in two directions"),
    "ht_care": N_("Stand still while you look up. Nobody stands under a branch that hangs or is broken."),
    "ht_stick_says": N_(
        "Hold a stick upright at arm's length so that its foot covers the foot of the tree; read where it "
        "covers the tip."
    ),
    "ht_back": N_("Walk backwards only with somebody behind you who looks where you go."),
    "ht_reach": N_("From the eye to the stick"),
    "ht_covered": N_("What the tree covers on the stick"),
    "ht_far": N_("From you to the trunk"),
    "ht_angle_says": N_(
        "About as far away as the tree is tall. Hold the phone flat, aim along its long edge like along a "
        "ruler, and tap when it points there; or type what a protractor shows."
    ),
    "ht_top": N_("Up to the tip (degrees)"),
    "ht_foot": N_("To the foot of the trunk (degrees)"),
    "ht_foot_hint": N_("Below your eye with a minus, for example -5"),
    "ht_slope": N_("Slope of the tape (degrees)"),
    "ht_slope_hint": N_("Only where the tape did not lie level: from your eye to a mark at the same height"),
    "ht_take": N_("Take from the phone"),
    "ht_no_tilt": N_("This phone does not say how it is tilted. Type the degrees."),
    "ht_about": N_("{height}, give or take {error}"),
    "ht_fault": N_("From these numbers no height follows. Check them."),
    "ht_lean": N_("A tip that is hidden or leans is not in the give or take: look from two sides."),
    "ht_again": N_("Once more from another side"),
    "ht_apart": N_("The two sides are far apart. Measure one again, or keep their mean."),
    "ht_crown_says": N_(
        "Two people stand under the outermost twigs on opposite sides; the tape goes between."
    ),
    "ht_one_way": N_("Across, one way"),
    "ht_other_way": N_("Across, at right angles to it"),
    "ht_how": N_("Measured with"),
    "ht_tape": N_("a tape"),
    "ht_paces": N_("paces"),
}

PHOTO = {
    "photo": N_("Picture"),
    "ph_of_tape": N_("The tape round the trunk, with its number."),
    "ph_of_leaf": N_("One leaf, flat on the hand or on paper."),
    "ph_of_tree": N_("The whole tree, or the part it is about."),
    "ph_of_danger": N_("From far enough away. Do not go back for a picture."),
    "ph_of_other": N_("What it is about, near and sharp."),
    "ph_nobody": N_("No people on it. It is made smaller here; place and time are taken off."),
    "ph_take": N_("Take a picture"),
    "ph_choose": N_("Choose one"),
    "ph_done": N_("Done"),
    "ph_not_sent": N_("Not sent: see below."),
    "ph_drop": N_("Delete it"),
    "ph_working": N_("Making it smaller ..."),
    "ph_kept": N_("The picture is kept on this phone and sent after the measurements."),
    "ph_aside": N_(
        "This phone cannot make that picture smaller, so it is not sent. It stays here; take another one "
        "with the camera set to a smaller size."
    ),
    "ph_no_room": N_("There is no room for that picture; measurements go first. It was not kept."),
    "ph_no_picture": N_("That is no picture. Choose another one."),
}

AWKWARD = {
    "not_said": N_("not said"),
    "aw_open": N_("Not level, ivy, a fork, a slope ..."),
    "aw_facts": N_("What is awkward about the trunk?"),
    "aw_side": N_("Side on which the height counts"),
    "aw_tilt": N_("How level was the tape?"),
    "aw_vine": N_("How thick is the vine?"),
    "aw_bark": N_("How much of the width is left without bark (%)?"),
    "aw_range": N_("That cannot be. Type it again, or leave it empty."),
    "tilt_0": N_("level, or not said"),
    "tilt_5": N_("a little slanted: like A"),
    "tilt_10": N_("slanted: like B"),
    "tilt_20": N_("very slanted: like C"),
}
RULES = {f"rule_{word.replace(' ', '_')}": fact.rule for word, fact in FACTS.items()}

FURTHER = (WHICH, NEW_TREE, WHERE, HANDS, SEE, HEIGHTS, PHOTO, AWKWARD, RULES)
