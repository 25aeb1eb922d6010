//! Windfall: where a small high-altitude balloon will come down, and how sure that is.
//!
//! A plan says what is flown, from where, when and in which winds. [`Plan::read`] checks it and
//! names every fault at once, [`Winds::of_plan`] reads its wind files, soundings or a forecast, and
//! [`predict`] flies the stack through them: once as planned, then some thousand times, each a
//! little different in lift, burst, drag, parachute and wind.
//!
//! ```
//! use windfall::{Assumption, Options, Plan, Winds, predict};
//!
//! # fn main() -> windfall::Result<()> {
//! let plan = Plan::read("samples/high-plains/plan.toml")?;
//! let winds = Winds::of_plan(&plan)?;
//! let zone = predict(&plan, &winds, Options::default(), || ())?.zone;
//!
//! // The flight as planned: release, burst and landing, each a place, a height and a time.
//! println!("{} at {}", zone.landing.position.text(), zone.landing.time);
//! assert!(zone.release.time < zone.burst.time && zone.burst.time < zone.landing.time);
//!
//! // How sure that is: no ellipse where too many of the flights leave the winds.
//! let ellipse = zone.outer().expect("the sample stays within its winds");
//! assert!(ellipse.shape.held.is_some_and(|share| (share - 0.9).abs() < 0.005));
//! assert!(ellipse.center.distance_m(zone.landing.position) < ellipse.shape.semi_major_m);
//!
//! // What it rests on, as data; `report::notes` has the words.
//! assert!(zone.assumptions.contains(&Assumption::FittedDragCurve));
//! # Ok(())
//! # }
//! ```
//!
//! Numbers are `f64` in SI units, named in each field; places are degrees on WGS84, altitudes above
//! mean sea level. The same seed gives the same zone on any number of threads. Whatever a person can
//! mend is an [`Error`] that says what was found and what would be right.
//! [`report::files::geojson::text`] makes a zone into GeoJSON for a map.
//!
//! The other jobs of the command line have a module each: [`choice`] compares days and sites, [`years`]
//! flies through long records of winds,
//! [`fill`] sizes the balloon, [`mod@brief`] briefs the crew, [`fetch`] downloads forecasts. Data
//! flows one way: plan and files, then wind and vehicle, then flight, spread, answer and report.

pub mod atmosphere;
pub mod brief;
pub mod choice;
pub mod clock;
pub mod compare;
pub mod debrief;
pub mod desk;
pub mod draft;
pub mod earth;
pub mod error;
pub mod fetch;
pub mod files;
pub mod fill;
pub mod flight;
pub mod follow;
pub mod geodesy;
pub mod ground;
pub mod listen;
pub mod logbook;
pub mod notes;
pub mod numeric;
pub mod plan;
pub mod random;
pub mod report;
pub mod sizing;
pub mod sources;
pub mod spread;
pub mod track;
pub mod units;
pub mod vehicle;
pub mod wind;
pub mod winds;
pub mod years;
pub mod zone;

#[doc(inline)]
pub use self::{
    error::{Error, Fault, Result},
    geodesy::Position,
    notes::{Assumption, Note},
    plan::Plan,
    spread::region::{GroundContour, GroundEllipse},
    winds::Winds,
    zone::{Facts, Mark, Options, Prediction, Zone, predict},
};
