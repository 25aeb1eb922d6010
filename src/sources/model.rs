//! Headings of profiles that a model computed, in text formats that measured soundings share.

use crate::wind::sounding::Model;

/// Models that offer profiles as text.
const MODELS: [&str; 18] = [
    "GFS", "GEFS", "NAM", "RAP", "RUC", "HRRR", "OP40", "BAK40", "FIM", "ECMWF", "IFS", "AIFS",
    "ICON", "GEM", "AROME", "ARPEGE", "WRF", "ERA5",
];

/// The model that a heading names, as in `GFS 12 h forecast valid for grid point ...`. The name
/// alone may be a station's: the heading must say analysis, forecast or model as well.
pub(super) fn named(heading: &str) -> Option<Model> {
    let words: Vec<String> = words(heading);
    let says = |kinds: &[&str]| words.iter().any(|w| kinds.contains(&w.as_str()));
    // Sondes are of a model, too.
    let is_of_sonde = says(&["SONDE", "RADIOSONDE"]);
    if is_of_sonde || !says(&["ANALYSIS", "FORECAST", "FCST", "MODEL"]) {
        return None;
    }
    let name = words.iter().find(|w| MODELS.contains(&w.as_str()))?;
    Some(Model {
        name: name.clone(),
        lead_s: lead_s(heading),
    })
}

/// From the run to the time of a profile, s, by its heading; `None` when it does not say.
pub(super) fn lead_s(heading: &str) -> Option<f64> {
    let words = words(heading);
    let hours = words.iter().enumerate().find_map(|(i, word)| {
        // "12h" is number and unit in one; of "12 h" the number is the word before.
        let unit = word.trim_start_matches(|c: char| c.is_ascii_digit());
        let number = match word.split_at(word.len() - unit.len()).0 {
            "" => words.get(i.checked_sub(1)?)?,
            number => number,
        };
        let hours: f64 = number.parse().ok()?;
        ["H", "HR", "HOUR", "HOURS"]
            .contains(&unit)
            .then_some(hours)
    });
    let analysis = words.iter().any(|w| w == "ANALYSIS");
    hours.map(|h| 3_600.0 * h).or(analysis.then_some(0.0))
}

/// Words in capitals, without what stands around them.
fn words(text: &str) -> Vec<String> {
    text.split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_uppercase)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_of_models_and_of_stations() {
        let model = |heading| named(heading).map(|m| (m.name, m.lead_s));
        let gfs = |lead| Some(("GFS".to_owned(), lead));
        assert_eq!(
            model("GFS analysis valid for grid point 4.6 nm"),
            gfs(Some(0.0))
        );
        assert_eq!(
            model("GFS 12 h forecast valid for ORD"),
            gfs(Some(43_200.0))
        );
        assert_eq!(model("gfs, 6-hour forecast"), gfs(Some(21_600.0)));
        assert_eq!(model("GFS 120h forecast"), gfs(Some(432_000.0)));
        assert_eq!(model("GFS model profile"), gfs(None));
        assert_eq!(model("72662 RAP Rapid City Observations at 12Z"), None);
        assert_eq!(model("NAM"), None);
        assert_eq!(model("Radiosonde model RS41, station RAP"), None);
        assert_eq!(model(""), None);
    }
}
