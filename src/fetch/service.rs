//! A service that cuts a region out of a forecast: how it is asked, and about how much it sends.

use serde::Deserialize;

use super::field::{Level, WantedField};
use super::region::{Longitudes, Region};
use crate::numeric::nearest_whole;

/// Bytes of a GRIB message besides its values, as measured on a cut of NCEP's.
const HEAD_BYTES: u64 = 180;

/// What is known of a service besides its address.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Service {
    /// How one variable stands in the address, with `{name}`.
    pub variable: String,
    /// How one level stands in the address, with `{level}`, as in `500_mb`.
    #[serde(default)]
    pub level: String,
    /// What the answer is.
    #[serde(default)]
    pub format: Format,
    /// From one point of the grid to the next, degrees.
    pub spacing: f64,
    /// Which longitudes it takes.
    #[serde(default)]
    pub longitudes: Longitudes,
    /// About how many bits a value takes; for the estimate.
    #[serde(default = "usual_bits")]
    pub value_bits: f64,
    /// Words of its answer where there is no such file, if it does not say 404.
    pub missing: Option<String>,
}

/// What a service sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Default)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    /// GRIB messages: files of several steps are one.
    #[default]
    Grib,
    /// NetCDF, a file a step.
    NetCdf,
}

fn usual_bits() -> f64 {
    10.0
}

impl Service {
    /// All wanted variables, as they stand in the address.
    pub fn variables(&self, wanted: &[WantedField]) -> String {
        let names = distinct(wanted.iter().map(|w| w.name.clone()));
        let all = names.iter().map(|n| self.variable.replace("{name}", n));
        all.collect()
    }

    /// All wanted levels, as they stand in the address.
    pub fn levels(&self, wanted: &[WantedField]) -> String {
        let levels = distinct(wanted.iter().map(|w| written(&w.level)));
        let all = levels.iter().map(|l| self.level.replace("{level}", l));
        all.collect()
    }

    /// Fields of one step: the service gives every variable on every level of pressure.
    pub fn fields(&self, wanted: &[WantedField]) -> u64 {
        let aloft = || wanted.iter().filter(|w| w.is_aloft());
        let names = distinct(aloft().map(|w| w.name.clone())).len();
        let levels = distinct(aloft().map(|w| written(&w.level))).len();
        let single = wanted.iter().filter(|w| !w.is_aloft()).count();
        (names * levels + single) as u64
    }

    /// About how many bytes the fields of one step take over a region.
    pub fn estimate(&self, wanted: &[WantedField], region: Region) -> u64 {
        let values = region.points(self.spacing) as f64 * self.value_bits / 8.0;
        let values: u64 = nearest_whole(values.ceil()).unwrap_or(u64::MAX);
        self.fields(wanted)
            .saturating_mul(values.saturating_add(HEAD_BYTES))
    }
}

// In the order of the feed, so that an address is the same every time.
fn distinct(all: impl Iterator<Item = String>) -> Vec<String> {
    let mut met = Vec::new();
    for one in all {
        if !met.contains(&one) {
            met.push(one);
        }
    }
    met
}

/// A level in the words of NCEP's inventories, without blanks.
fn written(level: &Level) -> String {
    match level {
        Level::Pressure(hpa) => format!("{hpa}_mb"),
        Level::AboveGround(m) => format!("{m}_m_above_ground"),
        Level::Surface | Level::InName | Level::Other => "surface".to_owned(),
    }
}
