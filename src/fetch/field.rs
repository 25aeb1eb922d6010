//! A field of a forecast: one quantity on one level, as an inventory names it and as it is wanted.

/// Where a field lies.
#[derive(Debug, Clone, PartialEq)]
pub enum Level {
    /// A pressure level, hPa.
    Pressure(f64),
    /// A height above the ground, m.
    AboveGround(f64),
    /// The ground or the sea.
    Surface,
    /// A single level that the field's name tells, as "10u" does.
    InName,
    /// Anything else.
    Other,
}

impl Level {
    /// A level in the words of a text inventory, as "850 mb" or "10 m above ground".
    pub fn parse(text: &str) -> Level {
        let number = |t: &str| t.trim().parse().ok().filter(|v: &f64| v.is_finite());
        if text == "surface" {
            Level::Surface
        } else if let Some(hpa) = text.strip_suffix(" mb").and_then(number) {
            Level::Pressure(hpa)
        } else if let Some(m) = text.strip_suffix(" m above ground").and_then(number) {
            Level::AboveGround(m)
        } else {
            Level::Other
        }
    }

    /// Whether an inventory's level is this wanted one.
    fn is_met_by(&self, found: &Level) -> bool {
        match (self, found) {
            (Level::Pressure(a), Level::Pressure(b))
            // Headers have powers of ten of Pa, names hPa: equal but for rounding.
            | (Level::AboveGround(a), Level::AboveGround(b)) => (a - b).abs() < 1e-3,
            (Level::Surface, Level::Surface) => true,
            (Level::Surface | Level::AboveGround(_), Level::InName) => true,
            _ => false,
        }
    }
}

/// A field that an inventory lists.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// What it is.
    pub quantity: WantedQuantity,
    /// Where it lies.
    pub level: Level,
    /// The run, as YYYYMMDDHH.
    pub run: String,
    /// The member, as the inventory names it.
    pub member: Option<String>,
    /// Whether it is of one moment, not a mean, a sum or an extreme over a while.
    pub of_a_moment: bool,
}

/// What a field is: inventories beside the file give names, headers of messages give codes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WantedQuantity {
    /// The inventory's name.
    Name(String),
    /// GRIB2 discipline, category and number.
    Code([u8; 3]),
}

/// A field that a flight needs.
#[derive(Debug, Clone, PartialEq)]
pub struct WantedField {
    /// What the feed's inventories call it.
    pub name: String,
    /// GRIB2 discipline, category and number.
    pub code: [u8; 3],
    /// Where it lies.
    pub level: Level,
}

impl WantedField {
    /// GRIB2 code of the wind towards the east.
    pub const EASTWARD: [u8; 3] = [0, 2, 2];
    /// GRIB2 code of the wind towards the north.
    pub const NORTHWARD: [u8; 3] = [0, 2, 3];

    /// GRIB2 codes of the height of a level, and of its geopotential.
    pub const HEIGHTS: [[u8; 3]; 2] = [[0, 3, 5], [0, 3, 4]];

    /// Whether it is the height of a pressure level.
    pub fn is_height(&self) -> bool {
        self.is_aloft() && WantedField::HEIGHTS.contains(&self.code)
    }

    /// Whether it is on a pressure level.
    pub fn is_aloft(&self) -> bool {
        matches!(self.level, Level::Pressure(_))
    }

    /// Whether a field of an inventory is this one.
    pub fn is_met_by(&self, field: &Field) -> bool {
        let same = match &field.quantity {
            WantedQuantity::Name(name) => *name == self.name,
            WantedQuantity::Code(code) => *code == self.code,
        };
        same && field.of_a_moment && self.level.is_met_by(&field.level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_in_words() {
        assert_eq!(Level::parse("850 mb"), Level::Pressure(850.0));
        assert_eq!(Level::parse("0.4 mb"), Level::Pressure(0.4));
        assert_eq!(Level::parse("10 m above ground"), Level::AboveGround(10.0));
        assert_eq!(Level::parse("surface"), Level::Surface);
        for other in ["30-0 mb above ground", "1 hybrid level", "NaN mb", ""] {
            assert_eq!(Level::parse(other), Level::Other, "{other}");
        }
    }
}
