//! A briefing for the crew: everything decided, nothing left to compute.

use std::sync::Arc;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::choice::answer::{Hazard, NearPlace};
use crate::geodesy::Position;
use crate::ground::airports::Airport;
use crate::ground::layers::{Layer, LayerNote, Line};
use crate::ground::places::Place;
use crate::ground::terrain::Terrain;
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
    pub timeline: Vec<Event>,
    /// The landing of every draw that came down, s after the planned release.
    pub landing_times_s: Vec<f64>,
    /// Where to wait, the best first.
    pub waiting: Vec<WaitingPoint>,
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
    /// Whom to call, as the plan has it.
    pub contacts: Vec<String>,
    /// Free text of the plan.
    pub remarks: String,
    /// Where the ground comes from.
    pub sources: Vec<String>,
    /// What the readers of the ground's layers found.
    pub layer_notes: Vec<LayerNote>,
}

/// What a map shows of the ground.
#[derive(Debug, Clone, Default)]
pub struct MapGround {
    /// Given and built-in layers.
    pub layers: Vec<Layer>,
    /// Borders on land, as lines.
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

impl EventKind {
    /// In a word or two.
    pub fn name(self) -> &'static str {
        match self {
            EventKind::Filling => "filling",
            EventKind::Release => "release",
            EventKind::Burst => "burst",
            EventKind::Landing => "landing",
            EventKind::Sunset => "sunset",
            EventKind::Dark => "dark",
        }
    }
}

/// Something that happens at a time or within a span of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
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
    /// What to know about it.
    pub note: String,
}

/// A place where a car waits for the landing.
#[derive(Debug, Clone, PartialEq)]
pub struct WaitingPoint {
    /// Its name, as in "A".
    pub name: String,
    /// Where.
    pub position: Position,
    /// Height of the ground there above mean sea level, m.
    pub ground_m: f64,
    /// The road it lies on, in words, if it is one.
    pub road: Option<String>,
    /// Why there.
    pub why: String,
    /// Straight distance that half of the landings are within, m.
    pub half_within_m: f64,
    /// Straight distance that 9 of 10 landings are within, m.
    pub most_within_m: f64,
    /// Share of the landings to which it is the nearest of all waiting points.
    pub nearest_share: f64,
    /// How long the tracker is heard there.
    pub hearing: Hearing,
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
    /// What is changed, as in "late burst".
    pub name: String,
    /// By how much, in words.
    pub by: String,
    /// The new centre; or why there is none.
    pub outcome: Result<Moved, String>,
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
    pub landing: [Timestamp; 3],
}
