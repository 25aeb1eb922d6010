//! What the page does to plans: they are the files that the commands read, nothing typed is lost, and nobody's work
//! is overwritten.

#![allow(
    clippy::unwrap_used,
    reason = "helpers of tests fail by panicking, too"
)]

#[path = "common/desk.rs"]
mod desk;
#[path = "common/feed.rs"]
mod feed;
#[path = "common/server.rs"]
#[allow(dead_code)]
mod server;

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use desk::{Answer, Desk, over_the_sample};
use feed::feed_text;
use serde_json::Value;
use server::{Files, Server};
use windfall::zone::Mark;
use windfall::{Options, Plan, Position, Winds, predict};

const NAME: &str = "plan.toml";

fn json(answer: &Answer) -> Value {
    serde_json::from_str(&answer.body).unwrap_or_else(|_| panic!("{answer:?}"))
}

fn state(desk: &Desk) -> Value {
    json(&desk.get(&format!("/plan/state?name={NAME}")))
}

/// The form of the page as it stands, with changes.
fn edit(desk: &Desk, shown: &Value, changes: &[(&str, &str)]) -> Value {
    let step = shown["step"].to_string();
    let mut fields = vec![("name", NAME), ("step", step.as_str())];
    let values = shown["values"].as_object().unwrap();
    for (id, value) in values {
        let changed = changes.iter().find(|(of, _)| of == id);
        fields.push((id, changed.map_or(value.as_str().unwrap(), |(_, new)| new)));
    }
    desk.ask("/plan/edit", &fields)
}

#[test]
fn what_the_page_saves_the_commands_read_and_the_rest_of_the_file_stays() {
    let (folder, desk) = over_the_sample();
    let path = folder.path().join(NAME);
    let before = fs::read_to_string(&path).unwrap();
    let shown = state(&desk);
    // Sent back as it was, nothing changes.
    assert_eq!(edit(&desk, &shown, &[])["undo"], false);
    let changes = [
        ("balloon.mass", "1000 g"),
        ("site.lat", "43.05"),
        ("fill.kind", "ascent_rate"),
        ("fill.value", "5.5 m/s"),
        ("limits.max_drift", "60 mi"),
        ("brief.contacts", "Ana: +351\nRui"),
        ("load.0.mass", "2 lb"),
    ];
    let now = edit(&desk, &shown, &changes);
    assert_eq!(
        (&now["save"], &now["undo"]),
        (&Value::Bool(true), &Value::Bool(true)),
        "{now}"
    );
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        before,
        "nothing is written before it is saved"
    );
    assert!(folder.path().join("plan.toml.draft").exists());
    desk.ask("/plan/save", &[("name", NAME)]);
    assert!(!folder.path().join("plan.toml.draft").exists());
    let after = fs::read_to_string(&path).unwrap();
    let plan = Plan::read(&path).unwrap();
    assert_eq!(plan.site.position.lat_deg, 43.05);
    assert_eq!(plan.brief.contacts, ["Ana: +351", "Rui"]);
    assert!((plan.limits.max_drift_m.unwrap() - 96_560.64).abs() < 0.01);
    assert!((plan.stack.load[0].mass_kg - 0.907_184_74).abs() < 1e-6);
    // Every remark is still there.
    let remarks = |text: &str| {
        let all = text
            .lines()
            .filter_map(|l| Some(l.split_once('#')?.1.trim().to_owned()));
        all.collect::<Vec<_>>()
    };
    let (was, is) = (remarks(&before), remarks(&after));
    let lost: Vec<_> = was.iter().filter(|r| !is.contains(r)).collect();
    // That of the key that is gone goes with it.
    assert!(!was.is_empty() && lost.len() <= 1, "{lost:?}");
    // The command reads it as well.
    let zone = std::process::Command::new(env!("CARGO_BIN_EXE_windfall"))
        .args(["fill"])
        .arg(&path)
        .output()
        .unwrap();
    assert!(zone.status.success());
    // And the other way round: what is written by hand is on the page.
    fs::write(&path, after.replace("1000 g", "800 g")).unwrap();
    let now = state(&desk);
    assert_eq!(now["values"]["balloon.mass"], "800 g");
    assert!(
        now["said"]
            .as_str()
            .unwrap()
            .contains("changed by somebody else")
    );
    // Undo goes back through all of it, saved or not.
    for wanted in ["1000 g", "1200 g"] {
        desk.ask("/plan/undo", &[("name", NAME)]);
        assert_eq!(state(&desk)["values"]["balloon.mass"], wanted);
    }
    assert_eq!(state(&desk)["text"], before.as_str());
}

/// Who presses a button has not seen yet what a colleague wrote a moment ago.
#[test]
fn undo_shows_a_file_that_was_changed_by_hand_before_it_goes_back() {
    let (folder, desk) = over_the_sample();
    let path = folder.path().join(NAME);
    let press = |what: &str| desk.ask(&format!("/plan/{what}"), &[("name", NAME)]);
    let by_hand = |mass: &str| {
        let text = fs::read_to_string(&path).unwrap();
        let (before, rest) = text.split_once("\nmass = \"").unwrap();
        let (_, after) = rest.split_once('"').unwrap();
        fs::write(&path, format!("{before}\nmass = \"{mass}\"{after}")).unwrap();
    };
    edit(&desk, &state(&desk), &[("balloon.mass", "1000 g")]);
    press("save");
    for button in ["undo", "redo"] {
        by_hand("800 g");
        let now = press(button);
        assert_eq!(now["values"]["balloon.mass"], "800 g", "{button}");
        let said = now["said"].as_str().unwrap();
        assert!(
            said.contains("changed by somebody else"),
            "{button}: {said}"
        );
        let now = press("undo");
        assert_eq!(now["values"]["balloon.mass"], "1000 g", "{button}");
        press("save");
    }
    // It is told once, also where the button had nothing to do.
    let shown = state(&desk);
    by_hand("700 g");
    let now = edit(&desk, &shown, &[]);
    let said = now["said"].as_str().unwrap();
    assert_eq!(said.matches("somebody else").count(), 1, "{said}");
    // Nor is it passed over in silence where something else is done.
    by_hand("600 g");
    let now = desk.ask("/plan/place", &[("name", NAME), ("place", "43.1, -108.4")]);
    assert_eq!(now["values"]["balloon.mass"], "600 g");
    let said = now["said"].as_str().unwrap();
    assert!(
        said.starts_with("The file was changed by somebody else"),
        "{said}"
    );
}

/// The page sends its last keys when it is left, with the step of the answer before.
#[test]
fn what_is_typed_before_the_last_answer_came_is_not_lost() {
    let (_folder, desk) = over_the_sample();
    let first = edit(&desk, &state(&desk), &[("flight.name", "S")]);
    edit(&desk, &first, &[("flight.name", "Sa")]);
    let last = edit(&desk, &first, &[("flight.name", "Sag")]);
    assert_eq!(last["values"]["flight.name"], "Sag", "{last}");
}

#[test]
fn messages_of_the_plan_stand_at_their_fields() {
    let (_folder, desk) = over_the_sample();
    let changes = [
        ("balloon.mass", "1200"),
        ("site.lat", "north"),
        ("load.1.mass", "heavy"),
    ];
    edit(&desk, &state(&desk), &changes);
    let page = desk.get(&format!("/plan?name={NAME}"));
    assert_eq!(page.status, 200);
    for (id, found) in [
        ("balloon.mass", "1200"),
        ("site.lat", "north"),
        ("load.1.mass", "heavy"),
    ] {
        let after = page
            .body
            .split_once(&format!("data-wrong=\"{id}\">"))
            .unwrap()
            .1;
        let said = after.split_once("</p>").unwrap().0;
        assert!(
            said.contains(&format!("found &quot;{found}&quot;")),
            "{id}: {said}"
        );
        assert!(said.contains("expected"), "{id}: {said}");
        let field = page.body.split_once(&format!("id=\"{id}\"")).unwrap().1;
        let field = field.split_once('>').unwrap().0;
        assert!(
            field.contains("aria-invalid=\"true\"") && field.contains(&format!("{id}-wrong")),
            "{field}"
        );
    }
    let live = json(&desk.get(&format!("/live?name={NAME}&n=1")));
    assert_eq!(
        live["wrong"].as_array().unwrap().len(),
        3,
        "{}",
        live["wrong"]
    );
    assert_eq!(live["parts"]["zone"], Value::Null);
}

#[test]
fn two_pages_do_not_undo_each_other() {
    let (_folder, desk) = over_the_sample();
    let first = state(&desk);
    // The second page moves the site; the first, which does not know, changes the balloon.
    edit(&desk, &first, &[("site.lat", "43.1")]);
    let now = edit(&desk, &first, &[("balloon.mass", "1 kg")]);
    assert_eq!(now["values"]["site.lat"], "43.1");
    assert_eq!(now["values"]["balloon.mass"], "1 kg");
    // A text is taken only by who saw the last step.
    let step = first["step"].to_string();
    let stale = [
        ("name", NAME),
        ("step", step.as_str()),
        ("text", "[flight]\n"),
    ];
    assert_eq!(desk.post("/plan/text", &stale).status, 422);
    let step = now["step"].to_string();
    let fresh = [
        ("name", NAME),
        ("step", step.as_str()),
        ("text", "[flight]\nname = \"x\"\r\n"),
    ];
    assert_eq!(desk.post("/plan/text", &fresh).status, 303);
    assert_eq!(state(&desk)["text"], "[flight]\nname = \"x\"\n");
    // A step that nobody knows is refused, not guessed.
    let unknown = [("name", NAME), ("step", "1"), ("balloon.mass", "2 kg")];
    assert_eq!(desk.post("/plan/edit", &unknown).status, 422);
}

/// Rows of the load have only their numbers: what a page did to a row that is another by now is refused.
#[test]
fn an_edit_never_lands_in_another_row_of_the_load() {
    let (_folder, desk) = over_the_sample();
    let first = state(&desk);
    let step = first["step"].to_string();
    let remove = |step: &str| {
        let fields = [("name", NAME), ("step", step), ("remove", "0")];
        desk.post("/plan/row", &fields).status
    };
    assert_eq!(remove(&step), 303);
    let now = state(&desk);
    assert_eq!(now["values"]["load.0.name"], "camera box");
    // The other page still shows the tracker first.
    assert_eq!((remove(&step), remove("")), (422, 422));
    let edited = edit(&desk, &first, &[("load.1.mass", "9 kg")]);
    assert!(
        edited["error"]
            .as_str()
            .unwrap()
            .contains("changed elsewhere"),
        "{edited}"
    );
    assert_eq!(state(&desk)["values"], now["values"]);
    // What is no row is merged as ever.
    assert!(edit(&desk, &first, &[("site.lat", "43.1")])["error"].is_null());
    assert_eq!(state(&desk)["values"]["load.0.mass"], "1.35 kg");
    let fresh = edit(&desk, &state(&desk), &[("load.0.mass", "1.5 kg")]);
    assert_eq!(fresh["values"]["load.0.mass"], "1.5 kg");
}

/// What a list or a box of one line cannot hold is shown all the same, so that an edit elsewhere does not remove it.
#[test]
fn what_a_box_cannot_hold_stays() {
    let (folder, desk) = over_the_sample();
    let path = folder.path().join(NAME);
    let text = fs::read_to_string(&path)
        .unwrap()
        .replace("\"Sagebrush 2\"", "\"\"\"Sagebrush\nsecond\"\"\"")
        .replace("gas = \"helium\"", "gas = \"neon\"")
        .replace("name = \"camera box\"", "name = \"\"\"camera\nbox\"\"\"");
    fs::write(&path, text + "[limits]\ndark_release = \"maybe\"\n").unwrap();
    let page = desk.get(&format!("/plan?name={NAME}")).body;
    for shown in [
        "<option value=\"neon\" selected>neon</option>",
        "<option value=\"maybe\" selected>maybe</option>",
        ">\nSagebrush\nsecond</textarea>",
        ">\ncamera\nbox</textarea>",
    ] {
        assert!(page.contains(shown), "{shown}: {page}");
    }
    // A plan without a gas is at fault, and nothing is assumed.
    assert!(!page.contains("assumed</option>"));
}

/// A site that is moved a little, again and again, is not on the ground that it came from any more.
#[test]
fn five_small_moves_of_the_release_are_a_large_one() {
    let (_folder, desk) = over_the_sample();
    let move_to = |lat: f64| {
        let place = format!("{lat:.5}, -108.35");
        desk.ask("/plan/place", &[("name", NAME), ("place", &place)])
    };
    // Each 0.0015 degrees of latitude are 167 m.
    let first = move_to(43.0215);
    assert_eq!(first["values"]["site.elevation"], "1640 m");
    let second = move_to(43.0230);
    assert_ne!(second["values"]["site.elevation"], "1640 m", "{second}");
    // From where that was looked up it is a small move again.
    let third = move_to(43.0245);
    assert_eq!(
        third["values"]["site.elevation"],
        second["values"]["site.elevation"]
    );
}

/// Names of files that lie beside plans and are none: a plan of such a name would be there and not be shown.
#[test]
fn a_plan_that_would_be_hidden_is_not_made() {
    let (folder, desk) = over_the_sample();
    for name in ["flights", "feeds.toml", "Cargo", "FLIGHTS"] {
        let answer = desk.post("/new", &six_answers(name));
        assert!(
            answer.status == 422 && answer.body.contains("another name"),
            "{name}"
        );
        let answer = desk.post("/plan/save-as", &[("name", NAME), ("file", name)]);
        assert!(
            answer.status == 422 && answer.body.contains("another name"),
            "{name}"
        );
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

/// Times in UTC are another way to read them. The hours that are typed, what is made of them and what the crew
/// takes along are those of the plan's clocks.
#[test]
fn clocks_of_the_page_change_what_is_shown_and_nothing_else() {
    let (folder, desk) = over_the_sample();
    desk.post("/view", &[("units", ""), ("clock", "utc"), ("here", "/")]);
    let job = |what: &str, more: &[(&str, &str)]| {
        let all = [&[("name", NAME), ("what", what)], more].concat();
        assert_eq!(desk.post("/job", &all).status, 303);
    };
    let days = [
        ("from", "2026-02-05"),
        ("to", "2026-02-05"),
        ("every", "2 h"),
        ("hours", "16:00-18:00"),
    ];
    job("days", &days);
    // 18:00 in Denver is in the next day of UTC.
    let in_utc = result(&desk, "days");
    for shown in [
        "2026-02-05T23:00:00Z",
        "2026-02-06T01:00:00Z",
        "Fri 6 Feb 01:00 UTC",
    ] {
        assert!(in_utc.contains(shown), "{shown}: {in_utc}");
    }
    let live = || json(&desk.get(&format!("/live?name={NAME}&n=1")));
    let (zone, numbers) = (
        live()["parts"]["zone"].clone(),
        live()["parts"]["numbers"].clone(),
    );
    assert!(
        zone.as_str()
            .unwrap()
            .contains(" UTC on Friday 6 February 2026"),
        "{zone}"
    );
    assert!(numbers.as_str().unwrap().contains("00:00 UTC"), "{numbers}");
    job("brief", &[]);
    assert!(result(&desk, "briefing").contains("plan-briefing"));
    let brief = fs::read_to_string(folder.path().join("plan-briefing/brief.html")).unwrap();
    assert!(brief.contains("17:00 MST"), "no clocks of the plan");
    // The sun sets on the day of the landing, not on the one before by UTC.
    let calendar = fs::read_to_string(folder.path().join("plan-briefing/timeline.ics")).unwrap();
    let calendar = calendar.replace("\r\n ", "");
    let sunset = calendar
        .split("BEGIN:VEVENT")
        .find(|e| e.contains(": sunset"))
        .unwrap();
    assert!(sunset.contains("DTSTART:20260206T00"), "{sunset}");
    // The same answer by the plan's clocks.
    desk.post("/view", &[]);
    let by_plan = result(&desk, "days");
    assert!(by_plan.contains("Thu 5 Feb 18:00 MST"), "{by_plan}");
    assert!(!by_plan.contains(" UTC</th>"));
}

/// Whatever is made of a plan is made of its file as it is now, also where no page has looked at it since.
#[test]
fn a_file_changed_by_hand_is_what_work_is_done_with() {
    let (folder, desk) = over_the_sample();
    let path = folder.path().join(NAME);
    let before = state(&desk)["text"].as_str().unwrap().to_owned();
    let by_hand = |old: &str, new: &str| fs::write(&path, before.replace(old, new)).unwrap();
    by_hand("Sagebrush 2", "Tumbleweed 9");
    let fields = [("name", NAME), ("what", "brief")];
    assert_eq!(desk.post("/job", &fields).status, 303);
    result(&desk, "briefing");
    let page = desk.get("/file?name=plan-briefing%2Fbrief.html").body;
    assert!(page.contains("Tumbleweed 9") && !page.contains("Sagebrush"));
    // The page is told of it all the same.
    let said = state(&desk)["said"].as_str().unwrap().to_owned();
    assert!(said.contains("changed by somebody else"), "{said}");
    by_hand("Sagebrush 2", "Yucca 4");
    let card = desk.get(&format!("/card?name={NAME}")).body;
    assert!(card.contains("Yucca 4"), "{card}");
    by_hand("\"6.8 kg\"", "\"6.8\"");
    let live = json(&desk.get(&format!("/live?name={NAME}&n=1")));
    assert_eq!(live["wrong"].as_array().unwrap().len(), 1, "{live}");
    let two = desk.get(&format!("/compare?old={NAME}&new={NAME}")).body;
    assert!(two.contains("neck_lift"), "{two}");
    // In the units that the plan says.
    by_hand("[flight]\n", "[flight]\nunits = \"us\"\n");
    let two = desk.get(&format!("/compare?old={NAME}&new={NAME}")).body;
    assert!(two.contains(" sq mi"), "{two}");
}

/// A balloon has a fill also where its rate of ascent is stated, and what was weighed has boxes.
#[test]
fn the_fill_is_shown_where_there_is_a_balloon_and_by_what_was_weighed() {
    let (folder, desk) = over_the_sample();
    let path = folder.path().join(NAME);
    let sample = fs::read_to_string(&path).unwrap();
    fs::write(&path, format!("{sample}[ascent]\nrate = \"5 m/s\"\n")).unwrap();
    let fill = || {
        let live = json(&desk.get(&format!("/live?name={NAME}&n=1")));
        live["parts"]["fill"].as_str().unwrap().to_owned()
    };
    assert!(fill().contains("Hang on the filler"), "{}", fill());
    let weighed = [
        ("load.0.measured", "1.95 kg"),
        ("parachute.measured", "0.85 kg"),
    ];
    let now = edit(&desk, &state(&desk), &weighed);
    let text = now["text"].as_str().unwrap();
    for key in ["1.95 kg", "0.85 kg"] {
        assert!(text.contains(&format!("measured = \"{key}\"")), "{text}");
    }
    // One kilogram and a half more than planned.
    assert!(fill().contains("5.80 kg"), "{}", fill());
    let bare = "[flight]\nrelease = 2026-02-05T17:00:00-07:00\n[site]\nlat = 43.02\nlon = -108.35\n\
                elevation = \"1640 m\"\n[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"30 km\"\n\
                [descent]\nlanding_speed = \"5 m/s\"\n";
    let step = now["step"].to_string();
    desk.post(
        "/plan/text",
        &[("name", NAME), ("step", &step), ("text", bare)],
    );
    assert!(fill().contains("nothing to fill"), "{}", fill());
}

/// What a moved release takes from its new place is written beside it and told.
#[test]
fn a_moved_release_says_where_its_elevation_is_from_and_keeps_the_clocks_of_its_place() {
    let (folder, desk) = over_the_sample();
    let move_to = |place: &str| desk.ask("/plan/place", &[("name", NAME), ("place", place)]);
    // Its offset is that of the old place, and is no hour of the new one.
    let now = move_to("Allegan, MI");
    let said = now["said"].as_str().unwrap();
    assert!(
        said.contains("that of the airport") && said.contains("; assumed."),
        "{said}"
    );
    let text = now["text"].as_str().unwrap();
    let line = text.lines().find(|l| l.starts_with("elevation")).unwrap();
    assert!(line.contains("# that of the airport"), "{line}");
    assert!(said.contains("The place has America/Detroit"), "{said}");
    assert_eq!(now["values"]["flight.timezone"], "America/Denver");
    desk.ask("/plan/undo", &[("name", NAME)]);
    // Without one it is that hour there.
    let path = folder.path().join(NAME);
    let sample = fs::read_to_string(&path).unwrap();
    let on_clocks = sample.replace("2026-02-05T17:00:00-07:00", "\"2026-02-05 17:00\"");
    fs::write(&path, &on_clocks).unwrap();
    let now = move_to("Allegan, MI");
    assert_eq!(now["values"]["flight.timezone"], "America/Detroit");
    assert_eq!(now["values"]["flight.release"], "2026-02-05 17:00");
    assert!(
        now["said"]
            .as_str()
            .unwrap()
            .contains("Time zone: America/Detroit."),
        "{now}"
    );
    // Arizona has the same clocks in winter, and a plan in UTC is kept in UTC.
    desk.ask("/plan/undo", &[("name", NAME)]);
    let now = move_to("33.45, -112.07");
    assert_eq!(now["values"]["flight.timezone"], "America/Denver");
    fs::write(&path, on_clocks.replace("America/Denver", "UTC")).unwrap();
    desk.ask("/plan/take-file", &[("name", NAME)]);
    let now = move_to("Allegan, MI");
    assert_eq!(now["values"]["flight.timezone"], "UTC");
    // Also from where the clocks show UTC in winter.
    let text = fs::read_to_string(&path).unwrap();
    let text = text.replace("43.02", "38.88").replace("-108.35", "-7.10");
    fs::write(&path, text).unwrap();
    desk.ask("/plan/take-file", &[("name", NAME)]);
    let now = move_to("38.88, -6.97");
    assert_eq!(now["values"]["site.lon"], "-6.97");
    assert_eq!(now["values"]["flight.timezone"], "UTC");
    // And in a summer that lasts for more than half a year.
    let text = fs::read_to_string(&path).unwrap();
    let text = text.replace("38.88", "37.74").replace("-7.10", "-25.67");
    fs::write(&path, text.replace("2026-02-05 17:00", "2026-04-10 17:00")).unwrap();
    desk.ask("/plan/take-file", &[("name", NAME)]);
    let now = move_to("38.88, -6.97");
    assert_eq!(now["values"]["flight.release"], "2026-04-10 17:00");
    assert_eq!(now["values"]["flight.timezone"], "UTC");
}

/// What is wrong with the winds is told among them; the zone does not say that there are none.
#[test]
fn winds_that_cannot_be_read_are_not_said_to_be_missing() {
    let (folder, desk) = over_the_sample();
    fs::write(folder.path().join("riverton-2026-02-05.csv"), "a,b\n1,2\n").unwrap();
    let live = json(&desk.get(&format!("/live?name={NAME}&n=1")));
    let zone = live["parts"]["zone"].as_str().unwrap();
    assert!(zone.contains("cannot be read: see Winds"), "{zone}");
}

/// Work on a plan whose file is gone is found again, and no new plan takes its place.
#[test]
fn work_on_a_plan_whose_file_is_gone_is_still_there() {
    let (folder, mut desk) = over_the_sample();
    edit(&desk, &state(&desk), &[("balloon.mass", "1 kg")]);
    desk.kill();
    fs::remove_file(folder.path().join(NAME)).unwrap();
    fs::copy(
        "samples/high-plains/plan.toml",
        folder.path().join("other.toml"),
    )
    .unwrap();
    let desk = Desk::open(folder.path(), &[]);
    let home = desk.get("/").body;
    assert!(
        home.contains("href=\"/plan?name=plan.toml\"") && home.contains("its file is gone"),
        "{home}"
    );
    let answer = desk.post("/new", &six_answers("plan"));
    assert!(
        answer.status == 422 && answer.body.contains("of which there is unsaved work"),
        "{}",
        answer.body
    );
    let answer = desk.post("/plan/save-as", &[("name", "other.toml"), ("file", "plan")]);
    assert!(
        answer.status == 422 && answer.body.contains("unsaved work"),
        "{}",
        answer.body
    );
    assert!(!folder.path().join(NAME).exists());
    assert_eq!(state(&desk)["values"]["balloon.mass"], "1 kg");
    desk.ask("/plan/save", &[("name", NAME)]);
    assert!(folder.path().join(NAME).exists());
}

/// What is left of a damaged file of steps is no work, and stands in nobody's way.
#[test]
fn a_draft_that_cannot_be_read_blocks_no_name() {
    let (folder, desk) = over_the_sample();
    fs::write(folder.path().join("gone.toml.draft"), "").unwrap();
    let home = desk.get("/").body;
    assert!(!home.contains("gone.toml"), "{home}");
    let answer = desk.post("/new", &six_answers("gone"));
    assert_eq!(answer.status, 303, "{}", answer.body);
}

/// Winds come under many endings, and what cannot be listed for its name is told.
#[test]
fn files_are_listed_or_said_not_to_be() {
    let (folder, desk) = over_the_sample();
    fs::create_dir(folder.path().join("plan-flight")).unwrap();
    let put = |name: &str| fs::write(folder.path().join(name), "").unwrap();
    let winds = [
        "run.buf",
        "a.BUFR",
        "b.bfr",
        "c.csv.gz",
        "d.grb2.bz2",
        "e.html",
        "f.json",
        "g.gsl",
    ];
    winds.iter().for_each(|name| put(name));
    put("plan-flight/page.html");
    let pages = || ["/", "/plan?name=plan.toml"].map(|page| desk.get(page).body);
    // Nor are they passed over for the name of their folder, where no plan is of that name.
    for inside in ["spring-flight", "spring-briefing"] {
        fs::create_dir(folder.path().join(inside)).unwrap();
    }
    let others = ["spring-flight/a.grib2", "spring-briefing/b.csv"];
    others.iter().for_each(|name| put(name));
    let [home, plan] = pages();
    for name in winds.into_iter().chain(others) {
        assert!(plan.contains(&format!("value=\"{name}\"")), "{name}");
    }
    assert!(!plan.contains("value=\"plan-flight/page.html\""));
    assert!(!home.contains("Not listed") && !plan.contains("Not listed"));
    if cfg!(unix) {
        for name in [
            "aux.csv",
            "gfs 12:00.grib2",
            "is it?.toml",
            "a*b.JPG",
            ".hidden:.csv",
        ] {
            put(name);
        }
        for page in pages() {
            let told = "Not listed: aux.csv, gfs 12:00.grib2, is it?.toml. Some systems";
            assert!(
                page.contains(told) && page.contains("(con, prn, aux,"),
                "{page}"
            );
        }
    }
}

/// A zone in the desk's own folder can be compared as well as that of a briefing.
#[test]
fn a_zone_beside_the_plans_is_offered_for_comparing() {
    let (folder, desk) = over_the_sample();
    fs::write(folder.path().join("zone.geojson"), "").unwrap();
    let home = desk.get("/").body;
    assert!(home.contains("<option>zone.geojson</option>"), "{home}");
}

/// Whatever is wrong with an answer stands at its box, and the others stay.
#[test]
fn answers_out_of_all_range_and_strange_names_are_told_at_their_boxes() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Desk::open(folder.path(), &[]);
    for (id, typed) in [
        ("balloon", "90 kg"),
        ("load", "900 kg"),
        ("parachute", "1 mm"),
        ("file", "spring: first"),
        ("file", "what?"),
        ("file", "con"),
    ] {
        let fields =
            six_answers("first").map(|(of, value)| (of, if of == id { typed } else { value }));
        let page = desk.post("/new", &fields);
        assert_eq!(page.status, 422, "{id}: {typed}");
        assert!(
            page.body.contains("id=\"begin-form\""),
            "{id}: {}",
            page.body
        );
        assert!(
            page.body.contains(&format!("value=\"{typed}\"")),
            "{id}: {}",
            page.body
        );
        let wrong = format!("data-wrong=\"{id}\">found");
        assert!(page.body.contains(&wrong), "{id}: {}", page.body);
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// Reports and soundings are listed whatever the folder of the plan is called.
#[test]
fn a_plans_own_folder_may_be_called_like_what_the_desk_writes() {
    let folder = tempfile::tempdir().unwrap();
    for inside in ["spring-flight", "day-briefing"] {
        let inside = folder.path().join(inside);
        fs::create_dir_all(inside.join("plan-flight")).unwrap();
        fs::copy("samples/high-plains/plan.toml", inside.join(NAME)).unwrap();
        for file in [
            "tracker.csv",
            "plan-flight/reports.log",
            "plan-flight/zone.json",
        ] {
            fs::write(inside.join(file), "").unwrap();
        }
    }
    let desk = Desk::open(folder.path(), &[]);
    for inside in ["spring-flight", "day-briefing"] {
        let page = desk.get(&format!("/plan?name={inside}%2Fplan.toml")).body;
        let listed = |file: &str| page.contains(&format!("<option value=\"{inside}/{file}\">"));
        assert!(
            listed("tracker.csv") && listed("plan-flight/reports.log"),
            "{inside}"
        );
        assert!(!listed("plan-flight/zone.json"), "{inside}");
    }
}

/// A wrong year is told before its releases are listed, and a step is what was typed.
#[test]
fn far_too_many_releases_are_refused() {
    let (_folder, desk) = over_the_sample();
    let days = |to: &str, every: &str| {
        let fields = [
            ("name", NAME),
            ("what", "days"),
            ("from", "2026-02-05"),
            ("to", to),
            ("every", every),
        ];
        desk.post("/job", &fields);
        failed(&desk)
    };
    let said = days("2926-02-05", "1 min");
    assert!(said.contains("more than 5000"), "{said}");
    let said = days("2026-02-05", "90 s");
    assert!(said.contains("whole minutes"), "{said}");
    // Days that have none are told as they were typed: on the plan's clocks, not in UTC.
    let hours = [
        ("from", "2026-02-05"),
        ("to", "2026-02-05"),
        ("every", "1 h"),
        ("hours", "11:10-11:20"),
    ];
    desk.post(
        "/job",
        &[&[("name", NAME), ("what", "days")], &hours[..]].concat(),
    );
    let said = failed(&desk);
    assert!(
        said.contains("from 2026-02-05 00:00 to 2026-02-05 23:59"),
        "{said}"
    );
}

/// What is judged by its best release is taken with that.
#[test]
fn a_site_and_a_target_are_taken_with_their_hour() {
    let (folder, desk) = over_the_sample();
    fs::write(
        folder.path().join("sites.csv"),
        "name,lat,lon,elevation\nField,43.1,-108.4,1702 m\n",
    )
    .unwrap();
    let area = r#"{"type":"Polygon","coordinates":[[[-109.5,42],[-106.5,42],[-106.5,44],[-109.5,44],[-109.5,42]]]}"#;
    fs::write(folder.path().join("area.geojson"), area).unwrap();
    let times = [
        ("from", "2026-02-05"),
        ("to", "2026-02-05"),
        ("every", "1 h"),
        ("hours", "16:00-16:00"),
    ];
    for (what, file) in [("sites", "sites.csv"), ("aim", "area.geojson")] {
        let fields = [
            &[("name", NAME), ("what", what), ("file", file)],
            &times[..],
        ]
        .concat();
        assert_eq!(desk.post("/job", &fields).status, 303);
        let made = match what {
            "sites" => shows(&desk, "site", "Field"),
            _ => shows(&desk, "site", "Where to launch"),
        };
        // With its day: the best hours of two sites may be those of two days.
        let table = made.split("<details").next().unwrap();
        assert_eq!(
            table.matches("Thursday 5 February 2026 16:00").count(),
            2,
            "{table}"
        );
        let form = made.split("action=\"/plan/take\"").nth(1).unwrap();
        let form = form.split("</form>").next().unwrap();
        assert!(
            form.contains("name=\"site\"")
                && form.contains("name=\"release\" value=\"2026-02-05T23:00:00Z\""),
            "{form}"
        );
        let value = |name: &str| {
            let after = form
                .split(&format!("name=\"{name}\" value=\""))
                .nth(1)
                .unwrap();
            after.split('"').next().unwrap().to_owned()
        };
        let (site, release) = (value("site"), value("release"));
        let mut take = vec![("name", NAME), ("site", &site), ("release", &release)];
        // The elevation that it was compared with.
        let height = (what == "sites").then(|| value("elevation"));
        take.extend(height.iter().map(|height| ("elevation", height.as_str())));
        assert_eq!(desk.post("/plan/take", &take).status, 303);
        let values = state(&desk)["values"].clone();
        assert_eq!(
            values["site.elevation"] == "1,702 m",
            what == "sites",
            "{values}"
        );
        assert!(
            values["flight.release"].as_str().unwrap().contains("16:00"),
            "{values}"
        );
        assert_ne!(values["site.lat"], "43.02");
        desk.post("/plan/undo", &[("name", NAME)]);
    }
    for wrong in ["", "high", "NaN", "9000"] {
        let take = [
            ("name", NAME),
            ("site", "43.1,-108.4"),
            ("elevation", wrong),
        ];
        assert_eq!(desk.post("/plan/take", &take).status, 422, "{wrong}");
    }
}

#[test]
fn a_crash_loses_nothing_and_files_changed_by_hand_are_never_overwritten() {
    let (folder, mut desk) = over_the_sample();
    let path = folder.path().join(NAME);
    let before = fs::read_to_string(&path).unwrap();
    edit(&desk, &state(&desk), &[("balloon.mass", "1 kg")]);
    desk.kill();
    assert_eq!(fs::read_to_string(&path).unwrap(), before);
    let desk = Desk::open(folder.path(), &[]);
    let now = state(&desk);
    assert_eq!(
        (&now["values"]["balloon.mass"], &now["save"]),
        (&"1 kg".into(), &Value::Bool(true))
    );
    assert!(desk.get("/").body.contains("with unsaved work"));
    // Meanwhile somebody edits the file.
    let by_hand = before.replace("1200 g", "600 g");
    fs::write(&path, &by_hand).unwrap();
    let now = state(&desk);
    assert_eq!(
        (&now["conflict"], &now["save"]),
        (&Value::Bool(true), &Value::Bool(false))
    );
    assert_eq!(desk.post("/plan/save", &[("name", NAME)]).status, 422);
    assert_eq!(fs::read_to_string(&path).unwrap(), by_hand);
    let page = desk.get(&format!("/plan?name={NAME}"));
    assert!(page.body.contains("/plan/take-file") && page.body.contains("/plan/save-as"));
    // Both can be kept.
    let other = [("name", NAME), ("file", "mine")];
    assert_eq!(desk.post("/plan/save-as", &other).status, 303);
    assert!(
        fs::read_to_string(folder.path().join("mine.toml"))
            .unwrap()
            .contains("\"1 kg\"")
    );
    assert_eq!(
        desk.post("/plan/save-as", &other).status,
        422,
        "never overwritten"
    );
    desk.post("/plan/take-file", &[("name", NAME)]);
    assert_eq!(state(&desk)["values"]["balloon.mass"], "600 g");
    desk.ask("/plan/undo", &[("name", NAME)]);
    assert_eq!(state(&desk)["values"]["balloon.mass"], "1 kg");
}

/// The answer to a file that is brought.
fn brought(desk: &Desk, name: &str, bytes: &[u8]) -> Answer {
    brought_together(desk, &[(name, bytes)])
}

/// The answer to several files that are brought at once.
fn brought_together(desk: &Desk, files: &[(&str, &[u8])]) -> Answer {
    let edge = "x-edge-x";
    let mut body =
        format!("--{edge}\r\nContent-Disposition: form-data; name=\"name\"\r\n\r\n{NAME}\r\n")
            .into_bytes();
    for (name, bytes) in files {
        body.extend(format!("--{edge}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n").bytes());
        body.extend(*bytes);
        body.extend(b"\r\n");
    }
    body.extend(format!("--{edge}--\r\n").bytes());
    let head = format!(
        "POST /winds/drop HTTP/1.1\r\nHost: {0}\r\nCookie: {1}\r\nOrigin: http://{0}\r\nConnection: close\r\n\
         Content-Type: multipart/form-data; boundary={edge}\r\nContent-Length: {2}\r\n\r\n",
        desk.host,
        desk.cookie,
        body.len()
    );
    desk.raw(&[head.into_bytes(), body].concat())
}

/// Of files that are brought together all are taken or none, and who may read others may read these.
#[test]
fn a_file_that_is_brought_with_a_bad_one_is_not_kept_either() {
    let (folder, desk) = over_the_sample();
    let sounding = fs::read("samples/high-plains/riverton-2026-02-05.csv").unwrap();
    let before = state(&desk)["values"]["wind.files"].clone();
    let kept = || fs::read_dir(folder.path().join("winds")).map_or(0, Iterator::count);
    for (bad, bytes) in [("holiday.csv", &b"a,b\n1,2\n"[..]), ("con.csv", &sounding)] {
        let answer = brought_together(&desk, &[("a.csv", &sounding), (bad, bytes)]);
        assert_eq!((answer.status, kept()), (422, 0), "{bad}: {}", answer.body);
        assert_eq!(state(&desk)["values"]["wind.files"], before);
    }
    let both = brought_together(&desk, &[("a.csv", &sounding), ("b.csv", &sounding)]);
    assert_eq!((both.status, kept()), (303, 2));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let other = folder.path().join("other.csv");
        fs::write(&other, "").unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(&folder.path().join("winds/a.csv")), mode(&other));
    }
}

/// A name that only some systems have is taken with what they all have.
#[test]
fn a_file_of_a_strange_name_is_taken_under_a_plain_one() {
    let (folder, desk) = over_the_sample();
    let sounding = fs::read("samples/high-plains/riverton-2026-02-05.csv").unwrap();
    let taken = brought(&desk, "riverton 12:00?.csv", &sounding);
    assert_eq!(taken.status, 303, "{}", taken.body);
    assert!(folder.path().join("winds/riverton 12-00-.csv").exists());
    // Into a text that is no plan nothing can be put; where that is mended is said.
    let step = state(&desk)["step"].to_string();
    let broken = [("name", NAME), ("step", &step), ("text", "[wind\n")];
    assert_eq!(desk.post("/plan/text", &broken).status, 303);
    let refused = brought(&desk, "b.csv", &sounding);
    assert!(
        refused.status == 422 && refused.body.contains("mend it as text"),
        "{}",
        refused.body
    );
    assert!(!folder.path().join("winds/b.csv").exists());
}

#[test]
fn winds_are_taken_if_they_can_be_read_and_under_a_name_of_their_own() {
    let (folder, desk) = over_the_sample();
    let sounding = fs::read("samples/high-plains/riverton-2026-02-05.csv").unwrap();
    let files = || {
        let mut all: Vec<String> = fs::read_dir(folder.path().join("winds"))
            .map(|all| {
                all.map(|f| f.unwrap().file_name().into_string().unwrap())
                    .collect()
            })
            .unwrap_or_default();
        all.sort();
        all
    };
    assert_eq!(brought(&desk, "a.csv", &sounding).status, 303);
    assert_eq!(brought(&desk, "a.csv", &sounding).status, 303);
    assert_eq!(files(), ["a-2.csv", "a.csv"]);
    let winds = "riverton-2026-02-05.csv\nwinds/a.csv\nwinds/a-2.csv";
    assert_eq!(state(&desk)["values"]["wind.files"], winds);
    // A table whose columns only the plan names.
    let before = state(&desk);
    let named = before["text"].as_str().unwrap().replace(
        "[wind]\n",
        "[wind]\ncolumns = \"P=pressure hPa, Z=height m, D=direction deg, V=speed m/s\"\n",
    );
    let bare = b"P,Z,D,V\n850,1500,270,5\n700,3000,270,10\n500,5500,270,20\n";
    assert_eq!(brought(&desk, "bare.csv", bare).status, 422);
    let step = before["step"].to_string();
    desk.post(
        "/plan/text",
        &[("name", NAME), ("step", &step), ("text", &named)],
    );
    let taken = brought(&desk, "bare.csv", bare);
    assert_eq!(taken.status, 303, "{}", taken.body);
    fs::remove_file(folder.path().join("winds/bare.csv")).unwrap();
    // What is no wind is told by its name, and not kept.
    let refused = brought(&desk, "holiday.csv", b"a,b\n1,2\n");
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("holiday.csv"), "{}", refused.body);
    for name in [
        "../a.csv",
        "/etc/a.csv",
        "..\\a.csv",
        ".hidden.csv",
        "a\u{7}.csv",
    ] {
        assert_eq!(brought(&desk, name, &sounding).status, 422, "{name}");
    }
    assert_eq!(files(), ["a-2.csv", "a.csv"]);
    // A plan is none either, and what is said of it names it as it is called.
    let plan = fs::read(folder.path().join(NAME)).unwrap();
    let refused = brought(&desk, "mine.toml", &plan);
    assert!(
        refused.body.contains("--plan mine.toml"),
        "{}",
        refused.body
    );
    let left: Vec<PathBuf> = fs::read_dir(folder.path())
        .unwrap()
        .map(|f| f.unwrap().path())
        .collect();
    assert!(
        !left
            .iter()
            .any(|p| p.file_name().unwrap().to_str().unwrap().starts_with(".tmp")),
        "{left:?}"
    );
}

/// Answers that make a plan.
fn six_answers(name: &str) -> [(&str, &str); 6] {
    [
        ("file", name),
        ("place", "Riverton WY"),
        ("release", "2026-05-01 09:00"),
        ("balloon", "1200 g"),
        ("load", "6 lb"),
        ("parachute", "7 ft"),
    ]
}

#[test]
fn a_plan_is_begun_from_six_answers_and_what_is_wrong_stands_at_each() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Desk::open(folder.path(), &[]);
    let wrong = [
        ("file", "first"),
        ("place", "Riverton"),
        ("release", "2026-05-01 09:00"),
        ("balloon", "1200"),
        ("load", "6 lb"),
        ("parachute", "7 ft"),
    ];
    let answer = desk.post("/new", &wrong);
    assert_eq!(answer.status, 422);
    // Several towns have the name: they are told, and what was typed stays.
    assert!(answer.body.contains("Riverton, UT"), "{}", answer.body);
    assert!(
        answer.body.contains("value=\"6 lb\"") && answer.body.contains("data-wrong=\"balloon\"")
    );
    let right = wrong.map(|(id, value)| match id {
        "place" => (id, "Riverton WY"),
        "balloon" => (id, "1200 g"),
        _ => (id, value),
    });
    let answer = desk.post("/new", &right);
    assert_eq!(
        (answer.status, answer.header("location")),
        (303, Some("/plan?name=first.toml"))
    );
    let plan = Plan::read(folder.path().join("first.toml")).unwrap();
    assert_eq!(plan.timezone.iana_name(), Some("America/Denver"));
    assert_eq!(plan.us_units, Some(true));
    assert_eq!(desk.post("/new", &right).status, 422, "never overwritten");
    // Coordinates in other forms do as well, also to move it.
    let moved = [
        ("name", "first.toml"),
        ("place", "43 01.476 N, 108 22.806 W"),
    ];
    assert_eq!(desk.post("/plan/place", &moved).status, 303);
    let now = json(&desk.get("/plan/state?name=first.toml"));
    assert_eq!(now["values"]["site.lat"], "43.0246");
    assert!(
        now["values"]["site.elevation"]
            .as_str()
            .unwrap()
            .ends_with("ft"),
        "{now}"
    );
    let nowhere = [("name", "first.toml"), ("place", "Nowhere at all")];
    assert_eq!(desk.post("/plan/place", &nowhere).status, 422);
}

/// Waits for the work of a station, and gives what it made.
fn result(desk: &Desk, station: &str) -> String {
    let until = Instant::now() + Duration::from_secs(240);
    loop {
        let made = desk
            .get(&format!("/result?name={NAME}&station={station}"))
            .body;
        if !made.is_empty() {
            return made;
        }
        assert!(Instant::now() < until, "{station} makes nothing");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn days_are_compared_one_is_taken_and_the_crew_is_briefed() {
    let (folder, desk) = over_the_sample();
    let job = |what: &str, more: &[(&str, &str)]| {
        let mut fields = vec![("name", NAME), ("what", what)];
        fields.extend(more);
        desk.post("/job", &fields)
    };
    // Without a script: what is wrong is a page, what is right leads back to the station.
    assert_eq!(job("nonsense", &[]).status, 422);
    let days = [
        ("from", "2026-02-05"),
        ("to", "2026-02-05"),
        ("every", "2 h"),
        ("hours", "13:00-17:00"),
    ];
    let started = job("days", &days);
    assert_eq!(
        started.header("location"),
        Some("/plan?name=plan.toml#days")
    );
    let made = result(&desk, "days");
    assert_eq!(made.matches("name=\"release\"").count(), 2, "{made}");
    let value = made.split("name=\"release\" value=\"").nth(1).unwrap();
    let value = value.split('"').next().unwrap();
    // One day beside that of the plan.
    let beside = format!(
        "/compare?old=plan.toml&amp;new=plan.toml&amp;release={}",
        value.replace(':', "%3A")
    );
    assert!(made.contains(&beside), "{made}");
    let two = desk.get(&beside.replace("&amp;", "&")).body;
    assert!(
        two.contains("Landing zones compared") && two.contains("3 h 00 min"),
        "{two}"
    );
    let take = [("name", NAME), ("release", value)];
    assert_eq!(desk.post("/plan/take", &take).status, 303);
    let plan = desk.get(&format!("/plan?name={NAME}")).body;
    assert!(
        state(&desk)["values"]["flight.release"]
            .as_str()
            .unwrap()
            .contains("2026-02-05 14:00")
    );
    assert!(plan.contains("Made before the last change"));
    // Other units, at any time, of the same answer.
    desk.post("/view", &[("units", "us"), ("clock", "utc"), ("here", "/")]);
    assert!(result(&desk, "days").contains(" mi "));
    desk.post("/view", &[]);
    assert_eq!(job("brief", &[]).status, 303);
    let made = result(&desk, "briefing");
    assert!(
        made.contains("plan-briefing") && made.contains("/file?name=plan-briefing%2Fbrief.html"),
        "{made}"
    );
    let briefing = folder.path().join("plan-briefing");
    assert_eq!(fs::read_dir(&briefing).unwrap().count(), 11);
    let page = desk.get("/file?name=plan-briefing%2Fbrief.html");
    assert!(page.status == 200 && page.body.contains("Wait here"));
    // What was made before, against the plan as it is now.
    desk.post("/plan/undo", &[("name", NAME)]);
    let compared = desk.get("/compare?old=plan-briefing%2Fzone.geojson&new=plan.toml");
    assert!(
        compared.body.contains("Landing zones compared"),
        "{}",
        compared.body
    );
    assert!(compared.body.contains("<svg") && compared.body.contains("moved"));
    // Written whole or not at all: of two flights no briefing is mixed.
    fs::remove_file(briefing.join("zone.kml")).unwrap();
    fs::create_dir(briefing.join("zone.kml")).unwrap();
    fs::write(briefing.join("brief.html"), "of the flight before").unwrap();
    assert_eq!(job("brief", &[]).status, 303);
    let said = failed(&desk);
    assert!(said.contains("zone.kml"), "{said}");
    let page = fs::read_to_string(briefing.join("brief.html")).unwrap();
    assert_eq!(page, "of the flight before");
}

/// A desk that is closed leaves nothing of what was not finished.
#[test]
fn a_desk_closed_while_the_crew_is_briefed_leaves_no_half_briefing() {
    let (folder, mut desk) = over_the_sample();
    let started = desk.post("/job", &[("name", NAME), ("what", "brief")]);
    assert_eq!(started.status, 303);
    let briefing = folder.path().join("plan-briefing");
    let until = Instant::now() + Duration::from_secs(60);
    while !briefing.exists() {
        assert!(Instant::now() < until, "no briefing is begun");
        std::thread::sleep(Duration::from_millis(2));
    }
    desk.post("/close", &[]);
    assert!(desk.ends());
    assert!(!briefing.exists());
}

/// The flight as it is planned, as a tracker might have told it: a row a minute.
fn flown(folder: &Path) -> Vec<String> {
    let plan = Plan::read(folder.join(NAME)).unwrap();
    let winds = Winds::of_plan(&plan).unwrap();
    let options = Options {
        draws: 100,
        ..Options::default()
    };
    let zone = predict(&plan, &winds, options, || ()).unwrap().zone;
    let row = |mark: &Mark| {
        let Position { lat_deg, lon_deg } = mark.position;
        format!("{},{lat_deg},{lon_deg},{}\n", mark.time, mark.altitude_m)
    };
    zone.track.iter().map(row).collect()
}

const HEAD: &str = "time,latitude,longitude,altitude_m\n";

/// What a station shows, once it holds these words.
fn shows(desk: &Desk, station: &str, words: &str) -> String {
    let until = Instant::now() + Duration::from_secs(240);
    loop {
        let made = result(desk, station);
        if made.contains(words) {
            return made;
        }
        assert!(Instant::now() < until, "no {words}: {made}");
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[test]
fn a_flight_is_followed_from_a_file_that_grows_until_it_is_stopped() {
    let (folder, desk) = over_the_sample();
    let rows = flown(folder.path());
    let log = folder.path().join("receiver.csv");
    let up_to = |n: usize| HEAD.to_owned() + &rows[..n].concat();
    fs::write(&log, up_to(rows.len() / 3)).unwrap();
    let job = |fields: &[(&str, &str)]| {
        let all = [&[("name", NAME), ("what", "follow")], fields].concat();
        desk.post("/job", &all)
    };
    let started = job(&[
        ("file", "receiver.csv"),
        ("grows", "yes"),
        ("me", "42.9 -108.1"),
    ]);
    assert_eq!(
        started.header("location"),
        Some("/plan?name=plan.toml#flying")
    );
    let made = shows(&desk, "flying", "rising");
    assert!(
        made.contains("<svg") && made.contains("From the car"),
        "{made}"
    );
    fs::write(&log, up_to(9 * rows.len() / 10)).unwrap();
    shows(&desk, "flying", "falling");
    // One job at a time; stopping it leaves what was shown and written.
    assert_eq!(job(&[("file", "receiver.csv")]).status, 422);
    assert_eq!(desk.post("/job/stop", &[]).status, 303);
    let made = result(&desk, "flying");
    assert!(made.contains("plan-flight"), "{made}");
    let kept = fs::read_to_string(folder.path().join("plan-flight/reports.log")).unwrap();
    assert_eq!(kept.lines().count(), 9 * rows.len() / 10 + 1, "{kept}");
    for file in ["zone.geojson", "zone.kml", "zone-now.kml", "page.html"] {
        assert!(
            folder.path().join("plan-flight").join(file).exists(),
            "{file}"
        );
    }
}

/// What was heard of a flight before is put aside, and where is said.
#[test]
fn the_log_of_an_earlier_flight_is_told() {
    let (folder, desk) = over_the_sample();
    let rows = flown(folder.path());
    fs::write(
        folder.path().join("receiver.csv"),
        HEAD.to_owned() + &rows.concat(),
    )
    .unwrap();
    let there = folder.path().join("plan-flight");
    fs::create_dir(&there).unwrap();
    fs::write(there.join("release.txt"), "2025-06-01T12:00:00Z\n").unwrap();
    fs::write(there.join("reports.log"), "earlier\n").unwrap();
    let fields = [("name", NAME), ("what", "follow"), ("file", "receiver.csv")];
    assert_eq!(desk.post("/job", &fields).status, 303);
    let made = shows(&desk, "flying", "of an earlier release are kept in");
    let log = made.split("kept in <strong>").nth(1).unwrap();
    let log = folder.path().join(log.split('<').next().unwrap());
    assert_eq!(fs::read_to_string(log).unwrap(), "earlier\n");
}

/// What a job that failed says.
fn failed(desk: &Desk) -> String {
    let until = Instant::now() + Duration::from_secs(60);
    loop {
        let page = desk.get(&format!("/plan?name={NAME}")).body;
        let job = page.split("id=\"job-said\"").nth(1).unwrap();
        let said = job.split(['<', '>']).nth(1).unwrap();
        // There is nothing to stop any more.
        if job.contains("action=\"/job/stop\" hidden") {
            return said.to_owned();
        }
        assert!(Instant::now() < until, "{said}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn a_source_that_cannot_be_followed_is_told() {
    let (_folder, desk) = over_the_sample();
    for (fields, words) in [
        (vec![], "no source of reports"),
        (vec![("file", "../elsewhere.log")], "elsewhere.log"),
        (vec![("file", "none.log")], "none.log"),
        (vec![("address", "receiver.csv")], "Or an address"),
        (
            vec![("file", "plan.toml"), ("address", "tcp://localhost:1")],
            "both a file of reports and an address",
        ),
        (vec![("address", "tcp://nowhere")], "host:port"),
        (
            vec![("address", "aprs://localhost:1?call=N0CALL")],
            "Call signs",
        ),
        (
            vec![("file", "plan.toml"), ("me", "here")],
            "Where the car is",
        ),
    ] {
        let all = [&[("name", NAME), ("what", "follow")][..], &fields].concat();
        assert_eq!(desk.post("/job", &all).status, 303);
        let said = failed(&desk);
        assert!(said.contains(words), "{fields:?}: {said}");
    }
}

#[test]
fn a_flight_is_looked_back_on_and_written_into_the_logbook_once() {
    let (folder, desk) = over_the_sample();
    let rows = flown(folder.path());
    let half = rows.len() / 2;
    for (name, part) in [("up.csv", &rows[..half + 5]), ("down.csv", &rows[half..])] {
        fs::write(folder.path().join(name), HEAD.to_owned() + &part.concat()).unwrap();
    }
    let fields = [
        ("name", NAME),
        ("what", "debrief"),
        ("file", "up.csv"),
        ("file", "down.csv"),
        ("logbook", "yes"),
    ];
    assert_eq!(
        desk.post("/job", &fields).header("location"),
        Some("/plan?name=plan.toml#afterwards")
    );
    let made = shows(&desk, "afterwards", "written into flights.toml");
    assert!(
        made.contains("What one flight can and cannot say"),
        "{made}"
    );
    let book = fs::read_to_string(folder.path().join("flights.toml")).unwrap();
    assert_eq!(book.matches("[[flight]]").count(), 1, "{book}");
    desk.post("/job", &fields);
    shows(&desk, "afterwards", "already");
    // A logbook that is damaged costs the answer nothing.
    fs::write(folder.path().join("flights.toml"), "[[flight]\n").unwrap();
    desk.post("/job", &fields);
    let made = shows(&desk, "afterwards", "was not written into");
    assert!(
        made.contains("What one flight can and cannot say"),
        "{made}"
    );
    assert!(!desk.get("/").body.contains("/plan?name=flights.toml"));
}

/// A folder inside the desk's is shown by the system's own program; nothing else is given to that.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_is_opened_and_nothing_else() {
    use std::os::unix::fs::PermissionsExt as _;
    let programs = tempfile::tempdir().unwrap();
    let (program, told) = (
        programs.path().join("xdg-open"),
        programs.path().join("told"),
    );
    fs::write(
        &program,
        format!("#!/bin/sh\necho \"$1\" >> {}\n", told.display()),
    )
    .unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("plan-briefing")).unwrap();
    fs::copy("samples/high-plains/plan.toml", folder.path().join(NAME)).unwrap();
    let path = format!("{}:/usr/bin:/bin", programs.path().display());
    let desk = Desk::open_with(folder.path(), &[], &[("PATH", &path)]);
    let open = |what: &str| {
        desk.post("/folder/open", &[("name", NAME), ("folder", what)])
            .status
    };
    assert_eq!(open("plan-briefing"), 303);
    for wrong in [
        "plan.toml",
        "../",
        "/etc",
        "none",
        "",
        "https://example.org",
    ] {
        assert_eq!(open(wrong), 422, "{wrong}");
    }
    let told = fs::read_to_string(told).unwrap();
    let there = fs::canonicalize(folder.path())
        .unwrap()
        .join("plan-briefing");
    assert_eq!(told.trim(), there.to_str().unwrap());
}

#[test]
fn the_map_moves_the_release_measures_and_keeps_a_target() {
    let (folder, desk) = over_the_sample();
    let live = json(&desk.get(&format!("/live?name={NAME}&n=1&page=a")));
    let frame = live["map"]["frame"].as_str().unwrap();
    let track = live["map"]["track"].as_array().unwrap();
    assert!(
        track.len() > 20
            && live["map"]["above"]
                .as_str()
                .unwrap()
                .contains("data-layer=\"ellipses\"")
    );
    let ground = desk.get(&format!("/map/ground?name={NAME}&frame={frame}"));
    for layer in ["roads", "water", "borders", "names"] {
        assert!(
            ground.body.contains(&format!("data-layer=\"{layer}\"")),
            "{layer}"
        );
    }
    // The release lies where the track begins: moved there, it stays.
    let [x, y] = [0, 1].map(|i| track[0][i].as_f64().unwrap());
    let put = |x: f64, y: f64| {
        let (x, y) = (x.to_string(), y.to_string());
        desk.ask(
            "/plan/point",
            &[("name", NAME), ("frame", frame), ("x", &x), ("y", &y)],
        )
    };
    let lat = |now: &Value| {
        now["values"]["site.lat"]
            .as_str()
            .unwrap()
            .parse::<f64>()
            .unwrap()
    };
    assert!((lat(&put(x, y)) - 43.02).abs() < 1e-4);
    // Up is north; another field has another elevation.
    let moved = put(x, y - 40.0);
    assert!(lat(&moved) > 43.05, "{moved}");
    assert_ne!(moved["values"]["site.elevation"], "1640 m");
    let measured = json(&desk.get(&format!(
        "/map/measure?frame={frame}&x0={x}&y0={y}&x={x}&y={}",
        y - 40.0
    )));
    assert!(
        measured["way"].as_str().unwrap().contains("km"),
        "{measured}"
    );
    let points = "100,100 300,100 300,300";
    let kept = desk.ask(
        "/map/target",
        &[("name", NAME), ("frame", frame), ("points", points)],
    );
    let file = folder.path().join(kept["file"].as_str().unwrap());
    assert!(fs::read_to_string(file).unwrap().contains("Polygon"));
    for wrong in ["", "1,1 2,2", "a,b c,d e,f", "1e9,1 2,2 3,3"] {
        let fields = [("name", NAME), ("frame", frame), ("points", wrong)];
        assert_eq!(desk.post("/map/target", &fields).status, 422, "{wrong}");
    }
}

/// A newer question of the same page ends the older one; another page's does not.
#[test]
fn only_the_newest_question_of_a_page_is_answered() {
    let (_folder, desk) = over_the_sample();
    let ask = |page: &str, n: u32| {
        desk.get(&format!("/live?name={NAME}&page={page}&n={n}"))
            .status
    };
    assert_eq!(ask("a", 7), 200);
    assert_eq!(ask("a", 6), 409);
    assert_eq!(ask("b", 1), 200);
    assert_eq!(ask("a", 8), 200);
}

const GRID: &[u8] = include_bytes!("data/grids/gefs_mean_0p5_20200815_06z_f006.grib2");

/// The grid of a step: in each message four octets of section 4, 109 from its beginning, say which.
fn grid_of(step: u32) -> Vec<u8> {
    let mut grid = GRID.to_vec();
    let begins: Vec<usize> = (0..grid.len() - 4)
        .filter(|i| grid[*i..].starts_with(b"GRIB"))
        .collect();
    for start in begins {
        grid[start + 127..start + 131].copy_from_slice(&step.to_be_bytes());
    }
    grid
}

/// Downloads from this machine: how much is told first, and it can be stopped.
#[test]
fn forecasts_are_looked_at_downloaded_and_stopped() {
    let folder = tempfile::tempdir().unwrap();
    let plan = "[flight]\nrelease = 2020-08-15T12:00:00Z\n[site]\nlat = 48\nlon = 2\nelevation = \"100 m\"\n\
                [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"30 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n";
    fs::write(folder.path().join(NAME), plan).unwrap();
    let mut files = Files::new();
    for step in [0, 6, 12] {
        files.insert(format!("/20200815/06/f{step:03}.grib2"), grid_of(step));
    }
    let slow = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
    let is_slow = slow.clone();
    let server = Server::start(files, move |_, _| {
        match is_slow.load(std::sync::atomic::Ordering::SeqCst) {
            true => server::Answer::After(Duration::from_secs(2)),
            false => server::Answer::Well,
        }
    });
    let feeds = folder.path().join("feeds.toml");
    fs::write(&feeds, feed_text(&server.url(), "none")).unwrap();
    let desk = Desk::open(folder.path(), &["--feeds", feeds.to_str().unwrap()]);
    let job = |what: &str| desk.ask("/job", &[("name", NAME), ("what", what), ("feed", "test")]);
    assert_eq!(job("look")["station"], "winds");
    let looked = result(&desk, "winds");
    assert!(
        looked.contains(" MB in one file") && looked.contains("value=\"fetch\""),
        "{looked}"
    );
    assert!(
        !folder.path().join("winds").exists(),
        "nothing is downloaded before it is asked for"
    );
    slow.store(true, std::sync::atomic::Ordering::SeqCst);
    job("fetch");
    assert!(
        job("look")["error"]
            .as_str()
            .unwrap()
            .contains("other work"),
        "one job at a time"
    );
    let since = Instant::now();
    desk.post("/job/stop", &[]);
    slow.store(false, std::sync::atomic::Ordering::SeqCst);
    // As soon as what was asked of the server is answered, the next work can begin.
    while job("fetch").get("error").is_some() {
        assert!(
            since.elapsed() < Duration::from_secs(60),
            "it does not stop"
        );
        std::thread::sleep(Duration::from_millis(100));
    }
    let until = Instant::now() + Duration::from_secs(30);
    while !result(&desk, "winds").contains("in the plan now") {
        assert!(Instant::now() < until, "{}", result(&desk, "winds"));
        std::thread::sleep(Duration::from_millis(100));
    }
    // That the plan names the files now makes them no older.
    assert!(!result(&desk, "winds").contains("Made before"));
    let files = state(&desk)["values"]["wind.files"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(files.starts_with("winds/test-20200815-06z"), "{files}");
    assert!(folder.path().join(files).exists());
}
