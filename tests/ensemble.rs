//! An ensemble made of real forecasts: eight times of the ECMWF file, each said to be a member's
//! forecast for the same hour.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

mod common;
#[path = "common/grids.rs"]
mod grids;
#[path = "common/netcdf.rs"]
mod netcdf;
#[path = "common/program.rs"]
mod program;
#[path = "common/stack.rs"]
mod stack;

use std::fs;
use std::path::Path;

use grids::{
    ECMWF, GEFS_MEAN, PORTUGAL_2023, bytes, is, joined, messages, retimed, slabs, without,
};
use jiff::Timestamp;
use netcdf::{Variable, netcdf};
use program::{stderr, stdout, windfall};
use stack::Stack;
use windfall::choice::answer::Verdict;
use windfall::choice::days::days;
use windfall::choice::reason::Reason;
use windfall::flight::field::LayerField;
use windfall::flight::layers::THICKNESS_M;
use windfall::flight::model::{FlightModel, FlightWinds};
use windfall::geodesy::{Compass, LocalFrame, Position};
use windfall::notes::left_out::{LeftOut, NoField, NoMember};
use windfall::plan::Plan;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::spread::members::MemberSpread;
use windfall::spread::run::{Landing, run};
use windfall::wind::error::WindError;
use windfall::wind::forecast_error;
use windfall::wind::slab::Quantity;
use windfall::winds::Winds;
use windfall::zone::Options;

const MEMBERS: usize = 8;
const DRAWS: u64 = 400;

const BY_FILE: Joining = Joining {
    issued: None,
    member_per_file: true,
};

fn valid() -> Timestamp {
    "2024-06-03T12:00:00Z".parse().unwrap()
}

/// One file for each time of the real one, all said to be for [`valid`].
fn members() -> Vec<Vec<u8>> {
    let file = bytes(ECMWF);
    let mut times: Vec<Timestamp> = Vec::new();
    let mut members: Vec<Vec<u8>> = Vec::new();
    for message in messages(&file) {
        let time = slabs(message)[0].valid;
        let member = times.iter().position(|t| *t == time).unwrap_or_else(|| {
            times.push(time);
            members.push(Vec::new());
            times.len() - 1
        });
        members[member].extend(retimed(message, [6, 3, 12], 0));
    }
    // z, t, u, v and r at six levels.
    assert_eq!(members.len(), MEMBERS);
    assert!(members.iter().all(|m| messages(m).len() == 30));
    members
}

fn ensemble(members: Vec<Vec<u8>>) -> Archive {
    let names: Vec<String> = (0..members.len()).map(|k| format!("member {k}")).collect();
    let files = names.iter().map(String::as_str).zip(members).collect();
    joined(files, BY_FILE).unwrap()
}

fn stack() -> Stack {
    Stack {
        site: Position::new(43.0, -108.4).unwrap(),
        ..Stack::at_riverton()
    }
}

fn model(stack: &Stack, archive: &Archive) -> FlightModel {
    let block = archive.cut(archive.lattice.whole(), 0..1).unwrap();
    let (layers, compass) = (stack.layers(THICKNESS_M), Compass::at(stack.site));
    let field = LayerField::of_block(&block, stack.site, valid(), &layers, &compass).unwrap();
    FlightModel {
        winds: FlightWinds::Field(Box::new(field)),
        ..stack.balloon_model(THICKNESS_M)
    }
}

fn landings(stack: &Stack, model: &FlightModel, members: usize) -> Vec<Landing> {
    let mut sampler = stack.sampler();
    sampler.members = members;
    let landings = run(model, &sampler, None, DRAWS, || ());
    assert_eq!(
        landings.landed.len(),
        DRAWS as usize,
        "{:?}",
        landings.missed
    );
    landings.landed
}

#[test]
fn each_draw_flies_in_its_members_own_winds() {
    let stack = stack();
    let archive = ensemble(members());
    let names: Vec<Option<u32>> = (0..MEMBERS as u32).map(Some).collect();
    assert_eq!(archive.members, names);
    assert!(archive.left_out.is_empty(), "{:?}", archive.left_out);
    let together = landings(&stack, &model(&stack, &archive), MEMBERS);
    let mut checked = [0; MEMBERS];
    for (k, member) in members().into_iter().enumerate() {
        let alone = joined(vec![("alone", member)], Joining::default()).unwrap();
        // The same draws, all in this member.
        let alone = landings(&stack, &model(&stack, &alone), 1);
        for (ours, theirs) in together.iter().zip(&alone).filter(|(l, _)| l.member == k) {
            let apart = ours.place.position().distance_m(theirs.place.position());
            assert!(apart < 1.0, "{apart} m in member {k}");
            assert_eq!(ours.time_s, theirs.time_s);
            checked[k] += 1;
        }
    }
    println!("draws by member: {checked:?}");
    // 400 / 8 = 50, to a draw or two: the points are evenly spread in this dimension too.
    assert_eq!(checked.iter().sum::<usize>() as u64, DRAWS);
    assert!(checked.iter().all(|n| (48..=52).contains(n)), "{checked:?}");
}

#[test]
fn most_of_the_spread_is_between_the_members() {
    let stack = stack();
    let landed = landings(&stack, &model(&stack, &ensemble(members())), MEMBERS);
    let frame = LocalFrame::new(landed[0].place.position());
    let points: Vec<([f64; 2], usize)> = landed
        .iter()
        .map(|l| (frame.to_plane(l.place.position()), l.member))
        .collect();
    let spread = MemberSpread::of(&points).unwrap();
    println!(
        "between {:.0} m, within {:.0} m",
        spread.between_m, spread.within_m
    );
    assert_eq!(spread.count, MEMBERS);
    // Two days of weather between them.
    assert!(spread.between_m > 5_000.0, "{spread:?}");
    // Of all landings, reckoned here: the squares of the two add up.
    let n = points.len() as f64;
    let variance: f64 = (0..2)
        .map(|i| {
            let mean = points.iter().map(|p| p.0[i]).sum::<f64>() / n;
            points.iter().map(|p| (p.0[i] - mean).powi(2)).sum::<f64>() / n
        })
        .sum();
    let both = spread.between_m.powi(2) + spread.within_m.powi(2);
    assert!(
        (both / (0.5 * variance) - 1.0).abs() < 1e-9,
        "{both} {variance}"
    );
}

/// The mean member is the mean of the members' winds, so a flight in it lands among theirs.
#[test]
fn the_planned_flight_is_in_the_mean_of_the_members() {
    let stack = stack();
    let archive = ensemble(members());
    let block = archive.cut(archive.lattice.whole(), 0..1).unwrap();
    let (layers, compass) = (stack.layers(THICKNESS_M), Compass::at(stack.site));
    let field = LayerField::of_block(&block, stack.site, valid(), &layers, &compass).unwrap();
    let (field, mean) = field.with_mean_member();
    assert_eq!(mean, MEMBERS);
    let weights = field.weights(stack.site.normal(), 0.0).unwrap();
    let felt = [60.0, 50.0, 40.0, 30.0];
    for leg in 0..20 {
        let drift = |member| field.drift(&weights, member, leg, &felt);
        for i in 0..2 {
            let wanted = (0..MEMBERS).map(|k| drift(k)[i]).sum::<f64>() / MEMBERS as f64;
            // Sums of 32 bits: a few centimetres of kilometres.
            assert!((drift(mean)[i] - wanted).abs() < 0.05, "{wanted}");
        }
    }
}

#[test]
fn a_member_that_lacks_a_level_is_left_out_and_told() {
    let mut files = members();
    let (cut, gone) = without(&files[3], |slab| is(slab, Quantity::Height, 500));
    assert_eq!(gone, 1);
    files[3] = cut;
    let archive = ensemble(files);
    assert_eq!(archive.members.len(), MEMBERS - 1);
    assert!(!archive.members.contains(&Some(3)));
    assert_eq!(archive.levels_pa.len(), 6);
    let missing_pa = vec![50_000];
    let told = LeftOut::Member {
        member: Some(3),
        why: NoMember::Levels { missing_pa },
    };
    assert_eq!(archive.left_out, std::slice::from_ref(&told));
    assert_eq!(told.to_string(), "member 3: no height or wind at 500 hPa");
}

#[test]
fn a_level_of_few_members_is_left_out_and_told() {
    let thinned = members().into_iter().enumerate().map(|(k, member)| {
        let lacks = |slab: &_| k < 5 && is(slab, Quantity::Height, 300);
        without(&member, lacks).0
    });
    let archive = ensemble(thinned.collect());
    assert_eq!(archive.members.len(), MEMBERS);
    assert_eq!(archive.levels_pa.len(), 5);
    let levels_pa = vec![30_000];
    let told = LeftOut::OfFewMembers { levels_pa };
    assert_eq!(archive.left_out, std::slice::from_ref(&told));
    assert_eq!(told.to_string(), "300 hPa: most members lack it");
}

/// Four members, each without a level of its own: no level is lacking in most, no member has all.
#[test]
fn members_with_nothing_in_common_are_refused() {
    let levels = [850, 700, 500, 400];
    let files: Vec<Vec<u8>> = members()
        .into_iter()
        .zip(levels)
        .map(|(member, hpa)| without(&member, |slab| is(slab, Quantity::Height, hpa)).0)
        .collect();
    let named = ["a", "b", "c", "d"].into_iter().zip(files).collect();
    let message = joined(named, BY_FILE).err().unwrap().to_string();
    assert!(
        message.contains("a, b, c, d")
            && message.contains("member 2: no height or wind at 500 hPa"),
        "{message}"
    );
}

#[test]
fn a_plan_with_a_file_for_each_member() {
    let folder = tempfile::tempdir().unwrap();
    let mut names = Vec::new();
    for (k, mut member) in members().into_iter().enumerate() {
        if k == 5 {
            member = without(&member, |slab| is(slab, Quantity::Height, 700)).0;
        }
        let name = format!("member-{k}.grib");
        fs::write(folder.path().join(&name), member).unwrap();
        names.push(format!("{name:?}"));
    }
    let plan = fs::read_to_string("samples/ribatejo/plan.toml").unwrap();
    let plan = plan
        .replace("2023-10-12T10:30:00+01:00", "2024-06-03T13:00:00+01:00")
        .replace("\"era5-portugal-2023.nc\"", &names.join(", "))
        .replace("issued = 2023-10-11T12:00:00Z", "member_per_file = true");
    let path = folder.path().join("plan.toml");
    fs::write(&path, plan).unwrap();
    let path = path.to_str().unwrap();
    let output = windfall("zone", &[path, "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let facts = &json["facts"];
    assert_eq!(facts["landed"], 2_000);
    assert_eq!(facts["members"]["count"], 7, "{facts}");
    assert!(facts["members"]["between_m"].as_f64().unwrap() > 5_000.0);
    let text = stdout(&windfall("zone", &[path]));
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for wanted in [
        "7 members",
        "member 5: no height or wind at 700 hPa",
        "wind error of 7 members: how they differ",
    ] {
        assert!(words.contains(wanted), "no \"{wanted}\" in {text}");
    }
}

/// Members for 12 and 18 UTC and midnight, all but the last of which one of them has.
fn of_three_times() -> Vec<Vec<u8>> {
    let at = |member: &[u8], hour: u8, step: u8| retimed(member, [6, 3, hour], step);
    let mut files = Vec::new();
    for (k, member) in members().into_iter().enumerate() {
        let mut file = at(&member, 12, 0);
        file.extend(at(&member, 12, 6));
        if k != 5 {
            file.extend(at(&member, 12, 12));
        }
        files.push(file);
    }
    files
}

#[test]
fn a_member_that_ends_early_is_used_as_far_as_it_goes() {
    let archive = ensemble(of_three_times());
    assert!(archive.left_out.is_empty(), "{:?}", archive.left_out);
    assert_eq!((archive.members.len(), archive.steps.len()), (8, 3));
    assert!(archive.is_uneven());
    let whole = archive.lattice.whole();
    let early = archive.cut(whole, 0..2).unwrap();
    assert_eq!((early.members.len(), early.left_out.len()), (8, 0));
    let late = archive.cut(whole, 1..3).unwrap();
    let numbers: Vec<u32> = late.members.iter().flatten().copied().collect();
    assert_eq!(numbers, [0, 1, 2, 3, 4, 6, 7]);
    assert_eq!(late.left_out.len(), 1);
    assert!(
        late.left_out[0]
            .to_string()
            .starts_with("member 5: it ends at 2024-06-03T18:00:00Z"),
        "{:?}",
        late.left_out
    );
    // Each member keeps its own winds.
    let of = |member: u32| {
        let at = |b: &windfall::wind::grid::Block| {
            let index = b.members.iter().position(|m| *m == Some(member)).unwrap();
            index * b.columns_of_member()
        };
        (early.winds(at(&early)), late.winds(at(&late)))
    };
    for member in [0, 4, 6, 7] {
        let (a, b) = of(member);
        assert_eq!(a.at(9_000.0), b.at(9_000.0), "{member}");
    }
}

/// The files of an ensemble with a plan for the release given, in a folder of its own.
fn planned(files: &[Vec<u8>], release: &str) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let mut names = Vec::new();
    for (k, member) in files.iter().enumerate() {
        let name = format!("member-{k}.grib");
        fs::write(folder.path().join(&name), member).unwrap();
        names.push(format!("{name:?}"));
    }
    let plan = fs::read_to_string("samples/ribatejo/plan.toml").unwrap();
    let plan = plan
        .replace("2023-10-12T10:30:00+01:00", release)
        .replace("\"era5-portugal-2023.nc\"", &names.join(", "))
        .replace("issued = 2023-10-11T12:00:00Z", "member_per_file = true");
    let path = folder.path().join("plan.toml");
    fs::write(&path, plan).unwrap();
    let path = path.to_str().unwrap().to_owned();
    (folder, path)
}

fn zone(path: &str) -> (usize, String) {
    let output = windfall("zone", &[path, "--json", "--draws", "400"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let count = json["facts"]["members"]["count"].as_u64().unwrap();
    (count as usize, json["zone"]["assumptions"].to_string())
}

#[test]
fn a_zone_tells_of_members_that_end_before_the_flight() {
    let files = of_three_times();
    let (_folder, path) = planned(&files, "2024-06-03T14:00:00+01:00");
    let (members, assumed) = zone(&path);
    assert_eq!(members, 8);
    assert!(!assumed.contains("member 5"), "{assumed}");
    let (_folder, path) = planned(&files, "2024-06-03T19:30:00+01:00");
    let (members, assumed) = zone(&path);
    assert_eq!(members, 7);
    assert!(
        assumed.contains("left out of the winds: member 5: it ends at"),
        "{assumed}"
    );
}

#[test]
fn a_damaged_file_of_an_ensemble_is_left_out_aloud() {
    // Cut in the middle it lacks the upper levels; cut in its first message nothing can be read.
    let mut files = members();
    let length = files[3].len();
    files[3].truncate(length / 2 + 7);
    let (_folder, path) = planned(&files, "2024-06-03T13:00:00+01:00");
    let (members, assumed) = zone(&path);
    assert_eq!(members, 7);
    assert!(assumed.contains("left out of the winds: member 3: no height"));
    files[3].truncate(100);
    let (_folder, path) = planned(&files, "2024-06-03T13:00:00+01:00");
    let (members, assumed) = zone(&path);
    assert_eq!(members, 7);
    assert!(
        assumed.contains("left out of the winds:") && assumed.contains("member-3.grib"),
        "{assumed}"
    );
    // Alone with another it is not an ensemble that could do without it.
    let (_folder, path) = planned(&files[3..5], "2024-06-03T13:00:00+01:00");
    let output = windfall("zone", &[&path]);
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("member-0.grib"));
}

/// A file that opens but cannot be decoded where flights need it.
#[test]
fn a_member_that_cannot_be_decoded_is_left_out_aloud() {
    let whole = bytes(PORTUGAL_2023);
    let mut cut = whole.clone();
    cut.truncate(whole.len() - 60_000);
    let files = vec![("a", whole.clone()), ("b", cut), ("c", whole)];
    let archive = joined(files, BY_FILE).unwrap();
    assert_eq!(archive.members.len(), 3);
    let steps = archive.steps.len();
    let block = archive.cut(archive.lattice.whole(), 0..steps).unwrap();
    assert_eq!(block.members, [Some(0), Some(2)]);
    let told = block.left_out[0].to_string();
    assert!(
        told.starts_with("member 1: ") && told.contains('b'),
        "{told}"
    );
}

/// A GRIB 2 file said to be of another product: section 4 of each message, up to octet 9 and from octet 10
/// to 34, what all products have (template 4.0, WMO FM 92), with what follows in its own.
fn of_product(file: &[u8], template: u8, own: &[u8]) -> Vec<u8> {
    let mut changed = Vec::new();
    for message in messages(file) {
        let mut whole = message[..16].to_vec();
        let mut rest = &message[16..];
        while !rest.starts_with(b"7777") {
            let length = rest[..4].iter().fold(0, |n, &o| n << 8 | usize::from(o));
            let (section, after) = rest.split_at(length);
            match section[4] {
                4 => {
                    let length = 34 + own.len() as u32;
                    whole.extend(length.to_be_bytes());
                    whole.extend(&section[4..8]);
                    whole.push(template);
                    whole.extend(&section[9..34]);
                    whole.extend(own);
                }
                _ => whole.extend(section),
            }
            rest = after;
        }
        whole.extend(b"7777");
        let length = whole.len() as u64;
        whole[8..16].copy_from_slice(&length.to_be_bytes());
        changed.extend(whole);
    }
    changed
}

/// The kinds of members of code table 4.6.
const NEGATIVE: u8 = 2;
const POSITIVE: u8 = 3;

/// The mean of an ensemble said to be one of its members.
fn as_member(number: u8, kind: u8) -> Vec<u8> {
    of_product(&bytes(GEFS_MEAN), 1, &[kind, number, 2])
}

/// The real file also has a wind without a height at 400 hPa, which is left out as well.
fn is_of_fields(what: &LeftOut) -> bool {
    matches!(what, LeftOut::Fields { .. })
}

#[test]
fn the_mean_in_a_file_of_its_own_is_no_further_member() {
    let files = || {
        vec![
            ("mean", bytes(GEFS_MEAN)),
            ("one", as_member(1, POSITIVE)),
            ("two", as_member(2, POSITIVE)),
        ]
    };
    let fields = slabs(&bytes(GEFS_MEAN)).len();
    let archive = joined(files(), Joining::default()).unwrap();
    assert_eq!(archive.members, [Some(1), Some(2)]);
    assert_eq!(archive.names(), ["one", "two"]);
    let why = NoField::EnsembleMean;
    let told = LeftOut::Fields { count: fields, why };
    assert_eq!(archive.left_out[0], told);
    let told = told.to_string();
    assert!(
        told.ends_with("of the mean of an ensemble, beside its members"),
        "{told}"
    );
    // By itself it is a forecast.
    let alone = joined(vec![files().remove(0)], Joining::default()).unwrap();
    assert_eq!(alone.members, [None]);
    assert!(alone.left_out.iter().all(|what| !is_of_fields(what)));
    assert!(alone.assumed.is_empty());
}

/// An ensemble of two members: eastward winds of 6 m/s in one, westward ones in the other; with or without
/// winds at 10 m.
fn opposite(at_10_m: bool) -> Archive {
    const ALOFT: [&str; 5] = ["number", "time", "level", "lat", "lon"];
    const NEAR: [&str; 4] = ["number", "time", "lat", "lon"];
    let axis = |name, along, unit, standard_name, values: &[f64]| {
        let attributes = [("units", unit), ("standard_name", standard_name)];
        Variable::new(name, along, &attributes, values.to_vec())
    };
    // A member after the other; of each three times of three levels of nine points.
    let wind = |name, standard_name, member: [f64; 2]| {
        let values = member.map(|wind| [wind; 81]).concat();
        axis(name, &ALOFT, "m s-1", standard_name, &values)
    };
    let near = |name, parameter, member: [f64; 2]| {
        let values = member.map(|wind| [wind; 27]).concat();
        Variable::new(name, &NEAR, &[("units", "m s-1")], values).with("GRIB_paramId", parameter)
    };
    let heights_m = [110.0, 9_164.0, 23_849.0]
        .map(|z| [z; 9])
        .concat()
        .repeat(6);
    let since = "hours since 2020-06-01 06:00:00";
    let hpa = [1000.0, 300.0, 30.0];
    let mut variables = vec![
        axis("number", &["number"], "1", "realization", &[0.0, 1.0]),
        axis("time", &["time"], since, "time", &[0.0, 3.0, 6.0]),
        axis("level", &["level"], "hPa", "air_pressure", &hpa),
        axis(
            "lat",
            &["lat"],
            "degrees_north",
            "latitude",
            &[38.0, 40.0, 42.0],
        ),
        axis(
            "lon",
            &["lon"],
            "degrees_east",
            "longitude",
            &[-5.0, -3.0, -1.0],
        ),
        wind("u", "eastward_wind", [6.0, -6.0]),
        wind("v", "northward_wind", [0.0; 2]),
        axis("z", &ALOFT, "m", "geopotential_height", &heights_m),
    ];
    if at_10_m {
        variables.push(near("u10", &[165], [6.0, -6.0]));
        variables.push(near("v10", &[166], [0.0; 2]));
    }
    let three = ["time", "level", "lat", "lon"].map(|name| (name, 3));
    let file = netcdf(&[&[("number", 2)], &three[..]].concat(), &variables);
    joined(vec![("opposite", file)], Joining::default()).unwrap()
}

/// No member is calm, though the mean of their winds is.
#[test]
fn the_wind_at_the_ground_is_as_fast_as_the_members_are() {
    let text = "[flight]\nname = \"x\"\nrelease = 2020-06-01T09:00:00Z\n[site]\nlat = 40.0\nlon = -3.0\n\
                elevation = \"100 m\"\n[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"20 km\"\n\
                [descent]\nlanding_speed = \"5 m/s\"\n[limits]\nsurface_wind = \"4 m/s\"\n\
                keep_out_probability = 1.0\nall_hazards_probability = 1.0\nwater_probability = 1.0\n";
    let plan = Plan::parse("plan.toml", text, Path::new(".")).unwrap();
    let options = Options {
        draws: 20,
        seed: 1,
        keep_draws: false,
    };
    for at_10_m in [true, false] {
        let winds = Winds::Forecast(Box::new(opposite(at_10_m)));
        let found = days(&plan, &winds, &[plan.release], options, || ()).unwrap();
        let row = &found.rows[0];
        let Reason::SurfaceWind { speed_m_s, .. } = row.reason else {
            panic!("{:?}", row.reason);
        };
        assert!((speed_m_s - 6.0).abs() < 0.05, "{speed_m_s}");
        assert_eq!(row.verdict, Verdict::BeyondLimit);
    }
}

/// A forecast that is no member, given with members: it is flown as one more, and everything says so.
#[test]
fn a_forecast_without_a_number_counts_as_a_member_everywhere() {
    let folder = tempfile::tempdir().unwrap();
    let files = [
        ("alone.grib2", of_product(&bytes(GEFS_MEAN), 0, &[])),
        ("one.grib2", as_member(1, POSITIVE)),
        ("two.grib2", as_member(2, POSITIVE)),
    ];
    let paths = files.map(|(name, bytes)| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    });
    let paths = paths.each_ref().map(String::as_str);
    let said = "have no member's number, and count as one more member of the ensemble";
    let text = stdout(&windfall("winds", &paths));
    assert!(
        text.contains("members   3: 1 2 and one without a number"),
        "{text}"
    );
    assert!(text.contains(said), "{text}");
    let json = windfall("winds", &[&paths[..], &["--json"]].concat());
    let json: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(json["members"], serde_json::json!([null, 1, 2]));
    let plan = folder.path().join("plan.toml");
    let text = "[flight]\nname = \"x\"\nrelease = 2020-08-15T12:30:00Z\n[site]\nlat = 46.0\nlon = 2.0\n\
                elevation = \"300 m\"\n[wind]\nfiles = [\"alone.grib2\", \"one.grib2\", \"two.grib2\"]\n\
                [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"28 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n";
    fs::write(&plan, text).unwrap();
    let plan = plan.to_str().unwrap();
    let (members, assumed) = zone(plan);
    assert_eq!(members, 3);
    assert!(assumed.contains(said), "{assumed}");
    let text = stdout(&windfall("zone", &[plan, "--draws", "400"]));
    assert!(
        text.contains(", 3 members") && text.contains("wind error of 3 members"),
        "{text}"
    );
}

/// Some centres give a perturbation and its opposite one number.
#[test]
fn a_pair_with_one_number_is_two_members() {
    let pair = || [as_member(1, POSITIVE), as_member(1, NEGATIVE)];
    let members = |files: Vec<(&str, Vec<u8>)>| {
        let archive = joined(files, Joining::default()).unwrap();
        assert!(!archive.left_out.iter().any(is_of_fields));
        archive.members
    };
    let [plus, minus] = pair();
    assert_eq!(members(vec![("n", minus), ("p", plus)]), [Some(1), Some(2)]);
    assert_eq!(members(vec![("both", pair().concat())]), [Some(1), Some(2)]);
    // Five pairs counted from 0 are ten.
    let pairs = (0..5).flat_map(|n| [as_member(n, POSITIVE), as_member(n, NEGATIVE)]);
    let pairs = pairs.collect::<Vec<_>>().concat();
    let ten: Vec<Option<u32>> = (0..10).map(Some).collect();
    assert_eq!(members(vec![("pairs", pairs)]), ten);
    // A number that is not shared is kept.
    let [_, minus] = pair();
    let other = as_member(4, POSITIVE);
    assert_eq!(
        members(vec![("n", minus), ("p", other)]),
        [Some(1), Some(4)]
    );
}

/// Standard normal numbers.
fn normals(seed: u64) -> impl FnMut() -> f64 {
    let mut stream = windfall::random::SplitMix::stream(seed, 0);
    move || stream.next_normal()
}

/// Regions of few members hold the truth. 4,000 invented weathers: the truth and M members differ
/// from one mean alike (the members as much as forecasts do, or half as much), draws fly in each
/// member with what [`WindError::of_ensemble`] adds, and the 90 % ellipse of the draws is looked at
/// in one number, the wind at 500 hPa. Members alone, the simplest way, hold far fewer.
#[test]
fn few_members_hold_what_they_claim() {
    let lead_s = 72.0 * 3_600.0;
    let altitude_m = 5_500.0;
    let published = forecast_error::growing_m_s(lead_s, altitude_m);
    let still = windfall::wind::column::WindProfile::new(&[(
        0.0,
        windfall::wind::sounding::Wind::from_direction(0.0, 0.0),
    )]);
    let mut next = normals(7);
    for (members, alike) in [(3, 1.0), (3, 0.5), (5, 1.0), (20, 1.0)] {
        let (trials, mut held, mut held_by_members) = (4_000, 0, 0);
        for _ in 0..trials {
            let truth = [published * next(), published * next()];
            let each: Vec<[f64; 2]> = (0..members)
                .map(|_| [alike * published * next(), alike * published * next()])
                .collect();
            let n = members as f64;
            let mean = [0, 1].map(|i| each.iter().map(|m| m[i]).sum::<f64>() / n);
            let squares = each.iter().map(|m| {
                let off = [m[0] - mean[0], m[1] - mean[1]];
                0.5 * (off[0] * off[0] + off[1] * off[1])
            });
            let between = squares.sum::<f64>() / (n - 1.0);
            let error = WindError::of_ensemble(&still, lead_s, members, &[(0.0, between.sqrt())]);
            let left = error.parts[1].sigma_m_s(altitude_m).powi(2);
            let variance = between * (n - 1.0) / n + left;
            let off = (truth[0] - mean[0]).powi(2) + (truth[1] - mean[1]).powi(2);
            let chi2 = 4.605_170_186;
            held += usize::from(off < chi2 * variance);
            held_by_members += usize::from(off < chi2 * between * (n - 1.0) / n);
        }
        let share = |held: usize| held as f64 / f64::from(trials);
        println!(
            "{members} members {alike} times as far apart as forecasts are wrong: 90 % holds {:.3}, of members alone {:.3}",
            share(held),
            share(held_by_members)
        );
        assert!((0.86..0.96).contains(&share(held)), "{}", share(held));
        assert!(share(held_by_members) < share(held) - 0.02);
    }
}

/// Three of the eight real forecasts as an ensemble: its 90 % contour is one region, not three dots,
/// and holds where most of the five others come down, which the members alone do not.
#[test]
fn the_contour_of_three_members_is_a_density() {
    let stack = stack();
    let all = members();
    let planned = |file: Vec<u8>| {
        let alone = joined(vec![("alone", file)], Joining::default()).unwrap();
        let model = model(&stack, &alone);
        let v = windfall::flight::model::Variation::NONE;
        let departures = windfall::flight::model::Departures::NONE;
        let mut scratch = windfall::flight::model::Scratch::default();
        let flown = model.fly(&v, departures, &mut scratch, None).unwrap();
        flown.landing.place.position()
    };
    let three = ensemble(vec![all[0].clone(), all[3].clone(), all[6].clone()]);
    let model = model(&stack, &three);
    let block = three.cut(three.lattice.whole(), 0..1).unwrap();
    let weights = windfall::wind::placing::Placing::of_block(&block, stack.site, valid())
        .unwrap()
        .weights(stack.site.normal(), 0.0)
        .unwrap();
    let columns: Vec<_> = (0..3)
        .map(|m| {
            let first = m * block.columns_of_member();
            let near: Vec<_> = weights
                .terms()
                .map(|(c, w)| (w, block.winds(first + c)))
                .collect();
            let parts: Vec<_> = near.iter().map(|(w, p)| (*w, p)).collect();
            windfall::wind::column::WindProfile::blend(&parts)
        })
        .collect();
    let between = windfall::wind::members::member_sigma(&columns);
    let error = WindError::of_ensemble(&columns[0], 24.0 * 3_600.0, 3, &between);
    let process = stack.process(&model, &error);
    let mut sampler = stack.sampler();
    sampler.members = 3;
    let frame = LocalFrame::new(stack.site);
    let regions = |process: Option<&_>| {
        let landed = run(&model, &sampler, process, 2_000, || ()).landed;
        let points: Vec<[f64; 2]> = landed
            .iter()
            .map(|l| frame.to_plane(l.place.position()))
            .collect();
        windfall::spread::region::Regions::of(&points).unwrap()
    };
    let others: Vec<[f64; 2]> = [1, 2, 4, 5, 7]
        .map(|k| frame.to_plane(planned(all[k].clone())))
        .to_vec();
    let held = |regions: &windfall::spread::region::Regions| {
        let contour = &regions.contours[1];
        let inside = others.iter().filter(|[x, y]| {
            use geo::Contains as _;
            contour.polygons.contains(&geo::Point::new(*x, *y))
        });
        (contour.pieces, inside.count())
    };
    let (dressed, bare) = (regions(Some(&process)), regions(None));
    let (pieces, inside) = held(&dressed);
    let (bare_pieces, bare_inside) = held(&bare);
    println!(
        "three members: {inside} of 5 others in {pieces} piece(s); alone {bare_inside} in {bare_pieces}"
    );
    assert_eq!(pieces, 1);
    assert!(
        inside >= 4 && inside > bare_inside,
        "{inside} {bare_inside}"
    );
}
