//! What is known of the trackers whose reports a command reads.

use clap::Args;

use windfall::error::Result;
use windfall::track::fields::Fields;
use windfall::track::reader::Reader;

/// The trackers, and where things stand in what they send.
#[derive(Debug, Args)]
pub struct TrackerArgs {
    /// The tracker's call sign or name; may be given for each tracker of the stack.
    #[arg(long, value_name = "NAME")]
    pub call: Vec<String>,
    /// Which field is which in tables and JSON: time=...,lat=...,lon=...,alt=..., with dotted paths, numbers of
    /// columns, and units after a colon.
    #[arg(long, value_name = "MAP")]
    pub fields: Option<String>,
}

impl TrackerArgs {
    /// A reader of their reports, to begin each source with.
    ///
    /// # Errors
    ///
    /// Fields that cannot be read.
    pub fn reader(&self) -> Result<Reader> {
        let fields = self.fields.as_deref();
        let fields = fields.map_or(Ok(Fields::default()), Fields::parse)?;
        Ok(Reader::new(fields, &self.call))
    }
}
