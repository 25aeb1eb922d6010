//! Interpolation in four dimensions: against loops written here, and on winds that are linear in
//! place and time, which it must give back.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

use jiff::{SignedDuration, Timestamp};
use ndarray::Array2;
use windfall::flight::field::{FIELD_LEG_LAYERS, LayerField};
use windfall::flight::layers::Layers;
use windfall::geodesy::lattice::{Axis, Lattice, Plane};
use windfall::geodesy::{Compass, Position};
use windfall::random::SplitMix;
use windfall::wind::grid::{Block, Step};
use windfall::wind::placing::{Outside, Placing};

const ROWS: usize = 4;
const COLUMNS: usize = 5;
const LEVELS: usize = 12;
const MEMBERS: usize = 2;
const SOUTH: f64 = 39.0;
const WEST: f64 = -9.0;
const SPACING: f64 = 0.25;
/// Hours of the steps after the release; not equally spaced.
const HOURS: [i64; 3] = [-1, 0, 3];

fn release() -> Timestamp {
    "2023-10-12T09:00:00Z".parse().unwrap()
}

/// Random numbers from `low` to `high`.
fn between(random: &mut SplitMix, low: f64, high: f64) -> f64 {
    low + (high - low) * (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// A block whose columns are made by `level`: member, step, row, column and level to altitude, east
/// and north.
fn block(mut level: impl FnMut(usize, usize, usize, usize, usize) -> [f64; 3]) -> Block {
    let axis = |first, count| Axis {
        first,
        step: SPACING,
        count,
    };
    let count = MEMBERS * HOURS.len() * ROWS * COLUMNS;
    let mut values = [0; 3].map(|_| Array2::<f32>::zeros((count, LEVELS)));
    // The order that Block promises: member, time, row, column.
    let mut index = 0;
    for member in 0..MEMBERS {
        for step in 0..HOURS.len() {
            for row in 0..ROWS {
                for column in 0..COLUMNS {
                    for k in 0..LEVELS {
                        let here = level(member, step, row, column, k);
                        for (values, value) in values.iter_mut().zip(here) {
                            values[[index, k]] = value as f32;
                        }
                    }
                    index += 1;
                }
            }
        }
    }
    let [altitude_m, east_m_s, north_m_s] = values;
    Block {
        lattice: Lattice {
            plane: Plane::LatLon,
            x: axis(WEST, COLUMNS),
            y: axis(SOUTH, ROWS),
        },
        steps: HOURS
            .iter()
            .map(|&h| Step {
                valid: release() + SignedDuration::from_hours(h),
                run: None,
            })
            .collect(),
        members: (0..MEMBERS as u32).map(Some).collect(),
        left_out: Vec::new(),
        pressures_pa: (0..LEVELS).map(|k| 1e5 - 8e3 * k as f64).collect(),
        altitude_m,
        east_m_s,
        north_m_s,
        temperature_k: None,
        vapour_pressure_pa: None,
        ground: None,
    }
}

/// Heights that rise by 500 to 2,500 m from level to level, each column's its own; any winds.
fn random_block(random: &mut SplitMix) -> Block {
    let mut z = 0.0;
    block(|_, _, _, _, k| {
        z = if k == 0 {
            between(random, 0.0, 300.0)
        } else {
            z + between(random, 500.0, 2_500.0)
        };
        [
            z,
            between(random, -60.0, 60.0),
            between(random, -60.0, 60.0),
        ]
    })
}

/// A wind interpolated the long way: every column of the block asked how much it counts.
fn slowly(block: &Block, member: usize, lat: f64, lon: f64, hours: f64, z: f64) -> [f64; 2] {
    let hat = |x: f64, node: f64, spacing: f64| (1.0 - (x - node).abs() / spacing).max(0.0);
    let mut sum = [0.0; 2];
    let mut total = 0.0;
    for step in 0..HOURS.len() {
        let at = HOURS[step] as f64;
        let share_of_time = if hours < at {
            let before = if step == 0 {
                f64::NEG_INFINITY
            } else {
                HOURS[step - 1] as f64
            };
            ((hours - before) / (at - before)).max(0.0)
        } else {
            let after = HOURS.get(step + 1).map_or(f64::INFINITY, |&h| h as f64);
            ((after - hours) / (after - at)).clamp(0.0, 1.0)
        };
        for row in 0..ROWS {
            let share_of_lat = hat(lat, SOUTH + SPACING * row as f64, SPACING);
            for column in 0..COLUMNS {
                let share_of_lon = hat(lon, WEST + SPACING * column as f64, SPACING);
                let share = share_of_time * share_of_lat * share_of_lon;
                if share == 0.0 {
                    continue;
                }
                let index = ((member * HOURS.len() + step) * ROWS + row) * COLUMNS + column;
                let wind = of_column(block, index, z);
                sum = [sum[0] + share * wind[0], sum[1] + share * wind[1]];
                total += share;
            }
        }
    }
    assert!((total - 1.0).abs() < 1e-9, "{total}");
    sum
}

/// The wind of one column, linear between its levels, the nearest held outside.
fn of_column(block: &Block, index: usize, z: f64) -> [f64; 2] {
    let level = |k: usize| {
        [
            f64::from(block.altitude_m[[index, k]]),
            f64::from(block.east_m_s[[index, k]]),
            f64::from(block.north_m_s[[index, k]]),
        ]
    };
    if z <= level(0)[0] {
        return [level(0)[1], level(0)[2]];
    }
    for k in 1..LEVELS {
        let (a, b) = (level(k - 1), level(k));
        if z <= b[0] {
            let f = (z - a[0]) / (b[0] - a[0]);
            return [a[1] + f * (b[1] - a[1]), a[2] + f * (b[2] - a[2])];
        }
    }
    [level(LEVELS - 1)[1], level(LEVELS - 1)[2]]
}

/// A random place, hour and altitude within the block.
fn anywhere(random: &mut SplitMix) -> (Position, f64, f64) {
    let lat = between(random, SOUTH, SOUTH + SPACING * (ROWS - 1) as f64);
    let lon = between(random, WEST, WEST + SPACING * (COLUMNS - 1) as f64);
    let hours = between(random, HOURS[0] as f64, HOURS[2] as f64);
    let z = between(random, -100.0, 20_000.0);
    (Position::new(lat, lon).unwrap(), hours, z)
}

/// The wind as flights have it, before layers.
fn found(block: &Block, placing: &Placing, member: usize, at: (Position, f64, f64)) -> [f64; 2] {
    let (place, hours, z) = at;
    let weights = placing.weights(place.normal(), 3_600.0 * hours).unwrap();
    let mut sum = [0.0; 2];
    for (column, weight) in weights.terms() {
        let first = member * block.columns_of_member();
        let wind = block.winds(first + column).at(z);
        sum = [
            sum[0] + weight * wind.east_m_s,
            sum[1] + weight * wind.north_m_s,
        ];
    }
    sum
}

fn site() -> Position {
    Position::new(39.4, -8.45).unwrap()
}

#[test]
fn random_columns_are_interpolated_as_the_long_way() {
    let mut random = SplitMix::stream(4, 0);
    let block = random_block(&mut random);
    let placing = Placing::of_block(&block, site(), release()).unwrap();
    let mut largest = 0.0_f64;
    for k in 0..3_000 {
        let (at, member) = (anywhere(&mut random), k % MEMBERS);
        let ours = found(&block, &placing, member, at);
        let (place, hours, z) = at;
        let wanted = slowly(&block, member, place.lat_deg, place.lon_deg, hours, z);
        largest = largest.max((ours[0] - wanted[0]).hypot(ours[1] - wanted[1]));
    }
    println!("interpolation: {largest:.1e} m/s");
    // Both read the same 32 bits and reckon in 64; a place through its normal is off by 1e-14.
    assert!(largest < 1e-9, "{largest}");
}

/// u = a + b lat + c lon + d z + e t and another for v. Coefficients and nodes are multiples of
/// powers of two, so every value is exact in the 24 bits of a 32-bit number (asserted), and what is
/// left is the rounding of the interpolation itself.
fn linear(lat: f64, lon: f64, z: f64, hours: f64) -> [f64; 2] {
    let (y, x) = (lat - SOUTH, lon - WEST);
    [
        12.0 + 16.0 * y - 8.0 * x + z / 512.0 + 2.0 * hours,
        -6.0 - 4.0 * y + 32.0 * x - z / 1_024.0 + 0.5 * hours,
    ]
}

/// Heights that differ from column to column by multiples of 16 m.
fn linear_block() -> Block {
    block(|member, step, row, column, k| {
        let shift = (7 * row + 5 * column + 3 * step + member) % 11;
        let z = (2_048 * k + 16 * shift) as f64;
        let lat = SOUTH + SPACING * row as f64;
        let lon = WEST + SPACING * column as f64;
        let [east, north] = linear(lat, lon, z, HOURS[step] as f64);
        assert_eq!([east, north], [east, north].map(|w| f64::from(w as f32)));
        [z, east, north]
    })
}

#[test]
fn a_wind_linear_in_place_and_time_is_given_back() {
    let block = linear_block();
    let placing = Placing::of_block(&block, site(), release()).unwrap();
    let mut random = SplitMix::stream(5, 0);
    let mut largest = 0.0_f64;
    for k in 0..3_000 {
        let (place, hours, z) = anywhere(&mut random);
        // Between the highest of the lowest levels and the lowest of the highest.
        let z = 160.0 + (z + 100.0).min(20_100.0);
        let ours = found(&block, &placing, k % MEMBERS, (place, hours, z));
        let wanted = linear(place.lat_deg, place.lon_deg, z, hours);
        let off = (ours[0] - wanted[0]).hypot(ours[1] - wanted[1]);
        largest = largest.max(off / wanted[0].hypot(wanted[1]).max(1.0));
    }
    println!("linear wind: {largest:.1e}");
    assert!(largest < 1e-6, "{largest}");
}

const LAYERS: Layers = Layers {
    base_m: 250.0,
    thickness_m: 300.0,
    count: 60,
};

fn field(block: &Block) -> LayerField {
    LayerField::of_block(block, site(), release(), &LAYERS, &Compass::at(site())).unwrap()
}

/// The layers of a linear wind are its values in their middles; sums are of 32 bits.
#[test]
fn layers_of_a_linear_wind_are_its_values_in_their_middles() {
    let field = field(&linear_block());
    let mut random = SplitMix::stream(6, 0);
    let mut largest = 0.0_f64;
    let mut checked = 0;
    for k in 0..600 {
        let (place, hours, _) = anywhere(&mut random);
        let weights = field.weights(place.normal(), 3_600.0 * hours).unwrap();
        let layer = k % LAYERS.count;
        let mut felt = [0.0; FIELD_LEG_LAYERS];
        felt[layer % FIELD_LEG_LAYERS] = 1.0;
        let ours = field.drift(&weights, k % MEMBERS, layer / FIELD_LEG_LAYERS, &felt);
        let wanted = linear(place.lat_deg, place.lon_deg, LAYERS.middle_m(layer), hours);
        let off = (ours[0] - wanted[0]).hypot(ours[1] - wanted[1]);
        largest = largest.max(off / wanted[0].hypot(wanted[1]).max(1.0));
        checked += 1;
    }
    println!("layers of a linear wind: {largest:.1e}");
    assert_eq!(checked, 600);
    // Eight terms, each rounded to 2^-24 = 6e-8 of winds of much the same size.
    assert!(largest < 1e-6, "{largest}");
}

/// The drift of a leg against the sum, in steps of one metre, of the wind interpolated the long way.
#[test]
fn the_drift_of_a_leg_is_the_integral_of_the_wind() {
    const STEPS: usize = 300;
    let mut random = SplitMix::stream(7, 0);
    let block = random_block(&mut random);
    let field = field(&block);
    let mut largest = 0.0_f64;
    for k in 0..60 {
        let (place, hours, _) = anywhere(&mut random);
        let (member, leg) = (k % MEMBERS, k % (LAYERS.count / FIELD_LEG_LAYERS));
        let felt: [f32; FIELD_LEG_LAYERS] =
            std::array::from_fn(|_| between(&mut random, 40.0, 90.0) as f32);
        let mut wanted = [0.0; 2];
        for (i, &seconds) in felt.iter().enumerate() {
            let low = LAYERS.altitude_m(leg * FIELD_LEG_LAYERS + i);
            for step in 0..STEPS {
                let z = low + LAYERS.thickness_m * (step as f64 + 0.5) / STEPS as f64;
                let wind = slowly(&block, member, place.lat_deg, place.lon_deg, hours, z);
                let dt = f64::from(seconds) / STEPS as f64;
                wanted = [wanted[0] + dt * wind[0], wanted[1] + dt * wind[1]];
            }
        }
        let weights = field.weights(place.normal(), 3_600.0 * hours).unwrap();
        let ours = field.drift(&weights, member, leg, &felt);
        largest = largest.max((ours[0] - wanted[0]).hypot(ours[1] - wanted[1]));
    }
    println!("drift of a leg: {largest:.1e} m");
    // Legs drift up to 15 km. The midpoint rule in steps of 1 m misses a kink at a level by at most
    // 1/8 of the change of slope, 0.24 (m/s)/m and usually far less, for 0.3 s: 9 mm; 32 bits cost
    // a millimetre.
    assert!(largest < 0.01, "{largest}");
}

/// Values that a file does not have are no calm: a place one of whose columns has none is outside,
/// in whichever member, and a column that lacks some levels is interpolated over them.
#[test]
fn missing_columns_are_outside() {
    let gone = |member, row, column| (member, row, column) == (1, 2, 3);
    let mut random = SplitMix::stream(8, 0);
    let mut holed = random_block(&mut random);
    for step in 0..HOURS.len() {
        for member in 0..MEMBERS {
            for row in 0..ROWS {
                for column in 0..COLUMNS {
                    let index = holed.column(member, step, row, column);
                    let mut east = holed.east_m_s.row_mut(index);
                    if gone(member, row, column) {
                        east.fill(f32::NAN);
                    } else {
                        east[LEVELS / 2] = f32::NAN;
                    }
                }
            }
        }
    }
    let field = field(&holed);
    let mut outside = 0;
    for _ in 0..500 {
        let (place, hours, _) = anywhere(&mut random);
        let row = (place.lat_deg - SOUTH) / SPACING;
        let column = (place.lon_deg - WEST) / SPACING;
        let touches = (row - 2.0).abs() < 1.0 && (column - 3.0).abs() < 1.0;
        match field.weights(place.normal(), 3_600.0 * hours) {
            Ok(_) => assert!(!touches, "{place:?}"),
            Err(why) => {
                assert!(touches && why == Outside::Region, "{place:?}");
                outside += 1;
            }
        }
    }
    // Four of twelve cells.
    assert!((130..210).contains(&outside), "{outside}");
}
