//! Every English text of the page that is not an answer's own: a second language is this file once more.

/// The stations of the job, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Station {
    /// Name, time and place.
    Flight,
    /// What flies.
    Stack,
    /// The winds.
    Winds,
    /// Which day.
    Days,
    /// Which field.
    Site,
    /// Where it comes down.
    Zone,
    /// What the crew carries.
    Brief,
    /// While it flies.
    Follow,
    /// When it is down.
    After,
    /// The plan as text.
    Text,
}

impl Station {
    /// All of them.
    pub const ALL: [Station; 10] = [
        Station::Flight,
        Station::Stack,
        Station::Winds,
        Station::Days,
        Station::Site,
        Station::Zone,
        Station::Brief,
        Station::Follow,
        Station::After,
        Station::Text,
    ];

    /// Its name in addresses and on the page.
    pub fn id(self) -> &'static str {
        match self {
            Station::Flight => "flight",
            Station::Stack => "stack",
            Station::Winds => "winds",
            Station::Days => "days",
            Station::Site => "site",
            Station::Zone => "zone",
            Station::Brief => "briefing",
            Station::Follow => "flying",
            Station::After => "afterwards",
            Station::Text => "text",
        }
    }

    /// Its short name, and what it asks.
    pub fn title(self) -> [&'static str; 2] {
        match self {
            Station::Flight => ["Flight", "Which flight, when, from where"],
            Station::Stack => ["Stack", "What flies, and how much gas it needs"],
            Station::Winds => ["Winds", "Which winds it flies in"],
            Station::Days => ["Days", "Which day and hour"],
            Station::Site => ["Site", "Which field to launch from"],
            Station::Zone => ["Zone", "Where it comes down, and how sure that is"],
            Station::Brief => ["Briefing", "What the crew takes along"],
            Station::Follow => ["In flight", "While it flies"],
            Station::After => ["Afterwards", "When it is down"],
            Station::Text => ["Plan as text", "The whole plan, as the file has it"],
        }
    }
}

/// Label of a field, and its example or what it means.
pub fn field(id: &str) -> [&'static str; 2] {
    match id {
        "flight.name" => ["Name of the flight", "for example Ozone run 3"],
        "flight.release" => ["Release", "local date and time, as in 2026-05-01 09:00"],
        "flight.timezone" => ["Time zone", "as in America/Denver"],
        "flight.units" => ["Units you read", "the plan's own choice"],
        "site.lat" => ["Latitude", "degrees north, as in 43.06"],
        "site.lon" => [
            "Longitude",
            "degrees east, so west is negative, as in -108.48",
        ],
        "site.elevation" => ["Elevation", "above sea level, as in 1,640 m or 5,380 ft"],
        "site.shelter" => ["Shelter", "its sides, as in 2.4 m x 2.1 m"],
        "site.door" => ["Door", "its sides, as in 8 ft x 7 ft"],
        "balloon.mass" => ["Balloon, empty", "as in 1200 g"],
        "balloon.burst_diameter" => [
            "Diameter at the burst",
            "from the maker's sheet, as in 8.63 m; else by the program's tables",
        ],
        "balloon.gas" => ["Gas", ""],
        "balloon.gas_purity" => ["Purity of the gas", "a share, as in 0.98"],
        "balloon.filler" => ["Filler", "its mass, as in 0.4 kg"],
        "fill.kind" => ["The fill is given as", ""],
        "fill.value" => ["How much", "with its unit, as in 5 m/s or 6.8 kg"],
        "parachute.diameter" => ["Parachute, laid out", "as in 2.1 m or 7 ft"],
        "parachute.drag_coefficient" => ["Its drag coefficient", "on that area, as in 0.75"],
        "parachute.mass" => ["Its mass", "unless it is among the load, as in 300 g"],
        "parachute.measured" => [
            "Its mass on the scales",
            "once weighed; counts in place of the mass",
        ],
        "ascent.rate" => [
            "Rate of ascent, stated",
            "in place of the balloon's physics, as in 5 m/s",
        ],
        "ascent.burst_altitude" => ["Burst altitude, stated", "as in 30 km"],
        "descent.landing_speed" => [
            "Landing speed, stated",
            "in place of the parachute's physics, as in 5 m/s",
        ],
        "descent.remnant" => [
            "Balloon left on the line",
            "the share of it that stays after the burst, as in 30 %",
        ],
        "wind.files" => [
            "Wind files of this plan",
            "soundings or a forecast, not both; what is not listed can be dropped here",
        ],
        "limits.surface_wind" => ["Wind at the ground, at most", "as in 4 m/s or 9 mph"],
        "limits.max_drift" => ["Drift, at most", "as in 80 km or 50 mi"],
        "limits.daylight_after_landing" => ["Daylight after the landing", "as in 2 h"],
        "limits.keep_out_probability" => ["Share on any one hazard, at most", "as in 0.02"],
        "limits.all_hazards_probability" => {
            ["Share on any hazard, all together, at most", "as in 0.04"]
        }
        "limits.water_probability" => ["Share in water, at most", "as in 0.05"],
        "limits.dark_release" => ["Release in the dark is allowed", ""],
        "ground.terrain" => [
            "Heights of the ground",
            "files of the folder, a line each: .hgt, .tif, .asc",
        ],
        "ground.roads" => ["Roads", "files, a line each"],
        "ground.road_class" => ["What holds the class of a road", "the name of an attribute"],
        "ground.keep_out" => ["Areas to keep out of", "files, a line each"],
        "ground.land_in" => ["Areas to land in", "files, a line each"],
        "ground.power_lines" => ["Power lines", "files, a line each"],
        "ground.osm" => ["OpenStreetMap extracts", "files, a line each"],
        "spread.wind" => ["Winds are wrong as", "sounding, forecast or none"],
        "spread.lift" => ["Lift", "as in 4 %"],
        "spread.burst_diameter" => ["Diameter at the burst", "as in 6 %"],
        "spread.drag" => ["Drag of the balloon", "as in 8 %"],
        "spread.rate" => ["Rate of ascent, from height to height", "as in 13 %"],
        "spread.parachute" => ["Drag area of the parachute", "as in 10 %"],
        "spread.remnant" => ["Balloon left on the line", "as in 15 %"],
        "spread.early_bursts" => ["Balloons that burst early", "a share, as in 10 %"],
        "spread.canopy_changes" => ["Canopies that change on the way", "a share, as in 8 %"],
        "spread.release_delay" => [
            "Delay of the release",
            "two thirds are shorter, as in 10 min",
        ],
        "spread.logbook" => [
            "Logbook of past flights",
            "a file of the folder, as in flights.toml; what they showed is taken into account",
        ],
        "brief.contacts" => ["Whom to call", "a line each"],
        "brief.notes" => ["Notes for the crew", ""],
        "brief.filling" => ["Filling begins before the release", "as in 1 h"],
        _ => match id.rsplit('.').next() {
            Some("name") => ["What it is", "as in tracker"],
            Some("mass") => ["Mass", "as in 0.95 kg or 2 lb"],
            Some("measured") => ["On the scales", "once weighed; counts in place of the mass"],
            Some("smallest_face") => ["Smallest face", "as in 15 cm x 20 cm; may be empty"],
            _ => ["", ""],
        },
    }
}

/// One of the answers that can be chosen in a field.
pub fn choice(id: &str, value: &str) -> &'static str {
    match (id, value) {
        ("fill.kind", "") => "not given",
        (_, "neck_lift") => "lift at the neck",
        (_, "free_lift") => "lift beyond the load",
        (_, "gas_volume") => "volume of gas at the site",
        (_, "ascent_rate") => "rate of ascent at release",
        (_, "burst_altitude") => "altitude of the burst",
        (_, "flight_time") => "time from release to landing",
        (_, "cylinders") => "cylinders, emptied (edit them as text below)",
        (_, "helium") => "helium",
        (_, "hydrogen") => "hydrogen",
        (_, "metric") => "metric",
        (_, "us") => "US",
        (_, "yes") => "yes",
        (_, "no") => "no",
        _ => "not given",
    }
}

pub const DESK: &str = "Windfall desk";
pub const AID: &str = "A planning aid. It never says that a flight is safe or legal.";
pub const WRONG_HOST: &str = "This is not the address of a Windfall desk.";
pub const NO_KEY: &str = "Open the desk with the address that `windfall desk` printed when it started: it holds the key of this run.";
pub const NOT_OURS: &str = "Only the desk's own page may do this.";
pub const NOT_FOUND: &str = "There is nothing here.";
pub const BUSY: &str = "other work is going on";
pub const BUSY_REMEDY: &str = "wait for its end, or stop it";
pub const BROKEN: &str = "the work ended in a fault of the program";
pub const BROKEN_REMEDY: &str = "please tell its makers what you did";
pub const OUTSIDE: &str =
    "the plan names a file outside of the folder that the desk was started with";
pub const OUTSIDE_REMEDY: &str = "copy it into the folder, and name it as seen from the plan";

pub const PLANS: &str = "Plans in this folder";
pub const NO_PLANS: &str = "There is no plan in this folder yet. Begin one below.";
pub const MORE_FILES: &str =
    "This folder has more files than are listed here: start the desk in a smaller one.";
pub const FILE_GONE: &str = "its file is gone; what was done since it was saved is there";
pub const UNSAVED_THERE: &str = "with unsaved work";
pub const BEGIN: &str = "Begin a plan";
pub const BEGIN_LEAD: &str = "Six answers make a plan that can be flown. What you do not know is looked up or assumed, and the plan says so.";
pub const FILE_NAME: &str = "Name of the plan";
pub const NO_PLANS_NAME: &str =
    "another name: files of this one lie beside plans and are none, so the desk would not show it";
pub const PLAIN_NAME: &str =
    "a name without slashes and none of : * ? \" < > |, not too long, as in spring-flight";
pub const IS_THERE: &str = "which is there already";
pub const WORK_IS_THERE: &str = "of which there is unsaved work, though its file is gone";
pub const NEW_NAME: &str = "the name of a new plan: none is overwritten";
pub const FILE_NAME_HINT: &str = "as in spring-flight; it becomes a file of that name";
pub const PLACE: &str = "Place of the release";
pub const PLACE_HINT: &str =
    "a town, as in Riverton WY, or coordinates in any usual form; or click on the map";
pub const RELEASE_HINT: &str = "local time, as in 2026-05-01 09:00";
pub const LOAD_ALL: &str = "All that hangs below the balloon";
pub const LOAD_ALL_HINT: &str = "parachute and lines included, as in 2.7 kg or 6 lb";
pub const BEGIN_BUTTON: &str = "Make the plan";
pub const WORLD: &str = "The world: click where you launch, then again to come nearer";
pub const COMPARE: &str = "Compare two zones";
pub const COMPARE_LEAD: &str =
    "Two plans, two briefings or two saved zones on one map. Plans are flown as they are now.";
pub const OLD: &str = "The first";
pub const NEW: &str = "The second";
pub const COMPARE_BUTTON: &str = "Compare";
pub const COMPARE_KEY: &str =
    "Dashed and brown: the ellipse of 90 % of the first. Solid and blue: that of the second.";
pub const FOLDER: &str = "Folder";
pub const CLOSE: &str = "Close the desk";
pub const CLOSED: &str =
    "The desk is closed. Nothing unsaved is lost: it is there when you start it again.";

pub const VIEW: &str = "Show";
pub const VIEW_UNITS: &str = "Units";
pub const VIEW_CLOCK: &str = "Times in";
pub const VIEW_BUTTON: &str = "Apply";
pub const AS_PLANNED: &str = "as the plan says";
pub const SITE_CLOCK: &str = "the plan's time zone";

pub const UNDO: &str = "Undo";
pub const REDO: &str = "Redo";
pub const SAVE: &str = "Save";
pub const SAVED: &str = "All is saved.";
pub const UNSAVED: &str = "Not saved yet; kept as a draft beside the plan.";
pub const CHANGED: &str = "The file of this plan was changed by somebody else while there is unsaved work here. Neither is lost: take the file (your work stays one Undo away), or save your work under another name.";
pub const TAKEN_OVER: &str =
    "The file was changed by somebody else, and this page shows it now. Undo goes back.";
pub const GONE: &str = "The file of this plan is gone. Save writes it again.";
pub const TAKE_FILE: &str = "Take the file";
pub const SAVE_AS: &str = "Save under another name";
pub const STALE: &str = "The plan was changed elsewhere; this page shows the new version.";
pub const APPLY: &str = "Apply";
pub const SELDOM: &str = "More settings, rarely needed";
pub const MISSING: &str = "What the plan still needs";
pub const NO_TOML: &str = "the plan cannot be read as a plan";
pub const NO_TOML_REMEDY: &str = "mend it as text";
pub const NOT_TOML: &str = "The plan cannot be read as a plan. Fix it as text, below.";
pub const BEYOND_BOX: &str = "The plan has more than this box can show; edit it as text below.";
pub const MOVE_TO: &str = "Move the release to";
pub const MOVE_TO_HINT: &str = "a town or coordinates in any usual form; or click on the map";
pub const MOVE: &str = "Move";
pub const LOAD: &str = "What hangs below";
pub const ADD: &str = "Add a thing";
pub const REMOVE: &str = "Remove";
pub const TEXT_APPLY: &str = "Apply the text";
pub const TEXT_LABEL: &str = "The plan";
pub const LATE: &str = "Still being worked out.";
pub const LOOK_AGAIN: &str = "Look again";
pub const NOT_YET: &str = "Nothing yet: the plan needs what is listed at its fields.";
pub const NO_WINDS: &str =
    "This plan has no winds yet. Tick a file, drop one here, or download a forecast.";
pub const UNREADABLE_WINDS: &str = "The winds cannot be read: see Winds.";
pub const NO_BALLOON: &str =
    "The rate of ascent is stated and the plan has no balloon: there is nothing to fill.";
pub const FILLED_IN: &str = "The fill that follows from the plan";
pub const CARD: &str = "Launch-day card to print";
pub const AS_TEXT: &str = "All of it, as the command prints it";
pub const DROP: &str = "Drop wind files here, or choose them";
pub const DROP_HINT: &str =
    "soundings (CSV, IGRA, listings) or forecasts (GRIB, netCDF); they are copied into the folder";
pub const DROP_BUTTON: &str = "Take the files";
pub const FETCH: &str = "Download a forecast";
pub const FETCH_LEAD: &str = "Like the address of a tracker in flight, this uses the network. It first checks how much there is; nothing is downloaded until you say so.";
pub const FEED: &str = "Forecast";
pub const FROM: &str = "From";
pub const TO: &str = "To";
pub const FROM_HINT: &str = "a day, as in 2026-05-01; empty: an hour before the release";
pub const TO_HINT: &str = "a day; empty: six hours after the release, or more for a long flight";
pub const LOOK: &str = "See how much";
pub const DOWNLOAD: &str = "Download";
pub const FETCHED: &str = "Downloaded, and in the plan now:";
pub const COVERED: &str = "What the winds cover";
pub const PROFILE: &str = "Winds above the site";
pub const DAYS_FROM_HINT: &str =
    "a day on the plan's clocks, as in 2026-05-01; empty: the first that the winds cover";
pub const DAYS_TO_HINT: &str = "a day; empty: the last that the winds cover";
pub const EVERY: &str = "From one release to the next";
pub const EVERY_HINT: &str = "as in 1 h or 30 min";
pub const HOURS: &str = "Hours of the day";
pub const HOURS_HINT: &str = "as in 05:00-11:00, on the plan's clocks";
pub const TOO_MANY_RELEASES: &str =
    "give other days, fewer hours or a longer step; the commands have no such limit";
pub const DAYS_BUTTON: &str = "Compare the days";
pub const BESIDE: &str = "Beside the plan's";
pub const TAKE: &str = "Take it";
pub const CANDIDATES: &str = "File of sites";
pub const CANDIDATES_HINT: &str =
    "points (CSV with lat, lon, name; GeoJSON) or areas of this folder";
pub const SPACING: &str = "Spacing over areas";
pub const SPACING_HINT: &str = "as in 5 km";
pub const SITES_BUTTON: &str = "Compare the sites";
pub const INTO: &str = "Where to launch for a target";
pub const INTO_HINT: &str = "a file of areas in this folder; or draw one on the map";
pub const INTO_BUTTON: &str = "Find the place";
pub const ON_ROADS: &str = "Launch on the plan's roads only";
pub const NO_FILES: &str = "There is no such file in this folder.";
pub const SITE_MAP: &str = "On the map: click where to release, or drag the marker.";
pub const SPREAD: &str = "How much things vary (one standard deviation each)";
pub const GROUND: &str = "Files about the ground";
pub const BRIEF_BUTTON: &str = "Make the briefing";
pub const BRIEF_IN: &str = "The briefing is in the folder";
pub const OPEN_FOLDER: &str = "Open the folder";
pub const OPEN_FOLDER_REMEDY: &str = "open it with the program for files of this computer";
pub const BRIEF_OPEN: &str = "Open it in a page of its own";
pub const FOLLOW: &str = "The tracker's reports come from a file that a receiver writes, or from an address. With each report the zone is predicted again; the folder beside the plan keeps all reports, the zone, a map file and a page for the crew.";
pub const FOLLOW_BUTTON: &str = "Follow the flight";
pub const REPORTS: &str = "File of reports";
pub const REPORTS_HINT: &str =
    "APRS, NMEA, CSV, JSON lines, GPX or a log of the desk itself, recognised by what is in it";
pub const NO_REPORTS: &str = "none: an address";
pub const GROWS: &str = "The file still grows: wait at its end for more";
pub const ADDRESS: &str = "Or an address";
pub const ADDRESS_HINT: &str = "as in tcp://localhost:8001, aprs://HOST:14580?call=YOURS&filter=b/TRACKER or https://...; this uses the network";
pub const TWO_SOURCES: &str = "there are both a file of reports and an address";
pub const TWO_SOURCES_REMEDY: &str = "choose no file, or leave the address empty";
pub const EARLIER: &str = "The reports of an earlier release are kept in";
pub const NO_SOURCE: &str = "there is no source of reports";
pub const NO_SOURCE_REMEDY: &str = "choose a file or give an address";
pub const CALL: &str = "Call signs or names of the trackers";
pub const CALL_HINT: &str = "as in N0CALL-11; several with blanks between; empty: whoever reports";
pub const COLUMNS: &str = "Columns, where they are not found";
pub const COLUMNS_HINT: &str = "as in time=utc,lat=lat,lon=lon,alt=height:ft; may be empty";
pub const CAR: &str = "Where the car is";
pub const CAR_HINT: &str = "coordinates in any usual form; may be empty";
pub const FLYING_IN: &str = "Reports, zone, map file and page are in the folder";
pub const AFTER: &str = "The tracker's log shows how the flight compares with the prediction, what caused the miss, and what to change in the next plan.";
pub const AFTER_BUTTON: &str = "Review the flight";
pub const AFTER_MAP: &str = "The flight beside its prediction";
pub const TRACKS: &str = "Files of the track";
pub const TRACKS_HINT: &str = "one or more; where they overlap they are merged";
pub const IN_LOGBOOK: &str = "Write the flight into the logbook flights.toml";
pub const LOGGED: &str = "The flight was written into flights.toml.";
pub const LOGGED_BEFORE: &str = "The flight is in flights.toml already; nothing was written.";
pub const NOT_LOGGED: &str = "The flight was not written into flights.toml:";
pub const STOP: &str = "Stop";
pub const IDLE: &str = "No work is going on.";
pub const MADE_BEFORE: &str = "Made before the last change of the plan.";

pub const MAP: &str = "Map";
pub const MAP_HELP: &str = "Move it with a finger, the mouse or the arrow keys; nearer and farther with + and - or two fingers. R then an arrow moves the release.";
pub const NEARER: &str = "Nearer";
pub const FARTHER: &str = "Farther";
pub const WHOLE: &str = "Whole map";
pub const MODE_MOVE: &str = "Look";
pub const MODE_SITE: &str = "Set the release";
pub const MODE_MEASURE: &str = "Measure";
pub const MODE_TARGET: &str = "Draw a target";
pub const MODES: &str = "What a click does";
pub const LAYERS: &str = "Layers";
pub const CLEAR: &str = "Clear";
pub const KEEP_TARGET: &str = "Keep the target";
pub const ALONG: &str = "Along the flight";

/// What the script says, by the names it knows.
pub const SCRIPT: [(&str, &str); 13] = [
    (
        "anew",
        "The desk was restarted: open the address that it printed.",
    ),
    (
        "silent",
        "The desk does not answer. Start it again: everything sent so far is kept.",
    ),
    (
        "slow",
        "It takes too long to be shown here. The commands have no such limit, and fewer files of winds take less.",
    ),
    ("failed", "That did not work; try again."),
    (
        "half",
        "What you typed into the plan as text is kept: copy it, then empty the box and leave it to see the plan as it is now.",
    ),
    ("idle", IDLE),
    ("done", "done."),
    ("stopped", "Stopped."),
    ("moved", "The release is at"),
    ("then", "; then "),
    (
        "kept",
        "Kept as FILE; it is chosen under the place to launch for a target.",
    ),
    ("carries", "Arrow keys move the release now; R ends it."),
    ("moves", "Arrow keys move the map."),
];
pub const SKIP: &str = "To the content";
pub const BACK: &str = "Back";
pub const PLAN_BAR: &str = "Plan, saving and work";
pub const STATIONS: &str = "Stations";
pub const RESULT: &str = "Result:";
pub const PROGRESS: &str = "Work done";
pub const REFUSED: &str = "That could not be done";
pub const NEW_THING: &str = "new";

/// Names that are told one by one at most.
const MOST_ODD: usize = 10;

/// What a job does.
pub fn doing(what: &str) -> &'static str {
    match what {
        "days" => "Comparing the days",
        "sites" => "Comparing the sites",
        "aim" => "Looking for the place",
        "look" => "Checking how much there is",
        "fetch" => "Downloading",
        "brief" => "Making the briefing",
        "follow" => "Following the flight",
        "debrief" => "Reviewing the flight",
        _ => "Reading the winds",
    }
}

/// That a moved release lies at another height, and where that is from.
pub fn new_elevation(height: &str, remark: &str) -> String {
    let what = field("site.elevation")[0];
    match (height, remark) {
        ("", _) => format!("{what}: not known there; look it up on a map."),
        (_, "") => format!("{what}: {height}."),
        _ => format!("{what}: {height}, {remark}."),
    }
}

/// That the plan goes by the clocks of its new place.
pub fn new_clocks(zone: &str) -> String {
    format!("{}: {zone}.", field("flight.timezone")[0])
}

/// That the plan does not go by the clocks of its new place.
pub fn other_clocks(zone: &str) -> String {
    let what = field("flight.timezone")[0];
    format!(
        "{what}: as before. The place has {zone}, whose clocks never show the release as it is written."
    )
}

/// Which files are not listed, and why.
pub fn odd_names(names: &[String]) -> String {
    let first = names.iter().take(MOST_ODD).map(String::as_str);
    let more = match names.len().saturating_sub(MOST_ODD) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let names = first.collect::<Vec<_>>().join(", ");
    format!(
        "Not listed: {names}{more}. Some systems have no such names: leave out \\ : * ? \" < > | and a blank or point at the end, and name nothing like a device (con, prn, aux, nul, com1, lpt1)."
    )
}

/// How much there is to download.
pub fn to_download(files: usize, megabytes: f64, run: &str) -> String {
    let files = match files {
        1 => "one file".to_owned(),
        n => format!("{n} files"),
    };
    format!("{megabytes:.1} MB in {files}, of the run of {run}.")
}

/// What stands beside the numbers of answers.
pub mod told {
    pub const ABOVE_SEA_LEVEL: &str = "above sea level";
    pub const ACROSS: &str = "across";
    pub const AREA: &str = "area";
    pub const BEST_AT: &str = "best at";
    pub const BURST: &str = "burst";
    pub const BURSTS_AT: &str = "Bursts at";
    pub const CYLINDERS: &str = "Cylinders";
    pub const DRIFT: &str = "drift";
    pub const FALLING: &str = "falling";
    pub const GAS_AT_THE_SITE: &str = "Gas at the site";
    pub const HANG_ON_THE_FILLER: &str = "Hang on the filler";
    pub const HOW_SURE_THAT_IS: &str = "How sure that is";
    pub const IN_THE_AIR: &str = "In the air";
    pub const IN_THE_TARGET: &str = "in the target";
    pub const LANDING: &str = "landing";
    pub const LANDS_AT: &str = "Lands at";
    pub const LAUNCH_FROM: &str = "launch from";
    pub const LIFT_AT_THE_NECK: &str = "Lift at the neck";
    pub const LOAD: &str = "Load";
    pub const MORE_OR_LESS_GAS: &str = "More or less gas";
    pub const NOTES_AND_ASSUMPTIONS: &str = "Notes and assumptions";
    pub const PLACE: &str = "place";
    pub const RANK: &str = "rank";
    pub const RATE_OF_ASCENT_BURST_ALTITUDE_TIME_OF_FLIGHT_AND_GAS_BY_THE_LIFT_AT_THE_NECK: &str =
        "Rate of ascent, burst altitude, time of flight and gas, by the lift at the neck";
    pub const REGION: &str = "region";
    pub const RELEASE: &str = "release";
    pub const RELEASE_TIMES_COMPARED: &str = "Release times compared";
    pub const RISES_AT: &str = "Rises at";
    pub const RISING: &str = "rising";
    pub const SITE: &str = "site";
    pub const SITES_COMPARED: &str = "Sites compared";
    pub const SOUNDING: &str = "sounding";
    pub const THE_BRIEFING: &str = "The briefing";
    pub const THE_FLIGHT_AS_PLANNED: &str = "The flight as planned";
    pub const THE_TABLE_ABOVE_HAS_THE_SAME_NUMBERS: &str = "The table above has the same numbers";
    pub const THE_TEXT_BELOW_HAS_THE_NUMBERS: &str = "The text below has the numbers";
    pub const TIME: &str = "time";
    pub const TOO_LITTLE_TOO_MUCH: &str = "Too little, too much";
    pub const VERDICT: &str = "verdict";
    pub const WAIT_HERE: &str = "Wait here: ";
    pub const WARNINGS: &str = "Warnings";
    pub const WHAT_DECIDES: &str = "what decides";
    pub const WHERE_TO_LAUNCH_FOR_THE_TARGET: &str = "Where to launch for the target";
    pub const WIND_AT_THE_GROUND: &str = "wind at the ground";
    pub const WIND_SPEED_AND_DIRECTION_BY_HEIGHT_THE_TEXT_BELOW_HAS_THE_NUMBERS: &str =
        "Wind speed and direction by height; the text below has the numbers";
}
