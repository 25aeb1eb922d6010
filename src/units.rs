//! Quantities with units, in and out.
//!
//! Inside the library everything is SI `f64`. People write `"6.8 kg"` or `"15 lb"` and read
//! metric or US customary units; this module is the only place that knows both.

mod reading;

use std::fmt;

pub use self::reading::{parse, without_point};

use crate::earth::G0_M_S2;

/// What a quantity measures, and so which units are right for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// Kilograms inside.
    Mass,
    /// Metres inside.
    Length,
    /// Metres a second inside.
    Speed,
    /// Pascals inside.
    Pressure,
    /// Cubic metres inside.
    Volume,
    /// Kelvins inside.
    Temperature,
    /// Seconds inside.
    Time,
    /// Newtons inside; of line strength, where "lb" and "kg" are the weight of these.
    Force,
    /// Kilograms a metre inside: of a line.
    MassPerLength,
    /// Kilograms a square metre inside: a package's mass by its smallest face.
    AreaDensity,
    /// A share; 1 inside is 100 %.
    Ratio,
}

impl Dimension {
    /// The SI unit used inside, as written in messages.
    pub fn si_symbol(self) -> &'static str {
        match self {
            Dimension::Mass => "kg",
            Dimension::Length => "m",
            Dimension::Speed => "m/s",
            Dimension::Pressure => "Pa",
            Dimension::Volume => "m3",
            Dimension::Temperature => "K",
            Dimension::Time => "s",
            Dimension::Force => "N",
            Dimension::MassPerLength => "kg/m",
            Dimension::AreaDensity => "kg/m2",
            Dimension::Ratio => "%",
        }
    }

    fn name(self) -> &'static str {
        match self {
            Dimension::Mass => "a mass",
            Dimension::Length => "a length",
            Dimension::Speed => "a speed",
            Dimension::Pressure => "a pressure",
            Dimension::Volume => "a volume",
            Dimension::Temperature => "a temperature",
            Dimension::Time => "a time",
            Dimension::Force => "a force",
            Dimension::MassPerLength => "a mass by length",
            Dimension::AreaDensity => "a mass by area",
            Dimension::Ratio => "a percentage",
        }
    }
}

struct Unit {
    symbol: &'static str,
    dimension: Dimension,
    /// SI value = (value + offset) x factor.
    factor: f64,
    offset: f64,
}

const fn unit(symbol: &'static str, dimension: Dimension, factor: f64) -> Unit {
    Unit {
        symbol,
        dimension,
        factor,
        offset: 0.0,
    }
}

/// One international foot, in metres (exact, 1959 agreement).
pub const FOOT_M: f64 = 0.3048;
/// One international mile, in metres (exact).
pub const MILE_M: f64 = 1609.344;
/// One nautical mile, in metres (exact).
pub const NAUTICAL_MILE_M: f64 = 1852.0;
/// One knot, in metres a second (exact).
pub const KNOT_M_S: f64 = NAUTICAL_MILE_M / 3600.0;
/// One avoirdupois pound, in kilograms (exact, 1959 agreement).
pub const POUND_KG: f64 = 0.453_592_37;
/// One pound-force, in newtons (exact: a pound by standard gravity).
pub const POUND_FORCE_N: f64 = POUND_KG * G0_M_S2;
/// One cubic foot, in cubic metres (exact).
pub const CUBIC_FOOT_M3: f64 = FOOT_M * FOOT_M * FOOT_M;
/// 0 degrees Celsius, in kelvins.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// Every unit that is understood. Factors are exact by definition, but for psi.
const UNITS: &[Unit] = &[
    unit("g", Dimension::Mass, 1e-3),
    unit("kg", Dimension::Mass, 1.0),
    unit("oz", Dimension::Mass, POUND_KG / 16.0),
    unit("lb", Dimension::Mass, POUND_KG),
    unit("m", Dimension::Length, 1.0),
    unit("cm", Dimension::Length, 0.01),
    unit("mm", Dimension::Length, 1e-3),
    unit("km", Dimension::Length, 1000.0),
    unit("in", Dimension::Length, FOOT_M / 12.0),
    unit("ft", Dimension::Length, FOOT_M),
    unit("mi", Dimension::Length, MILE_M),
    unit("nmi", Dimension::Length, NAUTICAL_MILE_M),
    unit("m/s", Dimension::Speed, 1.0),
    unit("ft/min", Dimension::Speed, FOOT_M / 60.0),
    unit("ft/s", Dimension::Speed, FOOT_M),
    unit("km/h", Dimension::Speed, 1.0 / 3.6),
    unit("mph", Dimension::Speed, MILE_M / 3600.0),
    unit("kt", Dimension::Speed, KNOT_M_S),
    unit("Pa", Dimension::Pressure, 1.0),
    unit("hPa", Dimension::Pressure, 100.0),
    unit("kPa", Dimension::Pressure, 1e3),
    unit("MPa", Dimension::Pressure, 1e6),
    unit("psi", Dimension::Pressure, 6_894.757_293_168),
    unit("bar", Dimension::Pressure, 1e5),
    unit("m3", Dimension::Volume, 1.0),
    unit("ft3", Dimension::Volume, FOOT_M * FOOT_M * FOOT_M),
    unit("L", Dimension::Volume, 1e-3),
    unit("K", Dimension::Temperature, 1.0),
    Unit {
        symbol: "C",
        dimension: Dimension::Temperature,
        factor: 1.0,
        offset: ZERO_CELSIUS_K,
    },
    Unit {
        symbol: "F",
        dimension: Dimension::Temperature,
        factor: 5.0 / 9.0,
        offset: 459.67,
    },
    unit("N", Dimension::Force, 1.0),
    unit("lbf", Dimension::Force, POUND_FORCE_N),
    // People tell the strength of a line by the weight that it holds.
    unit("lb", Dimension::Force, POUND_FORCE_N),
    unit("kg", Dimension::Force, G0_M_S2),
    unit("kg/m", Dimension::MassPerLength, 1.0),
    unit("g/m", Dimension::MassPerLength, 1e-3),
    unit("oz/ft", Dimension::MassPerLength, POUND_KG / 16.0 / FOOT_M),
    unit("lb/ft", Dimension::MassPerLength, POUND_KG / FOOT_M),
    unit("kg/m2", Dimension::AreaDensity, 1.0),
    unit("g/cm2", Dimension::AreaDensity, 10.0),
    unit(
        "oz/in2",
        Dimension::AreaDensity,
        POUND_KG / 16.0 * 144.0 / (FOOT_M * FOOT_M),
    ),
    unit("%", Dimension::Ratio, 0.01),
    unit("s", Dimension::Time, 1.0),
    unit("min", Dimension::Time, 60.0),
    unit("h", Dimension::Time, 3600.0),
];

/// Why a quantity was not understood: what was found and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuantityError {
    /// What stands there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found {}; expected {}", self.found, self.expected)
    }
}

/// `value` in the unit `symbol`, brought to SI; `None` when the unit is not of that dimension.
pub fn to_si(value: f64, symbol: &str, dimension: Dimension) -> Option<f64> {
    UNITS
        .iter()
        // By both: "lb" and "kg" are masses, or the force that such a mass pulls with.
        .find(|u| u.dimension == dimension && u.symbol == symbol)
        .map(|u| (value + u.offset) * u.factor)
}

/// The symbols of a dimension, for messages: `"g, kg, oz, lb"`.
pub fn symbols(dimension: Dimension) -> String {
    let names: Vec<&str> = UNITS
        .iter()
        .filter(|u| u.dimension == dimension)
        .map(|u| u.symbol)
        .collect();
    names.join(", ")
}

/// The units a person reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitSystem {
    /// Metres, kilometres, kilograms.
    #[default]
    Metric,
    /// Feet, miles, pounds.
    Us,
}

impl UnitSystem {
    /// US units where they are wanted, else metric.
    pub fn of(us: bool) -> UnitSystem {
        match us {
            true => UnitSystem::Us,
            false => UnitSystem::Metric,
        }
    }

    /// A height, to a metre or ten feet; below a hundred feet to one.
    pub fn height(self, m: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{} m", thousands(m.round())),
            UnitSystem::Us => {
                let feet = m / FOOT_M;
                // Of a low site or an antenna ten feet are too coarse.
                let step = if feet.abs() < 100.0 { 1.0 } else { 10.0 };
                format!("{} ft", thousands((feet / step).round() * step))
            }
        }
    }

    /// A distance along the ground, to a hundred metres or a tenth of a mile; below these to ten metres
    /// or feet.
    pub fn distance(self, m: f64) -> String {
        let tens = |value: f64| (value / 10.0).round() * 10.0;
        match self {
            UnitSystem::Metric if m < 100.0 => format!("{:.0} m", tens(m)),
            UnitSystem::Us if m < 0.1 * MILE_M => format!("{:.0} ft", tens(m / FOOT_M)),
            UnitSystem::Metric => format!("{:.1} km", m / 1000.0),
            UnitSystem::Us => format!("{:.1} mi", m / MILE_M),
        }
    }

    /// A speed of rise, fall or wind.
    pub fn speed(self, m_s: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{m_s:.1} m/s"),
            // As weather reports tell wind to the public there.
            UnitSystem::Us => format!("{:.1} mph", m_s * 3600.0 / MILE_M),
        }
    }

    /// A speed of rise or fall.
    pub fn vertical_speed(self, m_s: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{m_s:.1} m/s"),
            // As pilots and the makers of balloons tell it.
            UnitSystem::Us => format!("{} ft/min", thousands((m_s / FOOT_M * 60.0).round())),
        }
    }

    /// A speed of landing: in feet a second and miles an hour, as people can picture it.
    pub fn landing_speed(self, m_s: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{m_s:.1} m/s"),
            UnitSystem::Us => format!(
                "{:.0} ft/s ({:.0} mph)",
                m_s / FOOT_M,
                m_s / MILE_M * 3_600.0
            ),
        }
    }

    /// A pressure of the air.
    pub fn air_pressure(self, pa: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{:.0} hPa", pa / 100.0),
            // The conventional inch of mercury.
            UnitSystem::Us => format!("{:.2} inHg", pa / 3_386.389),
        }
    }

    /// The inner volume of a cylinder.
    pub fn cylinder(self, m3: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{:.0} L", 1_000.0 * m3),
            UnitSystem::Us => format!("{:.2} ft3", m3 / CUBIC_FOOT_M3),
        }
    }

    /// A mass or a lift given as the mass it holds.
    pub fn mass(self, kg: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{kg:.2} kg"),
            UnitSystem::Us => format!("{:.2} lb", kg / POUND_KG),
        }
    }

    /// A size of balloon or parachute.
    pub fn size(self, m: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{m:.2} m"),
            UnitSystem::Us => format!("{:.1} ft", m / FOOT_M),
        }
    }

    /// A weight to hang, in grams and in pounds whatever the system: scales and weights have both.
    pub fn both_weights(self, kg: f64) -> String {
        // A wrong unit on the one weight that counts would spoil the flight.
        let (grams, pounds) = (thousands(1_000.0 * kg), kg / POUND_KG);
        match self {
            UnitSystem::Metric => format!("{grams} g ({pounds:.2} lb)"),
            UnitSystem::Us => format!("{pounds:.2} lb ({grams} g)"),
        }
    }

    /// An empty balloon, which goes by its grams in every system.
    pub fn balloon(self, kg: f64) -> String {
        format!("{} g", thousands(1_000.0 * kg))
    }

    /// Mass of one item, as scales tell it: grams, or pounds and below one of them ounces.
    pub fn item_mass(self, kg: f64) -> String {
        match self {
            // Kitchen scales go over to pounds there.
            UnitSystem::Us if kg >= POUND_KG => self.mass(kg),
            _ => self.small_mass(kg),
        }
    }

    /// A small mass, or a difference of masses.
    pub fn small_mass(self, kg: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{} g", thousands(1_000.0 * kg)),
            UnitSystem::Us => format!("{:.1} oz", 16.0 * kg / POUND_KG),
        }
    }

    /// A pressure on a gauge.
    pub fn gauge(self, pa: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{:.0} bar", pa / 1e5),
            UnitSystem::Us => format!(
                "{} psi",
                // Gauges of cylinders are not read closer than that.
                thousands((pa / 6_894.757_293_168 / 10.0).round() * 10.0)
            ),
        }
    }

    /// A temperature of air.
    pub fn temperature(self, k: f64) -> String {
        let celsius = k - ZERO_CELSIUS_K;
        match self {
            UnitSystem::Metric => unsigned_zero(format!("{celsius:.1}")) + " C",
            UnitSystem::Us => unsigned_zero(format!("{:.0}", 1.8 * celsius + 32.0)) + " F",
        }
    }

    /// A force.
    pub fn force(self, n: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{n:.0} N"),
            UnitSystem::Us => format!("{:.1} lbf", n / POUND_FORCE_N),
        }
    }

    /// An energy.
    pub fn energy(self, j: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{j:.0} J"),
            UnitSystem::Us => format!("{:.0} ft lbf", j / (POUND_FORCE_N * FOOT_M)),
        }
    }

    /// A mass by area.
    pub fn area_density(self, kg_m2: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{:.2} g/cm2", kg_m2 / 10.0),
            UnitSystem::Us => {
                let oz_in2 = kg_m2 * FOOT_M * FOOT_M / 144.0 / (POUND_KG / 16.0);
                format!("{oz_in2:.2} oz/in2")
            }
        }
    }

    /// A volume of gas.
    pub fn volume(self, m3: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{m3:.2} m3"),
            UnitSystem::Us => format!("{:.0} ft3", m3 / (FOOT_M * FOOT_M * FOOT_M)),
        }
    }

    /// An area of cloth, given in m2.
    pub fn surface(self, m2: f64) -> String {
        match self {
            UnitSystem::Metric => format!("{m2:.2} m2"),
            UnitSystem::Us => format!("{:.1} sq ft", m2 / (FOOT_M * FOOT_M)),
        }
    }

    /// An area of ground.
    pub fn area(self, m2: f64) -> String {
        let (value, unit) = match self {
            UnitSystem::Metric => (m2 / 1e6, "km2"),
            UnitSystem::Us => (m2 / (MILE_M * MILE_M), "sq mi"),
        };
        // A tenth of a large area is below what draws can tell.
        if value < 100.0 {
            format!("{value:.1} {unit}")
        } else {
            format!("{} {unit}", thousands(value))
        }
    }
}

/// A quantity in both systems, as in "1,234 m (4,050 ft)": for messages whose maker does not know what
/// its reader prefers.
pub fn in_both(words: impl Fn(UnitSystem) -> String) -> String {
    format!("{} ({})", words(UnitSystem::Metric), words(UnitSystem::Us))
}

/// A whole number with commas between thousands.
/// Rounded to the nearest first.
pub fn thousands(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    if value < 0.0 {
        out.insert(0, '-');
    }
    unsigned_zero(out)
}

/// A number that was rounded; as 0 it has no sign.
fn unsigned_zero(number: String) -> String {
    match number.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| c == '0' || c == '.') => digits.to_owned(),
        _ => number,
    }
}

/// A duration as `2 h 07 min`, to the nearest minute, or from two days on as `3 d 14 h`.
///
/// ```
/// assert_eq!(windfall::units::duration(7_620.0), "2 h 07 min");
/// ```
pub fn duration(seconds: f64) -> String {
    // Rounded before it is taken apart, or 59.9 min would be 60 min and not 1 h.
    let minutes = (seconds / 60.0).round() as i64;
    let sign = if minutes < 0 { "-" } else { "" };
    let minutes = minutes.unsigned_abs();
    match (minutes / 60, minutes % 60) {
        (0, m) => format!("{sign}{m} min"),
        (h @ 48.., _) => format!("{sign}{} d {} h", thousands((h / 24) as f64), h % 24),
        (h, m) => format!("{sign}{h} h {m:02} min"),
    }
}

/// How many there are of something, as in "1 row" and "1,200 rows".
pub fn counted(count: usize, one: &str, many: &str) -> String {
    let what = if count == 1 { one } else { many };
    format!("{} {what}", thousands(count as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(UnitSystem::Us.temperature(ZERO_CELSIUS_K - 17.9), "0 F");
        assert_eq!(UnitSystem::Us.temperature(ZERO_CELSIUS_K - 20.0), "-4 F");
        assert_eq!(
            UnitSystem::Metric.temperature(ZERO_CELSIUS_K - 0.04),
            "0.0 C"
        );
        assert_eq!(
            [-0.5, -0.4, -1.4, -1_234.0].map(thousands),
            ["0", "0", "-1", "-1,234"]
        );
    }

    #[test]
    fn a_duration_has_one_sign() {
        assert_eq!(
            [-5_400.0, -60.0, -20.0, -180_000.0].map(duration),
            ["-1 h 30 min", "-1 min", "0 min", "-2 d 2 h"]
        );
    }

    #[test]
    fn short_distances_are_told_in_feet_and_metres() {
        let both = |m: f64| [UnitSystem::Us, UnitSystem::Metric].map(|units| units.distance(m));
        assert_eq!(both(50.0), ["160 ft", "50 m"]);
        assert_eq!(both(161.0), ["0.1 mi", "0.2 km"]);
    }

    #[test]
    fn reads_the_units_of_the_trade() {
        let cases = [
            ("1200 g", Dimension::Mass, 1.2),
            ("16 oz", Dimension::Mass, POUND_KG),
            ("10000 ft", Dimension::Length, 3048.0),
            ("1000 ft/min", Dimension::Speed, 5.08),
            ("36 km/h", Dimension::Speed, 10.0),
            ("1013.25 hPa", Dimension::Pressure, 101_325.0),
            ("15 C", Dimension::Temperature, 288.15),
            ("59 F", Dimension::Temperature, 288.15),
            ("4%", Dimension::Ratio, 0.04),
            ("1.5e3 m", Dimension::Length, 1500.0),
            ("-3 m", Dimension::Length, -3.0),
            ("10min", Dimension::Time, 600.0),
            ("50 lb", Dimension::Force, 222.411_080_763),
            ("3 oz/in2", Dimension::AreaDensity, 131.825_546_182),
            ("2 g/m", Dimension::MassPerLength, 0.002),
        ];
        for (text, dimension, si) in cases {
            let got = parse(text, dimension).unwrap();
            assert!((got - si).abs() < 1e-9 * si.abs().max(1.0), "{text}: {got}");
        }
    }

    #[test]
    fn refuses_what_it_cannot_be_sure_of() {
        for text in [
            "", "kg", "5", "5 kgx", "nan kg", "1e999 kg", "5 m", "--5 kg",
        ] {
            assert!(parse(text, Dimension::Mass).is_err(), "{text:?}");
        }
        let message = parse("5 m", Dimension::Mass).unwrap_err().to_string();
        assert_eq!(
            message,
            "found \"5 m\", which is a length; expected a mass with a unit: g, kg, oz, lb"
        );
    }

    #[test]
    fn writes_both_systems() {
        assert_eq!(UnitSystem::Metric.height(30_142.4), "30,142 m");
        assert_eq!(UnitSystem::Us.height(30_480.0), "100,000 ft");
        assert_eq!(UnitSystem::Us.vertical_speed(5.08), "1,000 ft/min");
        assert_eq!(UnitSystem::Metric.area(1_674.6e6), "1,675 km2");
        assert_eq!(UnitSystem::Metric.surface(2.598), "2.60 m2");
        // 2.598 m2 / 0.09290304 m2 a square foot.
        assert_eq!(UnitSystem::Us.surface(2.598), "28.0 sq ft");
        assert_eq!(UnitSystem::Us.area(MILE_M * MILE_M), "1.0 sq mi");
        assert_eq!(
            UnitSystem::Metric.both_weights(6.8038855),
            "6,804 g (15.00 lb)"
        );
        assert_eq!(UnitSystem::Us.both_weights(6.8038855), "15.00 lb (6,804 g)");
        assert_eq!(in_both(|u| u.height(1_234.0)), "1,234 m (4,050 ft)");
        assert_eq!(UnitSystem::Us.gauge(2e7), "2,900 psi");
        assert_eq!(UnitSystem::Us.temperature(288.15), "59 F");
        assert_eq!(UnitSystem::Us.area_density(131.8286), "3.00 oz/in2");
        assert_eq!(UnitSystem::Metric.area_density(131.8286), "13.18 g/cm2");
        assert_eq!(UnitSystem::Us.force(222.4111), "50.0 lbf");
        assert_eq!(UnitSystem::Us.energy(13.558), "10 ft lbf");
        assert_eq!(UnitSystem::Us.small_mass(0.028_349_5), "1.0 oz");
        assert_eq!(UnitSystem::Us.item_mass(0.4), "14.1 oz");
        assert_eq!(UnitSystem::Us.item_mass(1.0), "2.20 lb");
        assert_eq!(UnitSystem::Metric.item_mass(1.0), "1,000 g");
        assert_eq!(duration(7620.0), "2 h 07 min");
        assert_eq!(duration(40.0 * 86_400.0 + 3_700.0), "40 d 1 h");
        assert_eq!(thousands(-1234567.0), "-1,234,567");
        assert_eq!(thousands(-0.2), "0");
    }
}
