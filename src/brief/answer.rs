//! A briefing for the crew: everything decided, nothing left to compute.

use std::sync::Arc;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::choice::answer::{Hazard, NearPlace};
use crate::choice::ground::GroundSource;
use crate::geodesy::Position;
use crate::ground::airports::Airport;
use crate::ground::layers::{Layer, LayerNote, Line, RoadClass};
use crate::ground::places::Place;
use crate::ground::terrain::Terrain;
use crate::numeric::Quantiles;
use crate::spread::region::GroundEllipse;
use crate::zone::{Facts, Mark, Zone};

/// All that a briefing tells.
#[derive(Debug, Clone)]
pub struct Brief {
    /// The landing zone.
    pub zone: Zone,
    /// The facts behind it.
    pub facts: Facts,
    /// The zone of people's times.
    pub timezone: TimeZone,
    /// When it was made.
    pub made: Timestamp,
    /// From filling to dark, in order of time.
    pub timeline: Vec<TimelineEvent>,
    /// The landing of every draw that came down, s after the planned release.
    pub landing_times_s: Vec<f64>,
    /// Where to wait for the landing, and from when.
    pub wait: Wait,
    /// What changes the answer.
    pub changes: Vec<Change>,
    /// What the draws hit, the most likely first.
    pub hazards: Vec<Hazard>,
    /// Heights that forms ask about.
    pub heights: Vec<HeightRow>,
    /// What remains of the zone when the tracker goes quiet.
    pub quiet: Vec<QuietZone>,
    /// What the map shows besides.
    pub ground: MapGround,
    /// The nearest town to the centre of the zone.
    pub near: Option<NearPlace>,
    /// Mass of the load below the balloon, kg, if the plan gives it.
    pub load_kg: Option<f64>,
    /// Length of the lines below the balloon, m, as far as the plan gives them.
    pub suspension_m: Option<f64>,
    /// Whom to call, as the plan has it.
    pub contacts: Vec<String>,
    /// Free text of the plan.
    pub remarks: String,
    /// Where the ground comes from.
    pub sources: Vec<GroundSource>,
}

/// Where to wait for the landing, and from when.
#[derive(Debug, Clone, PartialEq)]
pub struct Wait {
    /// The places, the best first; none where no dry ground on the shore of the landings is known.
    pub points: Vec<WaitingPoint>,
    /// When to be there: 19 of 20 balloons burst later.
    pub from: Timestamp,
    /// What the readers of the ground on which they lie found.
    pub layer_notes: Vec<LayerNote>,
}

/// What a map shows of the ground.
#[derive(Debug, Clone, Default)]
pub struct MapGround {
    /// Given and built-in layers.
    pub layers: Vec<Layer>,
    /// Borders of countries and states on land, as lines.
    pub borders: Vec<Line>,
    /// Coasts, as lines.
    pub coasts: Vec<Line>,
    /// Airports.
    pub airports: Vec<Airport>,
    /// Named places, the largest first.
    pub places: Vec<Place>,
    /// Heights, for the shading.
    pub terrain: Option<Arc<Terrain>>,
}

/// What an event is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum EventKind {
    /// The balloon is filled.
    Filling,
    /// The hours within which the stack is let go.
    Release,
    /// The balloon bursts.
    Burst,
    /// The load comes down.
    Landing,
    /// The sun sets.
    Sunset,
    /// The end of civil twilight.
    Dark,
}

/// Something that happens at a time or within a span of time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimelineEvent {
    /// What.
    pub kind: EventKind,
    /// When it begins.
    pub from: Timestamp,
    /// The one time to name.
    pub at: Timestamp,
    /// When it ends; the same where it has no length.
    pub to: Timestamp,
    /// Where.
    pub place: Position,
}

/// A place where a car waits for the landing.
#[derive(Debug, Clone, PartialEq)]
pub struct WaitingPoint {
    /// Its name, as in "A".
    pub name: String,
    /// Where.
    pub position: Position,
    /// Height of the ground there above mean sea level, m, if it is known.
    pub ground_m: Option<f64>,
    /// The nearest named place.
    pub near: Option<NearPlace>,
    /// The road it lies on, if it is one.
    pub road: Option<Road>,
    /// Why there.
    pub why: WaitingReason,
    /// Straight distance that half of the landings are within, m.
    pub half_within_m: f64,
    /// Straight distance that 9 of 10 landings are within, m.
    pub most_within_m: f64,
    /// Share of the landings to which it is the nearest of all waiting points.
    pub nearest_share: f64,
    /// How long the tracker is heard there.
    pub hearing: Hearing,
}

/// A road as people know it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Road {
    /// Its class.
    pub class: RoadClass,
    /// Its name; may be empty.
    pub name: String,
}

/// Why a place is one to wait at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WaitingReason {
    /// On a known road, with the shortest straight way to the landings on average.
    ShortestWay,
    /// With it, the straight ways of two cars are shortest on average.
    SecondCar,
    /// No roads are known: on dry ground, with the shortest straight way to the landings on average.
    Middle,
}

/// Between which heights a place hears the tracker of the planned flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hearing {
    /// From this height above mean sea level on the way up, m; `None` if never.
    pub from_m: Option<f64>,
    /// Down to this height above mean sea level on the way down, m; `None` if never.
    pub until_m: Option<f64>,
    /// How far away the tracker then is along the ground, m.
    pub last_distance_m: f64,
    /// How high the ground below it is then, m above mean sea level.
    pub ground_m: f64,
    /// Whether terrain was looked at.
    pub with_terrain: bool,
}

/// One number changed, and where the centre of the landings then is.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// What is changed.
    pub kind: ChangeKind,
    /// By how much.
    pub by: ChangeBy,
    /// The new centre; or why there is none.
    pub outcome: Result<Moved, NotMoved>,
}

/// What is changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChangeKind {
    /// The balloon bursts late.
    LateBurst,
    /// It bursts early.
    EarlyBurst,
    /// There is less lift.
    LowLift,
    /// There is more.
    HighLift,
    /// The stack is let go late.
    LateRelease,
}

/// By how much a number is changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ChangeBy {
    /// The altitude of the burst, m higher.
    BurstAltitude(f64),
    /// The diameter of the burst, as a share.
    BurstDiameter(f64),
    /// The rate of ascent, as a share.
    AscentRate(f64),
    /// The lift at the neck, as a share.
    NeckLift(f64),
    /// The release, s later.
    Release(f64),
}

/// Why a change moves no centre.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotMoved {
    /// The winds are of one time.
    WindsOfOneTime,
    /// Too many of the flights then leave the winds.
    LeaveWinds,
    /// The changed plan cannot be flown: why, as the error has it.
    NotFlown(String),
}

/// How a centre moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// Where it is then.
    pub center: Position,
    /// How far from where it was, m.
    pub distance_m: f64,
    /// Which way, degrees clockwise from true north.
    pub azimuth_deg: f64,
    /// How much later half of the draws have landed, s.
    pub later_s: f64,
}

/// When the planned flight passes a height.
#[derive(Debug, Clone, PartialEq)]
pub struct HeightRow {
    /// The height above mean sea level, m.
    pub height_m: f64,
    /// On the way up; `None` where it bursts below.
    pub up: Option<Mark>,
    /// On the way down.
    pub down: Option<Mark>,
}

/// What remains of the zone when the tracker was last heard at a height.
#[derive(Debug, Clone, PartialEq)]
pub struct QuietZone {
    /// Whether it was rising.
    pub rising: bool,
    /// Where it was heard last: a point of the planned track.
    pub last: Mark,
    /// Half of the landings are within this distance of their centre, m.
    pub half_circle_m: f64,
    /// The ellipse of 90 %.
    pub ellipse: GroundEllipse,
    /// From the last place to the centre, m.
    pub distance_m: f64,
    /// Which way, degrees clockwise from true north.
    pub azimuth_deg: f64,
    /// Landing times that 5, 50 and 95 % come down before.
    pub landing: Quantiles<Timestamp>,
}
