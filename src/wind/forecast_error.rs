//! How wrong a forecast is, by the time since its run.
//!
//! Two parts: what no model resolves, which does not grow, and what grows from the run on.

use super::error::{ErrorPart, interpolate};

/// What a model does not resolve, altitude in m and m/s a component. A judgement (assumed): with
/// the part that grows it lies above the observation errors of the NCEP global analysis
/// (`prepobs_errtable.global`, type 220: 1.4 to 3.2 m/s), and at 20 and 30 km about where balloons
/// found reanalyses wrong (Friedrich et al. 2017: 2.5 to 3.5 m/s at 20 km; Duruisseau et al. 2017:
/// up to more than 5 m/s above 27 km; abstracts read).
pub const UNRESOLVED: &[(f64, f64)] = &[
    (5_000.0, 1.5),
    (12_000.0, 2.0),
    (20_000.0, 2.5),
    (31_000.0, 3.5),
];
/// Its correlation length, m: that of the small scale of soundings.
pub const UNRESOLVED_CORRELATION_M: f64 = super::departure::SMALL_CORRELATION_M;

/// Standard deviation of a wind component at 500 hPa by lead, hours and m/s: a leading global
/// model against reanalysis, 2018 to 2020, digitised from an open notebook's figure to 0.1 m/s;
/// the value at the run itself continues the line. Held beyond ten days, where a forecast says no
/// more than the season does.
pub const BY_LEAD: [(f64, f64); 9] = [
    (0.0, 1.4),
    (6.0, 1.5),
    (24.0, 1.9),
    (48.0, 2.65),
    (72.0, 3.5),
    (96.0, 4.45),
    (120.0, 5.4),
    (168.0, 7.4),
    (240.0, 9.6),
];

/// Ratio of the growing part to that at 500 hPa by altitude, m: differences between consecutive
/// runs over Missoula and Des Moines, smoothed (`tests/wind_calibration.rs`). At 850 hPa an
/// ECMWF forecast of 120 h had 0.54 of its error at 500 hPa.
pub const BY_ALTITUDE: [(f64, f64); 7] = [
    (1_000.0, 0.5),
    (5_500.0, 1.0),
    (8_500.0, 1.4),
    (10_500.0, 1.4),
    (13_500.0, 0.7),
    (17_000.0, 0.4),
    (24_000.0, 0.25),
];

/// This many members the published error of one forecast counts as, beside those of an ensemble
/// (assumed).
pub const PRIOR_MEMBERS: f64 = 8.0;

/// The part that does not grow.
pub fn unresolved() -> ErrorPart {
    ErrorPart {
        rows: UNRESOLVED.to_vec(),
        correlation_length_m: UNRESOLVED_CORRELATION_M,
    }
}

/// Standard deviation of the growing part, m/s a component.
pub fn growing_m_s(lead_s: f64, altitude_m: f64) -> f64 {
    interpolate(&BY_LEAD, lead_s / 3_600.0) * interpolate(&BY_ALTITUDE, altitude_m)
}

/// Correlation length of the growing part, m: 1.3 km and 0.65 km more a day, up to ten days, as
/// differences between consecutive runs have it.
pub fn growing_correlation_m(lead_s: f64) -> f64 {
    // The published errors end at ten days.
    1_300.0 + 650.0 * (lead_s / 86_400.0).clamp(0.0, 10.0)
}

/// The part that grows from the run on.
pub fn growing(lead_s: f64) -> ErrorPart {
    ErrorPart::by_altitude(growing_correlation_m(lead_s), |z| growing_m_s(lead_s, z))
}

/// What the members of an ensemble leave of the growing part, when all are flown in alike: with s
/// between M members and c published, the best guess of the variance is u = (8 c^2 + (M - 1) s^2) /
/// (8 + M - 1), and no less than s^2; u (1 + 1 / M) is wanted, and the members bring s^2 (M - 1) / M.
/// What is left, 2 s^2 / M at least, spreads each member's landings into those of its neighbours.
pub fn beyond_members(lead_s: f64, members: usize, member_sigma: &[(f64, f64)]) -> ErrorPart {
    let m = members.max(1) as f64;
    ErrorPart::by_altitude(growing_correlation_m(lead_s), |z| {
        let between = interpolate(member_sigma, z).powi(2);
        let published = growing_m_s(lead_s, z).powi(2);
        let guessed = (PRIOR_MEMBERS * published + (m - 1.0) * between) / (PRIOR_MEMBERS + m - 1.0);
        let wanted = guessed.max(between) * (1.0 + 1.0 / m);
        (wanted - between * (m - 1.0) / m).sqrt()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_members_are_mostly_the_published_error_and_many_mostly_themselves() {
        let lead_s = 72.0 * 3_600.0;
        let published = growing_m_s(lead_s, 5_500.0);
        assert!((published - 3.5).abs() < 1e-12);
        let whole = |members: usize, between: f64| {
            let left = beyond_members(lead_s, members, &[(0.0, between)]).sigma_m_s(5_500.0);
            let m = members as f64;
            (left.powi(2) + between.powi(2) * (m - 1.0) / m).sqrt()
        };
        // Three members that hardly differ, and thirty-one that differ much.
        assert!(whole(3, 0.5) > 0.9 * published);
        assert!((whole(31, 7.0) / 7.0 - 1.0).abs() < 0.1);
        // Members that agree with what is published make it whole but for their number.
        let right = published * (1.0 + 1.0 / 11_f64).sqrt();
        assert!((whole(11, published) - right).abs() < 1e-12);
    }
}
