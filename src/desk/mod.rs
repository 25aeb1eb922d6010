//! The desk: the whole job on one local page, for people who never use a terminal.
//!
//! A server that listens on this computer only ([`bind`]) and answers nobody without the key of its run (`door`).
//! What its page saves are the same plans that the commands read (`drafts`, `fields`), inside one folder
//! (`folder`). What is shown while somebody types is computed anew for each change (`live`); long work is a job
//! (`jobs`, `work`, `flight`), one at a time. Pages are pure functions (`page`, `show`) and work without script, but for the
//! map and live results; every text of theirs is in `words`.

mod air;
mod begin;
mod door;
mod drafts;
pub mod fields;
mod flight;
mod folder;
mod jobs;
mod key;
mod land;
mod live;
mod made;
mod page;
mod routes;
mod server;
mod show;
mod state;
mod words;
mod work;

pub use self::server::{Bound, bind};
pub use self::state::Settings;
use crate::error::Error;

/// What cannot happen unless something was taken away meanwhile.
fn gone() -> Error {
    Error::CannotDo {
        why: words::NOT_FOUND.into(),
        remedy: words::LOOK_AGAIN.into(),
    }
}

/// What there is to say where a plan's text has to be changed and is no TOML.
fn no_toml() -> Error {
    Error::CannotDo {
        why: words::NO_TOML.into(),
        remedy: words::NO_TOML_REMEDY.into(),
    }
}
