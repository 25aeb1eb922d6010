//! Cautions: what no answer may go out without. Text that warns stands here and nowhere else.

use crate::vehicle::balloon::Gas;

/// For pictures and places with room for one line.
pub const AID: &str = "A planning aid: it does not say that a flight is safe or permitted.";

/// The same where there is room to say what to do.
const FULL_AID: &str = "This is a planning aid. It does not say that a flight is safe or permitted: read the rules in force where you fly, and ask the authority and the owners of the land.";

/// What everybody who chooses a day or a site has to keep in mind.
pub const CHOOSING: [&str; 2] = [
    FULL_AID,
    "A forecast days ahead changes: compare again with the newest one, and look at the sky.",
];

/// What everybody who flies has to keep in mind.
pub const FLYING: [&str; 6] = [
    FULL_AID,
    "A falling load can hurt people and damage property: if the zone touches roads, houses, an airfield or the sea, choose another day or another site.",
    "Keep balloon, lines and people well clear of power lines, when filling and when recovering.",
    "Gas cylinders hold great pressure, helium can suffocate in closed rooms, hydrogen burns: follow the supplier's instructions.",
    "Whoever drives does nothing else: a second person reads the map.",
    "Repeat the prediction with the newest winds shortly before the release.",
];

/// What everybody who fills a balloon with a gas has to keep in mind.
pub fn filling(gas: Gas) -> Vec<&'static str> {
    let of_gas: &[&str] = match gas {
        Gas::Helium => &[HELIUM],
        Gas::Hydrogen => &[HYDROGEN, HYDROGEN_BURNS],
    };
    [&FILLING_FIRST, of_gas, &FILLING_THEN].concat()
}

const FILLING_FIRST: [&str; 2] = [
    "This is a planning aid. It does not say that a flight is safe or permitted: read the rules in force where you fly, ask the authority and the owners of the land, and follow licensed and experienced people.",
    "Cylinders hold great pressure: upright, tied, cap on until used, moved on a trolley, opened slowly by someone who has been shown how. A cylinder whose valve breaks off is a missile. Never warmer than 49 C (120 F).",
];
const HELIUM: &str = "Helium takes the place of air without smell or warning: a leaking cylinder in a closed van or shed can kill. Carry it ventilated and apart from people, fill in the open. Never breathe it in.";
const HYDROGEN: &str = "Hydrogen takes the place of air without smell or warning: a leaking cylinder in a closed van or shed can kill. Carry it ventilated and apart from people, fill in the open. Never breathe it in.";
const HYDROGEN_BURNS: &str = "Hydrogen burns in air from 4 to 75 % (from memory), with a flame that cannot be seen, and a spark is enough: no smoking, engines or phones near; cotton clothes, no wool, fleece or synthetics; filler, cylinder and ground sheet bonded to earth; fill slowly, outdoors; fire extinguisher and an escape route. Only with people who have done it.";
const FILLING_THEN: [&str; 4] = [
    "Wind: a filled balloon pulls like a sail. Let go rather than be dragged, nobody ties the line to themselves, no loops around hands or feet.",
    "Latex: bare nails, rings and grit make holes, and some people are allergic: wear gloves without powder.",
    "Eyes and ears: a balloon that bursts near the face, and gas from an open valve, hurt both. Wear eye and ear protection when filling.",
    "Keep balloon, lines and people well clear of power lines. A falling load can hurt people: no number here says that it will not.",
];

/// How to read the gauge of a cylinder that gas is taken from.
pub const COLD_GAUGE: &str = "a cylinder that gas is taken from grows cold and its gauge reads low: read it again when it is warm, and trust the lift test more than the gauge";

/// How to read the scale of the lift test.
pub const LIFT_TEST: &str = "A gust falsifies the reading: test in a lull, straight up, three times. With a spring scale: true lift = reading x cos(lean).";

/// The same at length, in lines of a table.
pub const LIFT_TEST_AT_LENGTH: &str = "  A gust falsifies the reading, up or down: never trust a single one. A steady wind makes\n  the balloon lean, and a spring scale in the line then reads too much: true lift = reading x cos(lean).\n";

/// Of the points to wait at.
pub const WAITING: &str = "Straight distances, not ways by road: look at the map before you choose. Stop where it is allowed and safe, off the road; stay in the car or under a roof when the load is near.";

/// Of heights and times for a notice.
pub const NOTICE: &str = "Geometric heights above mean sea level, not pressure altitudes. The authority says which notice is due, when and to whom.";

/// Of the heights down to which a tracker is heard.
pub const LINE_OF_SIGHT: &str = "Trees, houses or a weak transmitter can cut it off sooner: if you lose it, drive to higher ground, nearer to the last position.";
