//! From filling to dark: when what happens.

use super::answer::{EventKind, TimelineEvent};
use crate::clock::after;
use crate::ground::sun::evening;
use crate::notes::Assumption;
use crate::plan::Plan;
use crate::spread::draws::Spread;
use crate::spread::run::{Landing, quantiles};
use crate::zone::Zone;

/// Filling begins this long before the release where the plan says nothing, s (common practice, no
/// source).
const FILLING_S: f64 = 3_600.0;
/// 9 of 10 delays of the release are shorter than this many times their spread.
const NINE_IN_TEN: f64 = 1.645;

/// The events of a flight in order of time, and what was assumed of the first.
pub fn events(
    plan: &Plan,
    zone: &Zone,
    landings: &[Landing],
) -> (Option<Assumption>, Vec<TimelineEvent>) {
    let release = plan.release;
    let site = zone.release.position;
    let at = |s: f64| after(release, s);
    let filling_s = plan.brief.filling_s.unwrap_or(FILLING_S);
    let delay_s = plan.spread.release_delay_s;
    let window_s = NINE_IN_TEN * delay_s.unwrap_or(Spread::ASSUMED.release_delay_s);
    let bursts = quantiles(landings, |l| l.burst_s);
    let lands = quantiles(landings, |l| l.time_s);
    let mut events = vec![
        TimelineEvent {
            kind: EventKind::Filling,
            from: at(-filling_s),
            at: at(-filling_s),
            to: release,
            place: site,
        },
        TimelineEvent {
            kind: EventKind::Release,
            from: release,
            at: release,
            to: at(window_s),
            place: site,
        },
        TimelineEvent {
            kind: EventKind::Burst,
            from: at(bursts.low),
            at: zone.burst.time,
            to: at(bursts.high),
            place: zone.burst.position,
        },
        TimelineEvent {
            kind: EventKind::Landing,
            from: at(lands.low),
            at: zone.landing.time,
            to: at(lands.high),
            place: zone.center(),
        },
    ];
    events.extend(light(zone));
    // What happens at the same time stands in the order of a flight, which is that of the kinds.
    events.sort_by_key(|event| (event.from, event.kind));
    let nothing_given = plan.brief.filling_s.is_none();
    let assumed = nothing_given.then_some(Assumption::FillingBegins {
        before_release_s: FILLING_S,
    });
    (assumed, events)
}

/// Sunset and dark at the centre of the zone, of the evening that the landing belongs to.
fn light(zone: &Zone) -> impl Iterator<Item = TimelineEvent> {
    let place = zone.center();
    let times = evening(place, zone.landing.time).unwrap_or_default();
    let kinds = [EventKind::Sunset, EventKind::Dark].into_iter();
    let events = kinds
        .zip(times)
        .filter_map(|(kind, time)| Some((kind, time?)));
    events.map(move |(kind, time)| TimelineEvent {
        kind,
        from: time,
        at: time,
        to: time,
        place,
    })
}
