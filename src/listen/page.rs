//! A page that is asked again and again.

use std::io::Read;
use std::sync::mpsc::SyncSender;
use std::thread;

use ureq::Agent;

use super::{Backoff, Event, Said, Waiting, gone};
use crate::files::address::{cause_shown, shown};

/// The longest page, bytes.
const LONGEST: u64 = 16 << 20;

/// Asks until nobody takes events any more; a page that has not changed is not told again.
pub fn ask(url: &str, waiting: Waiting, to: &SyncSender<Event>) {
    let config = Agent::config_builder()
        .timeout_global(Some(waiting.silent))
        .timeout_connect(Some(waiting.connect))
        .user_agent(concat!("windfall/", env!("CARGO_PKG_VERSION")))
        .build();
    let agent: Agent = config.into();
    let (mut backoff, mut before, mut first) = (Backoff::new(waiting), Vec::new(), true);
    loop {
        match page(&agent, url) {
            Ok(page) => {
                backoff.worked();
                if std::mem::take(&mut first) && gone(to, Event::Said(Said::Connected(shown(url))))
                {
                    return;
                }
                let event = match page == before {
                    // Nothing new, but nobody may be listening any more, which only a send shows.
                    true => Event::Bytes(Vec::new()),
                    false => Event::Whole(page.clone()),
                };
                before = page;
                if gone(to, event) {
                    return;
                }
                thread::sleep(waiting.ask);
            }
            Err(why) => {
                // When it answers again, that is told.
                first = true;
                if !backoff.wait(why, to) {
                    return;
                }
            }
        }
    }
}

fn page(agent: &Agent, url: &str) -> Result<Vec<u8>, String> {
    let words =
        |cause: &dyn std::fmt::Display| format!("{}: {}", shown(url), cause_shown(url, cause));
    let mut answer = agent.get(url).call().map_err(|cause| words(&cause))?;
    let mut bytes = Vec::new();
    let body = answer.body_mut().as_reader();
    body.take(LONGEST + 1)
        .read_to_end(&mut bytes)
        .map_err(|cause| words(&cause))?;
    // Half of a document would pass for a damaged one.
    if bytes.len() as u64 > LONGEST {
        return Err(words(&"a page of more than 16 MB"));
    }
    Ok(bytes)
}
