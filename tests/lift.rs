//! Lift of a cubic metre and the size of a fill.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::assert_digits;
use windfall::atmosphere::{Air, AirProfile, GAS_CONSTANT_J_MOL_K, P0_PA};
use windfall::units::{FOOT_M, POUND_KG, ZERO_CELSIUS_K};
use windfall::vehicle::ascent::{Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas, sphere_diameter_m};

fn pure(gas: Gas) -> LiftingGas {
    LiftingGas { gas, purity: 1.0 }
}

fn air(celsius: f64) -> Air {
    Air::dry(celsius + ZERO_CELSIUS_K, P0_PA)
}

/// Density of a pure gas at the air's temperature and pressure: what its lift leaves of the air's.
fn density(gas: Gas, air: &Air) -> f64 {
    air.density_kg_m3 - pure(gas).lift_kg_m3(air)
}

/// Dry air and ideal gases at 101,325 Pa by celsius: rho air, rho He, rho H2, lift He, lift H2,
/// kg/m3. Computed from p M / (R T) with molar masses 28.9644, 4.002602 and 2.01588 kg/kmol and
/// today's gas constant; see [`OF_GAS_CONSTANT`].
const IDEAL: [(f64, [&str; 5]); 3] = [
    (0.0, ["1.29225", "0.17858", "0.08994", "1.1137", "1.2023"]),
    (15.0, ["1.22498", "0.16928", "0.08526", "1.0557", "1.1397"]),
    (20.0, ["1.20408", "0.16639", "0.08380", "1.0377", "1.1203"]),
];

/// The table has the gas constant of CODATA 2018, the library that of the U.S. Standard Atmosphere,
/// 1976: its densities and lifts are 1.7e-5 larger.
const OF_GAS_CONSTANT: f64 = GAS_CONSTANT_J_MOL_K / 8.314_462_618;

/// The same for real gases (CoolProp 8.0.0).
const REAL: [(f64, [f64; 5]); 3] = [
    (0.0, [1.29307, 0.17848, 0.08988, 1.1146, 1.2032]),
    (15.0, [1.22554, 0.16920, 0.08520, 1.0563, 1.1403]),
    (20.0, [1.20458, 0.16631, 0.08375, 1.0383, 1.1208]),
];

#[test]
fn ideal_gases_to_the_digits_given() {
    for (celsius, [rho, he, h2, lift_he, lift_h2]) in IDEAL {
        let air = air(celsius);
        let what = |of: &str| format!("{of} at {celsius} C");
        let held =
            |value: f64, printed, of| assert_digits(OF_GAS_CONSTANT * value, printed, &what(of));
        held(air.density_kg_m3, rho, "rho air");
        held(density(Gas::Helium, &air), he, "rho He");
        held(density(Gas::Hydrogen, &air), h2, "rho H2");
        let lift = |gas| pure(gas).lift_kg_m3(&air);
        held(lift(Gas::Helium), lift_he, "lift He");
        held(lift(Gas::Hydrogen), lift_h2, "lift H2");
    }
}

/// Air is denser and the light gases are lighter than ideal by less than 0.1 % in all: the error
/// of treating them as ideal.
#[test]
fn real_gases_lift_less_than_a_thousandth_more() {
    for (celsius, [rho, he, h2, lift_he, lift_h2]) in REAL {
        let air = air(celsius);
        assert!((air.density_kg_m3 / rho - 1.0).abs() < 1e-3);
        for (gas, real_density, real_lift) in
            [(Gas::Helium, he, lift_he), (Gas::Hydrogen, h2, lift_h2)]
        {
            let more = real_lift / pure(gas).lift_kg_m3(&air) - 1.0;
            assert!(
                (0.0..1e-3).contains(&more),
                "{gas:?} at {celsius} C: {more}"
            );
            assert!((density(gas, &air) / real_density - 1.0).abs() < 1e-3);
        }
    }
}

/// A supplier's data sheet (unigases.ae): helium 0.165 kg/m3 at 21.1 C and 1 atm, specific gravity
/// 0.138. Three digits are given, with unstated rounding: 1 %.
#[test]
fn a_suppliers_density_of_helium() {
    let air = air(21.1);
    let helium = density(Gas::Helium, &air);
    assert!((helium / 0.165 - 1.0).abs() < 0.01, "{helium}");
    assert!((helium / air.density_kg_m3 / 0.138 - 1.0).abs() < 0.01);
}

/// Handbook figure of 65.5 lb lifted by 1000 ft3 of helium (quoted from C. H. Gibbs-Smith,
/// *Ballooning*, p. 68, at publiclab.org). Temperature and purity unstated: between 10 and 20 C
/// within 2 %.
#[test]
fn a_handbooks_lift_of_helium() {
    let handbook = 65.5 * POUND_KG / (1_000.0 * FOOT_M.powi(3));
    assert!((handbook - 1.049).abs() < 5e-4, "{handbook}");
    for celsius in [10.0, 15.0, 20.0] {
        let lift = pure(Gas::Helium).lift_kg_m3(&air(celsius));
        assert!((lift / handbook - 1.0).abs() < 0.03, "{celsius}: {lift}");
    }
    assert!((pure(Gas::Helium).lift_kg_m3(&air(15.0)) / handbook - 1.0).abs() < 0.01);
}

/// Common practice, no source: a 1,200 g balloon with 9 lb of load and 15 lb of neck lift in
/// helium is about 8 ft across at release and passes 10,000 ft in under 12 minutes.
#[test]
fn common_practice_of_the_trade() {
    let air = AirProfile::standard();
    let (balloon_kg, load_kg, neck_kg) = (1.2, 9.0 * POUND_KG, 15.0 * POUND_KG);
    let ground = air.at(0.0);
    let fill = GasFill::of_gross_lift(pure(Gas::Helium), neck_kg + balloon_kg, &ground);
    let across = sphere_diameter_m(fill.volume_m3(ground.temperature_k, ground.pressure_pa));
    assert!(
        (across / FOOT_M - 8.0).abs() < 0.3,
        "{} ft",
        across / FOOT_M
    );
    let climber = Climber {
        dead_mass_kg: balloon_kg + load_kg,
        fill,
        drag: DragCurve::FITTED,
        drag_factor: 1.0,
        heat: GasHeat::Convective,
    };
    let seconds: f64 = climber
        .climb(&air, 0.0, 10_000.0 * FOOT_M / 20.0, 20)
        .seconds
        .iter()
        .sum();
    // Above half of the bound: an absurdly fast balloon must not pass either.
    assert!((6.0 * 60.0..12.0 * 60.0).contains(&seconds), "{seconds} s");
}
