//! The climb against a manufacturer's performance table.
//!
//! Source: Totex, performance table of the TA series of rubber balloons, hydrogen fill at sea
//! level (quoted on a secondary page). Its burst heights agree with gas at the temperature of the
//! standard atmosphere, and are geopotential.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "tables for whoever runs the tests")]

mod common;

use std::f64::consts::PI;
use std::sync::Arc;

use windfall::atmosphere::{AirProfile, Geopotential, gravity_m_s2};
use windfall::flight::layers::Layers;
use windfall::flight::rise::{Rise, RisePlan, RiseSpread, RiseTable, RiseVariation};
use windfall::vehicle::ascent::{Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas, sphere_volume_m3};
use windfall::vehicle::burst::Burst;

/// A row of the table: masses in g, diameters in cm.
struct Row {
    balloon_g: f64,
    release_cm: f64,
    gross_g: f64,
    load_g: f64,
    free_g: f64,
    burst_cm: f64,
    burst_m3: f64,
    burst_km: f64,
}

const TABLE: [[f64; 8]; 13] = [
    // balloon g, D release cm, gross g, load g, free g, D burst cm, V burst m3, burst km
    [200.0, 117.0, 960.0, 250.0, 510.0, 300.0, 14.1, 21.2],
    [300.0, 123.0, 1110.0, 250.0, 560.0, 378.0, 28.3, 24.7],
    [350.0, 125.0, 1185.0, 250.0, 585.0, 412.0, 36.6, 25.9],
    [450.0, 130.0, 1335.0, 250.0, 635.0, 472.0, 55.1, 27.7],
    [500.0, 133.0, 1405.0, 250.0, 655.0, 499.0, 65.1, 28.4],
    [600.0, 142.0, 1720.0, 250.0, 870.0, 602.0, 114.2, 30.8],
    [700.0, 146.0, 1870.0, 250.0, 920.0, 653.0, 145.8, 31.8],
    [800.0, 150.0, 2020.0, 250.0, 970.0, 700.0, 179.6, 32.6],
    [1000.0, 157.0, 2310.0, 250.0, 1060.0, 786.0, 254.3, 33.9],
    [1200.0, 179.0, 3440.0, 1050.0, 1190.0, 863.0, 336.5, 33.2],
    [1500.0, 185.0, 3830.0, 1050.0, 1280.0, 944.0, 440.5, 34.2],
    [2000.0, 195.0, 4470.0, 1050.0, 1420.0, 1054.0, 613.1, 35.4],
    [3000.0, 212.0, 5720.0, 1050.0, 1670.0, 1300.0, 1150.3, 37.9],
];

/// The rate of ascent of every row, m/s: 320 m/min.
const TABLE_RATE_M_S: f64 = 320.0 / 60.0;

fn rows() -> impl Iterator<Item = Row> {
    TABLE.iter().map(
        |&[
            balloon_g,
            release_cm,
            gross_g,
            load_g,
            free_g,
            burst_cm,
            burst_m3,
            burst_km,
        ]| Row {
            balloon_g,
            release_cm,
            gross_g,
            load_g,
            free_g,
            burst_cm,
            burst_m3,
            burst_km,
        },
    )
}

impl Row {
    /// The stack with so much free lift in hydrogen or helium, at standard sea level.
    fn plan(&self, gas: Gas, free_g: f64, drag: DragCurve, heat: GasHeat) -> RisePlan {
        let gas = LiftingGas { gas, purity: 1.0 };
        let dead_mass_kg = (self.balloon_g + self.load_g) / 1_000.0;
        let gross_lift_kg = dead_mass_kg + free_g / 1_000.0;
        RisePlan {
            climber: Climber {
                dead_mass_kg,
                fill: GasFill::of_gross_lift(gas, gross_lift_kg, &AirProfile::standard().at(0.0)),
                drag,
                drag_factor: 1.0,
                heat,
            },
            balloon_kg: self.balloon_g / 1_000.0,
            gross_lift_kg,
        }
    }

    fn as_listed(&self, heat: GasHeat) -> RisePlan {
        self.plan(Gas::Hydrogen, self.free_g, DragCurve::FITTED, heat)
    }

    fn burst_m(&self, plan: &RisePlan) -> f64 {
        burst_m(plan, self.burst_cm / 100.0)
    }
}

/// Geometric altitude at which the library has the balloon burst.
fn burst_m(plan: &RisePlan, burst_diameter_m: f64) -> f64 {
    let air = AirProfile::standard();
    let layers = Layers::covering(0.0, 45_000.0, 200.0);
    let spread = RiseSpread {
        lift: 0.0,
        drag: 0.0,
        ln_re0: 0.0,
    };
    let rise = Rise::Balloon {
        table: Arc::new(RiseTable::new(plan, spread, &air, &layers)),
        burst: Burst::Diameter {
            diameter_m: burst_diameter_m,
        },
    };
    rise.of(&layers, &RiseVariation::NONE, 1.0, 0.0, &mut Vec::new())
        .expect("it bursts")
}

fn geopotential_km(altitude_m: f64) -> f64 {
    Geopotential::standard(altitude_m).0 / 1_000.0
}

/// Mean rate in m/s up to an altitude, and the rate at release.
fn rates(climber: &Climber, up_to_m: f64) -> (f64, f64) {
    let count = (up_to_m / 100.0) as usize;
    let climb = climber.climb(&AirProfile::standard(), 0.0, 100.0, count);
    let seconds: f64 = climb.seconds.iter().sum();
    (up_to_m / seconds, climb.states[0].rate_m_s)
}

#[test]
fn gross_lift_is_the_sum_exactly() {
    for row in rows() {
        assert_eq!(row.gross_g, row.balloon_g + row.load_g + row.free_g);
        let plan = row.as_listed(GasHeat::AirTemperature);
        let gross = plan
            .climber
            .fill
            .gross_lift_kg(&AirProfile::standard().at(0.0));
        assert!((gross * 1_000.0 - row.gross_g).abs() < 1e-9, "{gross}");
        // The printed volumes are those of the printed diameters, to their digits.
        let volume = sphere_volume_m3(row.burst_cm / 100.0);
        assert!((volume - row.burst_m3).abs() < 0.15, "{volume}");
        // The fill takes the release diameter printed, which has three digits: 1 cm.
        let released = 100.0
            * plan
                .climber
                .climb(&AirProfile::standard(), 0.0, 1.0, 1)
                .states[0]
                .diameter_m;
        assert!((released - row.release_cm).abs() < 1.0, "{released}");
    }
}

/// Within 0.15 km (geopotential) of the table in every row.
#[test]
fn gas_at_air_temperature_bursts_where_the_table_says() {
    for row in rows() {
        let km = geopotential_km(row.burst_m(&row.as_listed(GasHeat::AirTemperature)));
        println!("{:5} g: {km:.2} km, table {}", row.balloon_g, row.burst_km);
        assert!(
            (km - row.burst_km).abs() <= 0.15,
            "{} g: {km}",
            row.balloon_g
        );
    }
}

/// With the gas temperature as a state the gas is 3 to 6 K colder than the air at 20 km, as it
/// cools by expansion and gets its heat back slowly. Colder gas is a smaller sphere at the same
/// pressure, which reaches its burst diameter higher up: by 104 m for the smallest balloon, which
/// rises as fast but has little gas for its skin, up to 261 m for the largest.
///
/// Expected differences: an independent program of the same equations (50 m steps).
#[test]
fn lagging_gas_bursts_higher_row_by_row() {
    let expected = [
        104.0, 116.0, 121.0, 130.0, 134.0, 156.0, 164.0, 180.0, 196.0, 205.0, 217.0, 232.0, 261.0,
    ];
    println!("balloon g, burst km geopotential: air temperature, model, table; difference m");
    for (row, expected) in rows().zip(expected) {
        let textbook = row.burst_m(&row.as_listed(GasHeat::AirTemperature));
        let model = row.burst_m(&row.as_listed(GasHeat::Convective));
        let difference = model - textbook;
        println!(
            "{:5} {:.2} {:.2} {:.1} {difference:+.0}",
            row.balloon_g,
            geopotential_km(textbook),
            geopotential_km(model),
            row.burst_km
        );
        assert!(
            (difference - expected).abs() < 30.0,
            "{} g: {difference}",
            row.balloon_g
        );
        // Colder, so higher; and nowhere 0.3 km from the table.
        assert!((geopotential_km(model) - row.burst_km).abs() < 0.3);
    }
}

/// The table has 320 m/min in every row, nominal, and does not say where. Rates at release are held
/// in `tests/known_lift.rs`; means over the lowest 5 and 10 km depart by 13 and 15 % at most (small
/// balloons, whose drag rises early), and by less than 5 % on average over the rows.
#[test]
fn rate_of_ascent_of_the_table() {
    println!("balloon g, m/min: release, mean to 5 km, mean to 10 km");
    let (mut off_5, mut off_10) = (Vec::new(), Vec::new());
    for row in rows() {
        let climber = row.as_listed(GasHeat::Convective).climber;
        let (mean_5, release) = rates(&climber, 5_000.0);
        let (mean_10, _) = rates(&climber, 10_000.0);
        println!(
            "{:5} {:.0} {:.0} {:.0}",
            row.balloon_g,
            60.0 * release,
            60.0 * mean_5,
            60.0 * mean_10
        );
        off_5.push(mean_5 / TABLE_RATE_M_S - 1.0);
        off_10.push(mean_10 / TABLE_RATE_M_S - 1.0);
    }
    for (off, allowed) in [(&off_5, 0.13), (&off_10, 0.15)] {
        assert!(off.iter().all(|o| o.abs() < allowed), "{off:?}");
        assert!(
            (off.iter().sum::<f64>() / off.len() as f64).abs() < 0.05,
            "{off:?}"
        );
    }
}

/// The drag coefficient that the table implies at release, Cd = 2 F g / (rho A v^2): 0.265 to
/// 0.309, with the release diameters as printed. The model's at release is within 30 % of it.
#[test]
fn the_table_implies_the_lower_plateau_of_the_drag_curve() {
    let rho = AirProfile::standard().at(0.0).density_kg_m3;
    for row in rows() {
        let area = PI / 4.0 * (row.release_cm / 100.0).powi(2);
        let cd = 2.0 * row.free_g / 1_000.0 * gravity_m_s2(0.0)
            / (rho * area * TABLE_RATE_M_S * TABLE_RATE_M_S);
        assert!((0.2645..0.3095).contains(&cd), "{} g: {cd}", row.balloon_g);
        let climber = row.as_listed(GasHeat::AirTemperature).climber;
        let modelled = climber.climb(&AirProfile::standard(), 0.0, 100.0, 1).states[0];
        let off = modelled.drag_coefficient / cd - 1.0;
        assert!(off.abs() < 0.30, "{} g: {off:+.2}", row.balloon_g);
    }
}

fn row_of_1000_g() -> Row {
    rows().find(|r| r.balloon_g == 1_000.0).expect("a row")
}

/// The 1,000 g row filled with helium for the same gross lift; closed form with gas at air
/// temperature and Cd 0.308: 2.188 m3, 33.59 km geometric, 33.41 km geopotential, 5.20 m/s.
#[test]
fn the_same_balloon_in_helium() {
    let row = row_of_1000_g();
    let drag = DragCurve::constant(0.308);
    let plan = row.plan(Gas::Helium, row.free_g, drag, GasHeat::AirTemperature);
    let ground = AirProfile::standard().at(0.0);
    let volume = plan
        .climber
        .fill
        .volume_m3(ground.temperature_k, ground.pressure_pa);
    assert!((volume - 2.188).abs() < 1e-3, "{volume}");
    let burst = row.burst_m(&plan);
    assert!((burst / 1_000.0 - 33.59).abs() < 0.01, "{burst}");
    assert!((geopotential_km(burst) - 33.41).abs() < 0.01, "{burst}");
    let (_, rate) = rates(&plan.climber, 1_000.0);
    assert!((rate - 5.20).abs() < 0.01, "{rate}");
}

/// An error of the free lift changes rate and burst (1,000 g row, closed form, constant drag, gas
/// at air temperature): g, factor on the rate at release, m of burst altitude.
#[test]
fn sensitivity_to_lift() {
    let row = row_of_1000_g();
    let drag = DragCurve::constant(0.308);
    let with = |free_g| row.plan(Gas::Hydrogen, free_g, drag, GasHeat::AirTemperature);
    let planned = with(row.free_g);
    let (rate, burst) = (rates(&planned.climber, 1_000.0).1, row.burst_m(&planned));
    for (error_g, factor, metres) in [
        (-100.0, 0.9658, 284.0),
        (-50.0, 0.9833, 140.0),
        (50.0, 1.0160, -137.0),
        (100.0, 1.0314, -271.0),
    ] {
        let off = with(row.free_g + error_g);
        let found = rates(&off.climber, 1_000.0).1 / rate;
        assert!((found - factor).abs() < 6e-5, "{error_g} g: {found}");
        let higher = row.burst_m(&off) - burst;
        assert!((higher - metres).abs() < 1.5, "{error_g} g: {higher}");
    }
}

/// An error of the burst diameter: dz = 3 H dD / D, with the scale height H of the density of the
/// standard atmosphere, km: 6.30 at 20 km, 6.35 at 25, 6.50 at 30, 6.34 at 33, 6.47 at 35; so 1 %
/// is 0.19 km.
#[test]
fn sensitivity_to_burst_diameter() {
    let plan = row_of_1000_g().plan(
        Gas::Hydrogen,
        1_060.0,
        DragCurve::constant(0.308),
        GasHeat::AirTemperature,
    );
    let air = AirProfile::standard();
    let released = plan
        .climber
        .fill
        .volume_m3(air.at(0.0).temperature_k, air.at(0.0).pressure_pa);
    for (km, scale_km) in [
        (20.0, 6.30),
        (25.0, 6.35),
        (30.0, 6.50),
        (33.0, 6.34),
        (35.0, 6.47),
    ] {
        let thinness = air.at(0.0).density_kg_m3 / air.at(1_000.0 * km).density_kg_m3;
        let diameter = (6.0 / PI * released * thinness).cbrt();
        // One percent more against one percent less, so that the curvature drops out.
        let per_percent = 0.5 * (burst_m(&plan, 1.01 * diameter) - burst_m(&plan, 0.99 * diameter));
        let expected = 30.0 * scale_km;
        assert!(
            (per_percent / expected - 1.0).abs() < 0.015,
            "{km} km: {per_percent}"
        );
        assert!(
            (per_percent / 190.0 - 1.0).abs() < 0.04,
            "{km} km: {per_percent}"
        );
    }
}
