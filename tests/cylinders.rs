//! What is in a gas cylinder.
//!
//! Values computed with CoolProp 8.0.0 (reference equations of state), gauge pressures over an
//! atmosphere of 101,325 Pa.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use windfall::atmosphere::{Air, P0_PA};
use windfall::units::ZERO_CELSIUS_K;
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas};
use windfall::vehicle::cylinder::Cylinders;
use windfall::vehicle::real_gas::{compressibility, density_mol_m3};

/// Gas, bar on the gauge, celsius, Z to the digits given.
const COMPRESSIBILITY: [(Gas, f64, f64, f64); 12] = [
    (Gas::Helium, 200.0, 0.0, 1.1033),
    (Gas::Helium, 200.0, 15.0, 1.0975),
    (Gas::Helium, 200.0, 20.0, 1.0956),
    (Gas::Helium, 150.0, 0.0, 1.0780),
    (Gas::Helium, 150.0, 15.0, 1.0736),
    (Gas::Helium, 150.0, 20.0, 1.0722),
    (Gas::Helium, 300.0, 0.0, 1.1531),
    (Gas::Helium, 300.0, 15.0, 1.1445),
    (Gas::Helium, 300.0, 20.0, 1.1418),
    (Gas::Hydrogen, 200.0, 0.0, 1.1324),
    (Gas::Hydrogen, 200.0, 15.0, 1.1271),
    (Gas::Hydrogen, 200.0, 20.0, 1.1254),
];

#[test]
fn compressibility_to_the_digits_given() {
    for (gas, bar, celsius, z) in COMPRESSIBILITY {
        let pressure = 1e5 * bar + P0_PA;
        let found = compressibility(gas, pressure, celsius + ZERO_CELSIUS_K).unwrap();
        assert!(
            (found - z).abs() <= 5.1e-5,
            "{gas:?} {bar} bar {celsius} C: {found}"
        );
    }
}

/// mol/m3 to ten digits, where a slip in a coefficient would show.
#[test]
fn densities_to_a_hundred_millionth() {
    for (gas, bar, celsius, mol_m3) in [
        (Gas::Helium, 200.0, 0.0, 8022.237975553364),
        (Gas::Helium, 200.0, 15.0, 7645.122717232199),
        (Gas::Helium, 150.0, 15.0, 5871.023697799204),
        (Gas::Helium, 300.0, 15.0, 10978.320362775119),
        (Gas::Helium, 200.0, -20.0, 8587.141567027315),
        (Gas::Helium, 10.0, 15.0, 457.1928711639593),
        (Gas::Hydrogen, 200.0, 15.0, 7444.208576035785),
        (Gas::Hydrogen, 150.0, 15.0, 5760.178252316271),
        (Gas::Hydrogen, 300.0, 15.0, 10521.942150596862),
        (Gas::Hydrogen, 200.0, -20.0, 8377.561379526886),
        (Gas::Hydrogen, 10.0, 15.0, 456.67048526134545),
    ] {
        let kelvin = celsius + ZERO_CELSIUS_K;
        let found = density_mol_m3(gas, 1e5 * bar + P0_PA, kelvin).unwrap();
        assert!(
            (found / mol_m3 - 1.0).abs() < 1e-8,
            "{gas:?} {bar} {celsius}: {found}"
        );
    }
}

fn cylinder(bar: f64) -> Cylinders {
    Cylinders {
        count: 1,
        water_volume_m3: 0.05,
        gauge_pa: 1e5 * bar,
        temperature_k: 288.15,
    }
}

/// Volume at 15 C and 1 atm of an amount as an ideal gas: what the balloon takes.
fn free_m3(gas: Gas, amount_mol: f64) -> f64 {
    let gas = LiftingGas { gas, purity: 1.0 };
    GasFill { gas, amount_mol }.volume_m3(288.15, P0_PA)
}

/// 50 L at 15 C, m3 at 15 C and 1 atm: within 0.1 %; the ideal gas law would say 9.919 of 200 bar,
/// 9.7 % too much of helium.
#[test]
fn contents_within_a_thousandth() {
    for (gas, bar, m3) in [
        (Gas::Helium, 200.0, 9.043),
        (Gas::Hydrogen, 200.0, 8.806),
        (Gas::Helium, 150.0, 6.944),
        (Gas::Helium, 300.0, 12.986),
    ] {
        let held = free_m3(gas, cylinder(bar).content_mol(gas, P0_PA).unwrap());
        println_row(&format!("{gas:?} 50 L {bar} bar"), held, m3);
        assert!((held / m3 - 1.0).abs() < 0.001, "{gas:?} {bar}: {held}");
    }
    let gives = free_m3(
        Gas::Helium,
        cylinder(200.0).gives_mol(Gas::Helium, P0_PA).unwrap(),
    );
    assert!((gives / 8.993 - 1.0).abs() < 0.001, "{gives}");
    let ideal = GasFill::of_volume(
        LiftingGas {
            gas: Gas::Helium,
            purity: 1.0,
        },
        0.05,
        &Air::dry(288.15, 2e7 + P0_PA),
    );
    let ideal = free_m3(Gas::Helium, ideal.amount_mol);
    assert!((ideal / 9.919 - 1.0).abs() < 5e-4, "{ideal}");
    let over = ideal
        / free_m3(
            Gas::Helium,
            cylinder(200.0).content_mol(Gas::Helium, P0_PA).unwrap(),
        );
    assert!((over - 1.097).abs() < 1e-3, "{over}");
}

#[allow(clippy::print_stdout, reason = "tables for whoever runs the tests")]
fn println_row(what: &str, found: f64, expected: f64) {
    println!("{what}: {found:.3} m3, expected {expected:.3}");
}

/// Densities of the real gases at 1 atm, kg/m3 (CoolProp), to the digits given. With the lift of
/// the ideal gases (`tests/lift.rs`) this is why the balloon itself may be ideal.
#[test]
fn at_one_atmosphere() {
    for (celsius, helium, hydrogen) in [
        (0.0, 0.17848, 0.08988),
        (15.0, 0.16920, 0.08520),
        (20.0, 0.16631, 0.08375),
    ] {
        for (gas, density) in [(Gas::Helium, helium), (Gas::Hydrogen, hydrogen)] {
            let mol_m3 = density_mol_m3(gas, P0_PA, celsius + ZERO_CELSIUS_K).unwrap();
            let found = mol_m3 * gas.molar_mass_kg_mol();
            assert!((found - density).abs() < 6e-6, "{gas:?} {celsius}: {found}");
        }
    }
}
