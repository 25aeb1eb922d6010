//! The release times that are compared.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

/// The moments of a period that lie on whole steps from local midnight and within local hours.
pub fn release_times(
    [from, to]: [Timestamp; 2],
    every_s: i64,
    hours: [f64; 2],
    zone: &TimeZone,
) -> Vec<Timestamp> {
    let mut times = Vec::new();
    let mut date = from.to_zoned_datetime(zone.clone()).date();
    let last = to.to_zoned_datetime(zone.clone()).date();
    let step = every_s.max(60);
    while date <= last {
        let midnight = date.to_zoned_datetime(zone.clone());
        if let Ok(midnight) = midnight {
            let mut second = 0;
            while second < 86_400 {
                let hour = second as f64 / 3_600.0;
                let time = midnight
                    .timestamp()
                    .checked_add(SignedDuration::from_secs(second));
                if let Ok(time) = time
                    && (hours[0]..=hours[1]).contains(&hour)
                    && (from..=to).contains(&time)
                {
                    times.push(time);
                }
                second += step;
            }
        }
        match date.tomorrow() {
            Ok(next) => date = next,
            Err(_) => break,
        }
    }
    times
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn release_times_are_on_whole_steps_of_the_local_day() {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let t = |text: &str| text.parse::<Timestamp>().unwrap();
        let period = [t("2023-10-12T08:00:00Z"), t("2023-10-13T18:00:00Z")];
        let times = release_times(period, 3_600, [5.0, 11.0], &zone);
        let expected = [
            "2023-10-12T08:00:00Z",
            "2023-10-12T09:00:00Z",
            "2023-10-12T10:00:00Z",
            "2023-10-13T04:00:00Z",
            "2023-10-13T05:00:00Z",
            "2023-10-13T06:00:00Z",
            "2023-10-13T07:00:00Z",
            "2023-10-13T08:00:00Z",
            "2023-10-13T09:00:00Z",
            "2023-10-13T10:00:00Z",
        ];
        let expected: Vec<Timestamp> = expected.iter().map(|s| t(s)).collect();
        assert_eq!(times, expected);
        assert!(release_times(period, 3_600, [12.0, 11.0], &zone).is_empty());
    }
}
