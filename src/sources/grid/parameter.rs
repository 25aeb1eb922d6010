//! The numbers that name a quantity in GRIB, which other formats carry along.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: GRIB edition 2 code tables 4.2 and 4.5; GRIB edition 1
//! code tables 2 and 3. ECMWF's local table 2, version 128 (parameters of the same numbers in its
//! own archive) and 228; names and spans of its gusts as in ecCodes 2.50.

use crate::atmosphere::G0_M_S2;
use crate::numeric::nearest_whole;
use crate::wind::slab::{Quantity, Span, Surface};

/// What a number stands for, and what its unit is in ours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Meaning {
    pub quantity: Quantity,
    /// Our unit for one of the file's.
    pub unit: f64,
    /// Where the parameter is by its number alone.
    pub surface: Option<Surface>,
    /// Which time it is of by its number alone.
    pub span: Span,
}

impl Meaning {
    const fn si(quantity: Quantity) -> Meaning {
        Meaning {
            quantity,
            unit: 1.0,
            surface: None,
            span: Span::Moment,
        }
    }

    const fn in_unit(quantity: Quantity, unit: f64) -> Meaning {
        Meaning {
            unit,
            ..Meaning::si(quantity)
        }
    }

    const fn at(quantity: Quantity, surface: Surface) -> Meaning {
        Meaning {
            surface: Some(surface),
            ..Meaning::si(quantity)
        }
    }

    /// The strongest gusts over some time.
    const fn gust(span: Span) -> Meaning {
        Meaning {
            span,
            ..Meaning::at(Quantity::Gust, Surface::Ground)
        }
    }
}

/// Geopotential metres for one m2/s2.
pub(super) const GEOPOTENTIAL: f64 = 1.0 / G0_M_S2;
const PERCENT: f64 = 0.01;

/// GRIB 2: discipline, category and number.
pub(super) fn grib2(discipline: u8, category: u8, number: u8) -> Option<Meaning> {
    Some(match (discipline, category, number) {
        (0, 0, 0) => Meaning::si(Quantity::Temperature),
        (0, 1, 0) => Meaning::si(Quantity::SpecificHumidity),
        (0, 1, 1) => Meaning::in_unit(Quantity::RelativeHumidity, PERCENT),
        (0, 2, 0) => Meaning::si(Quantity::WindFrom),
        (0, 2, 1) => Meaning::si(Quantity::WindSpeed),
        (0, 2, 2) => Meaning::si(Quantity::EastWind),
        (0, 2, 3) => Meaning::si(Quantity::NorthWind),
        (0, 2, 22) => Meaning::at(Quantity::Gust, Surface::Ground),
        (0, 3, 0) => Meaning::si(Quantity::Pressure),
        (0, 3, 4) => Meaning::in_unit(Quantity::Height, GEOPOTENTIAL),
        (0, 3, 5) => Meaning::si(Quantity::Height),
        _ => return None,
    })
}

/// GRIB 1: table version, centre and number.
pub(super) fn grib1(table: u8, centre: u8, number: u8) -> Option<Meaning> {
    match (table, centre) {
        (128, 98) => ecmwf(u64::from(number)),
        // Numbers from 128 on are each centre's own.
        (1..=3, 7) if number == 180 => Some(Meaning::at(Quantity::Gust, Surface::Ground)),
        (228, 98) => ecmwf(228_000 + u64::from(number)),
        (1..=3, _) => wmo(number),
        _ => None,
    }
}

/// ECMWF's parameter numbers, those below 256 as in table 128.
pub(super) fn ecmwf(number: u64) -> Option<Meaning> {
    Some(match number {
        129 => Meaning::in_unit(Quantity::Height, GEOPOTENTIAL),
        130 => Meaning::si(Quantity::Temperature),
        131 => Meaning::si(Quantity::EastWind),
        132 => Meaning::si(Quantity::NorthWind),
        133 => Meaning::si(Quantity::SpecificHumidity),
        134 => Meaning::at(Quantity::Pressure, Surface::Ground),
        156 => Meaning::si(Quantity::Height),
        157 => Meaning::in_unit(Quantity::RelativeHumidity, PERCENT),
        165 => Meaning::at(Quantity::EastWind, Surface::AboveGround(10)),
        166 => Meaning::at(Quantity::NorthWind, Surface::AboveGround(10)),
        167 => Meaning::at(Quantity::Temperature, Surface::AboveGround(2)),
        49 => Meaning::gust(Span::SinceLast),
        123 => Meaning::gust(Span::Before(6 * 3_600)),
        228_028 => Meaning::gust(Span::Before(3 * 3_600)),
        228_029 => Meaning::gust(Span::Moment),
        _ => return None,
    })
}

/// The international table of GRIB 1, the same in versions 1 to 3 for these numbers.
fn wmo(number: u8) -> Option<Meaning> {
    Some(match number {
        1 => Meaning::si(Quantity::Pressure),
        6 => Meaning::in_unit(Quantity::Height, GEOPOTENTIAL),
        7 => Meaning::si(Quantity::Height),
        11 => Meaning::si(Quantity::Temperature),
        31 => Meaning::si(Quantity::WindFrom),
        32 => Meaning::si(Quantity::WindSpeed),
        33 => Meaning::si(Quantity::EastWind),
        34 => Meaning::si(Quantity::NorthWind),
        51 => Meaning::si(Quantity::SpecificHumidity),
        52 => Meaning::in_unit(Quantity::RelativeHumidity, PERCENT),
        _ => return None,
    })
}

/// Where values are: gusts are given at the ground or at 10 m, and are of one kind.
pub(super) fn placed(quantity: Quantity, surface: Surface) -> Surface {
    match (quantity, surface) {
        (Quantity::Gust, Surface::AboveGround(10)) => Surface::Ground,
        (_, surface) => surface,
    }
}

/// The surface at a pressure in Pa; `None` when it is no whole number of them, or none a flight
/// meets.
pub(super) fn isobaric(pa: f64) -> Option<Surface> {
    whole(pa, 1.0, 200_000.0).map(Surface::Isobaric)
}

/// The surface this many metres above the ground; `None` when it is no whole number of them.
pub(super) fn above_ground(m: f64) -> Option<Surface> {
    whole(m, 0.0, f64::from(u16::MAX)).map(Surface::AboveGround)
}

fn whole<T: TryFrom<i64>>(value: f64, least: f64, most: f64) -> Option<T> {
    let nearest = value.round();
    // Pressures stored as 32-bit hectopascals are off by some 1e-7 of themselves.
    let close = (value - nearest).abs() <= 1e-3_f64.max(1e-6 * value.abs());
    let nearest = (close && (least..=most).contains(&nearest)).then_some(nearest)?;
    nearest_whole(nearest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_known_by_their_table() {
        assert_eq!(grib1(128, 98, 131).unwrap().quantity, Quantity::EastWind);
        assert_eq!(grib1(2, 7, 33).unwrap().quantity, Quantity::EastWind);
        // The same number of another centre's table 128 is something else.
        assert_eq!(grib1(128, 7, 131), None);
        assert_eq!(grib1(2, 98, 131), None);
        assert_eq!(grib2(2, 0, 0), None);
        let z = grib1(128, 98, 129).unwrap();
        assert!((z.unit * 9.80665 - 1.0).abs() < 1e-15);
    }

    #[test]
    fn surfaces_are_whole() {
        assert_eq!(isobaric(85_000.000_8), Some(Surface::Isobaric(85_000)));
        assert_eq!(isobaric(40.0), Some(Surface::Isobaric(40)));
        assert_eq!(isobaric(0.4), None);
        assert_eq!(isobaric(f64::NAN), None);
        assert_eq!(isobaric(1e30), None);
        assert_eq!(above_ground(10.0), Some(Surface::AboveGround(10)));
        assert_eq!(above_ground(0.1), None);
        assert_eq!(above_ground(-2.0), None);
    }
}
