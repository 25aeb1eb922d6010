//! What a fill comes to, in words.

use super::fill_words::opening_name;
use crate::fill::findings::Concern;
use crate::sizing::miss_in_words;
use crate::units::UnitSystem;

/// A concern in words, with the numbers.
pub fn concern(concern: &Concern, units: UnitSystem) -> String {
    let speed = |m_s: f64| units.vertical_speed(m_s);
    match *concern {
        Concern::GasShort {
            cylinders,
            gives_kg,
            needs_kg,
            rate_m_s,
            short_m3,
        } => format!(
            "{} {} of neck lift; the load needs {} at {}: {} short",
            these_cylinders(cylinders),
            units.mass(gives_kg),
            units.mass(needs_kg),
            speed(rate_m_s),
            units.volume(short_m3)
        ),
        Concern::LoadNotRaised {
            neck_lift_kg,
            load_kg,
        } => format!(
            "the neck lift of {} does not lift the load of {}: {} short",
            units.mass(neck_lift_kg),
            units.mass(load_kg),
            units.mass(load_kg - neck_lift_kg)
        ),
        Concern::NoFlight { miss } => {
            format!("the stack makes no flight: {}", miss_in_words(miss))
        }
        Concern::LowLiftRaisesNothing { less_share } => format!(
            "with {:.0} % less lift, one standard deviation, the load would not rise",
            100.0 * less_share
        ),
        Concern::LiftedTooLittle {
            neck_lift_kg,
            load_kg,
        } => format!(
            "it just lifts {} at the neck, and the load is {}: {} short",
            units.mass(neck_lift_kg),
            units.mass(load_kg),
            units.mass(load_kg - neck_lift_kg)
        ),
        Concern::DoesNotFit {
            opening,
            widest_m,
            margin_m,
            side_m,
        } => format!(
            "with a little too much gas the balloon is {} across, and with {} to spare (assumed) it does not fit the {} of {}",
            units.size(widest_m),
            units.size(margin_m),
            opening_name(opening),
            units.size(side_m)
        ),
        Concern::Slow {
            rate_m_s,
            limit_m_s,
        } => format!(
            "slow: {} at release, below {} (by judgement): it drifts far, and with a little less lift it may float for hours",
            speed(rate_m_s),
            speed(limit_m_s)
        ),
        Concern::Fast {
            rate_m_s,
            limit_m_s,
        } => format!(
            "fast: {} at release, above {} (by judgement): more gas than the flight needs, and a lower burst",
            speed(rate_m_s),
            speed(limit_m_s)
        ),
        Concern::HardTouchdown {
            speed_m_s,
            usual_m_s: [low, high],
        } => format!(
            "hard: touches down at {}, common practice is {} to {} (no source): a larger parachute or less load",
            units.landing_speed(speed_m_s),
            units.landing_speed(low),
            units.landing_speed(high)
        ),
    }
}

fn these_cylinders(count: u32) -> String {
    match count {
        1 => "this cylinder gives".to_owned(),
        2 => "these two cylinders give".to_owned(),
        3 => "these three cylinders give".to_owned(),
        n => format!("these {n} cylinders give"),
    }
}
