//! Flights through forecasts of the whole earth and of parts of it: across Greenwich, across the
//! date line, at both poles and on a projected map; against an integration written here.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

mod common;
#[path = "common/grids.rs"]
mod grids;
#[path = "common/stack.rs"]
mod stack;

use grids::{GFS_2011, GFS_EUROPE, NAM, PORTUGAL_2023, archive};
use jiff::Timestamp;
use ndarray::Array2;
use stack::Stack;
use windfall::flight::field::LayerField;
use windfall::flight::layers::THICKNESS_M;
use windfall::flight::model::{
    Departures, FlightModel, FlightWinds, Flown, Moment, Scratch, Variation,
};
use windfall::flight::rates::RateTable;
use windfall::flight::rise::{Rise, RiseSpread, RiseVariation};
use windfall::geodesy::lattice::{Axis, Lattice, LatticeMap, Plane};
use windfall::geodesy::{Compass, Position};
use windfall::wind::column::WindProfile;
use windfall::wind::grid::{Block, Step};

const FINE_M: f64 = THICKNESS_M / 10.0;
/// Radius of the earth for winds at height and for the meridian circle of the invented winds, m.
const EARTH_M: f64 = 6_371_000.0;

/// A stack of a usual size above a site, in the winds of a block.
struct Case {
    name: &'static str,
    stack: Stack,
    block: Block,
    release: Timestamp,
}

impl Case {
    fn of_file(name: &'static str, file: &str, lat: f64, lon: f64, release: Option<&str>) -> Case {
        let archive = archive(file);
        let site = Position::new(lat, lon).unwrap();
        let release = release.map_or(archive.steps[0].valid, |t| t.parse().unwrap());
        let window = archive.lattice.around(site, 300_000.0).unwrap();
        let block = archive.cut(window, 0..archive.steps.len()).unwrap();
        Case::new(name, block, site, release)
    }

    fn new(name: &'static str, block: Block, site: Position, release: Timestamp) -> Case {
        // The air and the height of the ground stay those of the measured sounding.
        let stack = Stack {
            site,
            ..Stack::at_riverton()
        };
        Case {
            name,
            stack,
            block,
            release,
        }
    }

    fn field(&self, thickness_m: f64) -> FlightWinds {
        let layers = self.stack.layers(thickness_m);
        let site = self.stack.site;
        let compass = Compass::at(site);
        let field = LayerField::of_block(&self.block, site, self.release, &layers, &compass);
        FlightWinds::Field(Box::new(field.unwrap()))
    }

    /// The flight as the program makes it.
    fn planned(&self) -> (Flown, Vec<Moment>) {
        let model = FlightModel {
            winds: self.field(THICKNESS_M),
            ..self.stack.balloon_model(THICKNESS_M)
        };
        let flown = fly(&model, &Variation::NONE);
        let mut track = Vec::new();
        let mut keep = |m: Moment| track.push(m);
        model
            .fly(
                &Variation::NONE,
                Departures::NONE,
                &mut Scratch::default(),
                Some(&mut keep),
            )
            .unwrap();
        (flown, track)
    }
}

fn fly(model: &FlightModel, v: &Variation) -> Flown {
    model
        .fly(v, Departures::NONE, &mut Scratch::default(), None)
        .unwrap()
}

const CERTAIN: RiseSpread = RiseSpread {
    lift: 0.0,
    drag: 0.0,
    ln_re0: 0.0,
};

/// A model of one variation whose rise is the climb itself at this thickness, and what is left to
/// vary.
fn direct(
    stack: &Stack,
    v: &Variation,
    thickness_m: f64,
    winds: &FlightWinds,
) -> (FlightModel, Variation) {
    let mut plan = stack.plan;
    plan.climber = plan.varied(v.rise.lift, v.rise.drag, v.rise.ln_re0);
    let model = FlightModel {
        winds: winds.clone(),
        ..stack.model(stack.rise(&plan, CERTAIN, thickness_m), thickness_m)
    };
    let rest = Variation {
        rise: RiseVariation {
            ..RiseVariation::NONE
        },
        ..*v
    };
    (model, rest)
}

fn apart_m(a: &Moment, b: &Moment) -> f64 {
    a.place.position().distance_m(b.place.position())
}

// ---- the integration written here ----

/// The winds of a block, asked at every step.
struct Slow<'a> {
    block: &'a Block,
    map: LatticeMap<'a>,
    profiles: Vec<WindProfile>,
    /// Seconds from the release to each step.
    times_s: Vec<f64>,
}

impl<'a> Slow<'a> {
    fn new(block: &'a Block, release: Timestamp) -> Slow<'a> {
        let seconds = |s: &Step| s.valid.duration_since(release).as_secs_f64();
        Slow {
            block,
            map: block.lattice.map().unwrap(),
            profiles: (0..block.columns_of_member())
                .map(|i| block.winds(i))
                .collect(),
            times_s: block.steps.iter().map(seconds).collect(),
        }
    }

    /// The two steps around a time and the share of the later; one step stands for all times.
    fn time(&self, time_s: f64) -> [(usize, f64); 2] {
        if self.times_s.len() == 1 {
            return [(0, 1.0), (0, 0.0)];
        }
        let later = self.times_s.iter().position(|&t| t > time_s).unwrap();
        let (a, b) = (self.times_s[later - 1], self.times_s[later]);
        let late = (time_s - a) / (b - a);
        [(later - 1, 1.0 - late), (later, late)]
    }

    /// The wind as an earth-fixed vector: each of the four points' winds as the vector it is there,
    /// then weighed.
    fn vector(&self, place: Position, z: f64, time_s: f64) -> [f64; 3] {
        let [row, column] = self.map.row_column(place).unwrap();
        let (rows, columns) = (self.block.lattice.y.count, self.block.lattice.x.count);
        let row0 = (row.floor() as usize).min(rows - 2);
        let north = row - row0 as f64;
        let column0 = column.floor();
        let east = column - column0;
        let mut sum = [0.0; 3];
        for (step, share) in self.time(time_s) {
            for (row, share) in [(row0, share * (1.0 - north)), (row0 + 1, share * north)] {
                for (way, share) in [(0, share * (1.0 - east)), (1, share * east)] {
                    let column = (column0 as usize + way) % columns;
                    let wind = self.profiles[self.block.column(0, step, row, column)].at(z);
                    let [e, n] = self
                        .map
                        .position(row as f64, column as f64)
                        .unwrap()
                        .east_north();
                    for k in 0..3 {
                        sum[k] += share * (wind.east_m_s * e[k] + wind.north_m_s * n[k]);
                    }
                }
            }
        }
        sum
    }

    /// Where the air carries what starts `from` in `seconds`, along a geodesic.
    fn carried(&self, from: Position, wind: [f64; 3], z: f64, seconds: f64) -> Position {
        let dot = |a: [f64; 3]| (0..3).map(|k| a[k] * wind[k]).sum::<f64>();
        let [east, north] = from.east_north().map(dot);
        let way_m = east.hypot(north) * seconds * EARTH_M / (EARTH_M + z);
        from.destination(east.atan2(north).to_degrees(), way_m)
    }

    /// The landing of a flight that is at these altitudes at these times.
    fn landing(&self, start: Position, heights: &[(f64, f64)]) -> Position {
        let mut place = start;
        for pair in heights.windows(2) {
            let ((t0, z0), (t1, z1)) = (pair[0], pair[1]);
            let dt = t1 - t0;
            let wind = self.vector(place, z0, t0);
            let middle = self.carried(place, wind, z0, 0.5 * dt);
            let (z, t) = (0.5 * (z0 + z1), 0.5 * (t0 + t1));
            let wind = self.vector(middle, z, t);
            place = self.carried(place, wind, z, dt);
        }
        place
    }
}

/// When the planned flight is how high: from layers a tenth as thick, in any wind.
fn heights(stack: &Stack) -> Vec<(f64, f64)> {
    let column = stack
        .model(stack.rise(&stack.plan, CERTAIN, FINE_M), FINE_M)
        .winds;
    let (model, v) = direct(stack, &Variation::NONE, FINE_M, &column);
    let mut heights: Vec<(f64, f64)> = Vec::new();
    let mut keep = |m: Moment| {
        let here = (m.time_s, m.altitude_m);
        if heights.last().is_none_or(|last| m.time_s > last.0) {
            heights.push(here);
        }
    };
    model
        .fly(
            &v,
            Departures::NONE,
            &mut Scratch::default(),
            Some(&mut keep),
        )
        .unwrap();
    assert!(heights.len() > 1_500, "{} moments", heights.len());
    heights
}

fn strongest_wind(block: &Block) -> f64 {
    let speeds = block
        .east_m_s
        .iter()
        .zip(&block.north_m_s)
        .map(|(e, n)| e.hypot(*n));
    f64::from(speeds.fold(0.0, f32::max))
}

/// Flies as planned and holds what must hold of every flight; the landing and how far it is from
/// the integration written here.
fn check(case: &Case) -> (Flown, Vec<Moment>) {
    let (flown, track) = case.planned();
    let fastest = strongest_wind(&case.block);
    for pair in track.windows(2) {
        let seconds = pair[1].time_s - pair[0].time_s;
        // The slope of the wind within a layer counts as time in its neighbours: of the last layer
        // at most a sixteenth of the 60 s it takes. A tenth more for the way at height, on the
        // flattened earth and across a pole.
        let allowed = 1.1 * fastest * (seconds + 4.0);
        assert!(seconds >= 0.0);
        assert!(
            apart_m(&pair[0], &pair[1]) <= allowed,
            "{}: {pair:?}",
            case.name
        );
    }
    let last = track.last().unwrap();
    assert_eq!(flown.landing.altitude_m, case.stack.elevation_m);
    assert!(track.len() > 150);
    assert!(flown.burst.altitude_m > 27_000.0);
    // The track is flown layer by layer, the landing leg by leg.
    let by_layer = apart_m(last, &flown.landing);
    let slow = Slow::new(&case.block, case.release);
    let landing = slow.landing(case.stack.site, &heights(&case.stack));
    let off = flown.landing.place.position().distance_m(landing);
    let drift = case.stack.site.distance_m(flown.landing.place.position());
    println!(
        "{}: drift {:.1} km to {}; {off:.0} m from the slow integration, {by_layer:.0} m from its own track",
        case.name,
        drift / 1_000.0,
        flown.landing.place.position().text()
    );
    assert!(drift > 2_500.0, "{drift}");
    assert!(off < ALLOWED_M, "{}: {off} m", case.name);
    assert!(by_layer < ALLOWED_M, "{}: {by_layer} m", case.name);
    (flown, track)
}

/// Far below the spread of any forecast: the winds of 20 km across are known to some m/s.
const ALLOWED_M: f64 = 300.0;

fn longitudes(track: &[Moment]) -> Vec<f64> {
    track.iter().map(|m| m.place.position().lon_deg).collect()
}

#[test]
fn across_greenwich() {
    let case = Case::of_file("Greenwich", GFS_EUROPE, 47.3, -0.3, None);
    let lons = longitudes(&check(&case).1);
    assert!(lons[0] < 0.0 && *lons.last().unwrap() > 0.0, "{lons:?}");
}

#[test]
fn across_the_date_line() {
    let case = Case::of_file("date line", GFS_2011, 40.0, 179.8, None);
    let lons = longitudes(&check(&case).1);
    assert!(
        lons[0] > 179.0 && *lons.last().unwrap() < -179.5,
        "{lons:?}"
    );
}

#[test]
fn near_both_poles() {
    for (name, lat, lon) in [
        ("north pole", 89.5, 25.0),
        ("south pole", -89.5, 100.0),
        ("at the pole", 90.0, 0.0),
    ] {
        let case = Case::of_file(name, GFS_2011, lat, lon, None);
        check(&case);
    }
}

#[test]
fn on_a_projected_map() {
    let case = Case::of_file("central US", NAM, 41.3, -96.5, None);
    check(&case);
}

#[test]
fn between_the_hours_of_a_reanalysis() {
    let release = Some("2023-10-12T09:40:00Z");
    let case = Case::of_file("Portugal", PORTUGAL_2023, 39.75, -8.85, release);
    check(&case);
}

/// The flights whose steps are made finer: a jet across fine columns, and the rest of the earth.
fn cases_of_steps() -> [Case; 5] {
    let hour = Some("2023-10-12T09:40:00Z");
    [
        Case::of_file("Greenwich", GFS_EUROPE, 47.3, -0.3, None),
        Case::of_file("date line", GFS_2011, 40.0, 179.8, None),
        Case::of_file("north pole", GFS_2011, 89.5, 25.0, None),
        Case::of_file("central US", NAM, 41.3, -96.5, None),
        Case::of_file("Portugal", PORTUGAL_2023, 39.75, -8.75, hour),
    ]
}

/// The planned flight and twenty draws; bursts by altitude for stated rates.
fn variations(stack: &Stack) -> Vec<Variation> {
    let sampler = stack.sampler();
    let mut all = vec![Variation::NONE];
    all.extend((0..20).map(|i| {
        let mut v = sampler.draw(i).variation;
        v.burst_higher_m = 20_000.0 * (v.burst_diameter - 1.0);
        v
    }));
    all
}

/// Distances between landings with layers as the program has them and with layers a tenth as thick:
/// the planned flight's and the largest.
fn errors(case: &Case, landing: impl Fn(&Variation, f64, &FlightWinds) -> Moment) -> [f64; 2] {
    let (coarse, fine) = (case.field(THICKNESS_M), case.field(FINE_M));
    let errors: Vec<f64> = variations(&case.stack)
        .iter()
        .map(|v| {
            apart_m(
                &landing(v, THICKNESS_M, &coarse),
                &landing(v, FINE_M, &fine),
            )
        })
        .collect();
    assert_eq!(errors.len(), 21);
    let largest = errors.iter().copied().fold(0.0, f64::max);
    println!(
        "{}: planned {:.1} m, of 20 draws at most {largest:.1} m",
        case.name, errors[0]
    );
    [errors[0], largest]
}

/// With stated rates both know exactly when they are where, so what differs is the step through the
/// winds alone.
#[test]
fn the_step_through_the_winds_costs_metres() {
    for case in cases_of_steps() {
        let rates = RateTable::new(vec![(0.0, 5.0), (10_000.0, 4.5)]).unwrap();
        let [planned, largest] = errors(&case, |v, thickness_m, winds| {
            let layers = case.stack.layers(thickness_m);
            let v = Variation {
                burst_diameter: 1.0,
                ..*v
            };
            let model = FlightModel {
                winds: winds.clone(),
                ..case
                    .stack
                    .model(Rise::stated(&rates, 29_000.0, &layers), thickness_m)
            };
            fly(&model, &v).landing
        });
        assert!(planned < 20.0 && largest < 20.0, "{}", case.name);
    }
}

/// With the climb of the balloon itself.
#[test]
fn step_and_climb_together_cost_metres() {
    for case in cases_of_steps() {
        let [planned, largest] = errors(&case, |v, thickness_m, winds| {
            let v = Variation {
                burst_higher_m: 0.0,
                ..*v
            };
            let (model, rest) = direct(&case.stack, &v, thickness_m, winds);
            fly(&model, &rest).landing
        });
        assert!(planned < 20.0 && largest < 20.0, "{}", case.name);
    }
}

// ---- invented winds around the pole ----

/// A grid around the north pole whose wind is a function of place, the same at all heights.
fn polar(wind: impl Fn(Position) -> [f64; 2]) -> Block {
    let lattice = Lattice {
        plane: Plane::LatLon,
        x: Axis {
            first: 0.0,
            step: 2.5,
            count: 144,
        },
        y: Axis {
            first: 82.5,
            step: 2.5,
            count: 4,
        },
    };
    let (mut east, mut north) = (Vec::new(), Vec::new());
    for row in 0..lattice.y.count {
        for column in 0..lattice.x.count {
            let (lat, lon) = (lattice.y.value(row), lattice.x.value(column));
            let [e, n] = wind(Position::new(lat, lon).unwrap());
            east.extend([e as f32; 2]);
            north.extend([n as f32; 2]);
        }
    }
    let count = 4 * 144;
    let array = |values| Array2::from_shape_vec((count, 2), values).unwrap();
    Block {
        lattice,
        steps: vec![Step {
            valid: "2020-01-01T00:00:00Z".parse().unwrap(),
            run: None,
        }],
        members: vec![None],
        left_out: Vec::new(),
        pressures_pa: vec![1e5, 1e3],
        altitude_m: array([0.0, 40_000.0].repeat(count)),
        east_m_s: array(east),
        north_m_s: array(north),
        temperature_k: None,
        vapour_pressure_pa: None,
        ground: None,
    }
}

/// Air that turns about the pole as a solid body carries a flight round at its own distance.
#[test]
fn a_solid_body_turns_about_the_pole() {
    const TURN_PER_S: f64 = 1e-4;
    // Distance from the axis near the pole, by the radius of curvature there (WGS84, a^2 / b).
    const AT_POLE_M: f64 = 6_399_594.0;
    let block = polar(|p| [TURN_PER_S * AT_POLE_M * p.lat_deg.to_radians().cos(), 0.0]);
    let release = block.steps[0].valid;
    let case = Case::new(
        "solid body",
        block,
        Position::new(89.5, 30.0).unwrap(),
        release,
    );
    let (flown, _) = case.planned();
    let landing = flown.landing.place.position();
    let turned = (landing.lon_deg - 30.0).to_radians();
    let wanted = TURN_PER_S * flown.landing.time_s;
    println!(
        "solid body: {:.4} N after {:.1} degrees",
        landing.lat_deg,
        turned.to_degrees()
    );
    // The wind is carried round at height, 0.2 % slower over the ground on average, and the chord
    // between columns 2.5 degrees apart is shorter than the arc by 0.02 %.
    assert!((turned.rem_euclid(std::f64::consts::TAU) / wanted - 1.0).abs() < 5e-3);
    // 0.5 degrees are 55.8 km: held to 30 m.
    let pole = Position::new(90.0, 0.0).unwrap();
    let away = landing.distance_m(pole) - case.stack.site.distance_m(pole);
    assert!(away.abs() < 30.0, "{away} m");
}

/// Air that streams straight across the pole carries a flight straight across.
#[test]
fn a_stream_across_the_pole_goes_straight() {
    const SPEED_M_S: f64 = 15.0;
    // Towards the pole along 30 E and away from it along 150 W.
    let block = polar(|p| {
        let from = (p.lon_deg - 30.0).to_radians();
        [SPEED_M_S * from.sin(), SPEED_M_S * from.cos()]
    });
    let release = block.steps[0].valid;
    let case = Case::new("stream", block, Position::new(89.5, 30.0).unwrap(), release);
    let (flown, _) = case.planned();
    let landing = flown.landing.place.position();
    let wanted = SPEED_M_S * flown.landing.time_s;
    let way = case.stack.site.distance_m(landing);
    println!("stream: {way:.0} m of {wanted:.0} m, to {}", landing.text());
    assert!((landing.lon_deg + 150.0).abs() < 0.2, "{landing:?}");
    // At a height of 15 km on average the same angle is a longer way: 0.2 %.
    assert!((way / wanted - 1.0).abs() < 5e-3, "{way} {wanted}");
}
