//! Years of winds: which field, which season, how often. A plan is flown through every day of a long
//! record of winds, from one or more fields, judged as `choice::days` judges a release, and counted.
//!
//! The work is cut into units, a day from a field each; any run of them can be done anywhere
//! ([`Job::fly`]) and written as a part ([`parts`]). What all parts together hold is the same however
//! they were cut, and so is the answer ([`tally`]).

pub mod answer;
pub mod cells;
pub mod digest;
mod fly;
mod full;
pub mod job;
mod known_files;
pub mod long_record;
pub mod parts;
pub mod release;
pub mod tally;
mod waits;

pub use self::job::{Job, YearsRequest};
