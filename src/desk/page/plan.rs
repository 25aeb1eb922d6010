//! The page of a plan, station by station.

use std::borrow::Cow;

use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::forms::{
    days_form, debrief_form, drop_form, fetch_form, follow_form, place_form, sites_form, work_form,
};
use super::frame::{address, document};
use super::inputs::{inputs, load};
use super::map::map;
use super::shown::PlanPage;
use crate::desk::drafts::FileIs;
use crate::desk::jobs::JobNow;
use crate::desk::live::FieldFault;
use crate::desk::made::{Answer, Made};
use crate::desk::show::{self, Take, encoded};
use crate::desk::state::View;
use crate::desk::words::{self, Station};
use crate::units::UnitSystem;

/// The page of a plan.
pub fn plan(page: &PlanPage) -> Markup {
    let title = format!("{}: {}", page.name, words::DESK);
    let body = html! {
        form method="post" action="/plan/edit" #plan-form {
            input type="hidden" name="name" value=(page.name);
            input type="hidden" name="step" value=(page.step);
        }
        section.bar aria-label=(words::PLAN_BAR) {
            h1 { (page.name) }
            (state(page))
            (job(page.job.as_ref()))
        }
        nav.stations aria-label=(words::STATIONS) {
            ol {
                @for station in Station::ALL {
                    li { a href={ "#" (station.id()) } { (station.title()[0]) } }
                }
            }
        }
        main #main data-plan=(page.name) data-late=[page.live.is_none().then_some("")] {
            (faults(page))
            @for station in Station::ALL {
                section id=(station.id()) aria-labelledby={ (station.id()) "-heading" } tabindex="-1" {
                    h2 id={ (station.id()) "-heading" } { (station.title()[0]) " " small { (station.title()[1]) } }
                    (content(page, station))
                }
            }
        }
    };
    document(&title, page.view, &address(page.name, None), body)
}

/// Whether all is saved, and the buttons for it.
fn state(page: &PlanPage) -> Markup {
    let button = |action: &str, label: &str, on: bool| {
        html! {
            form method="post" action={ "/plan/" (action) } data-state="" {
                input type="hidden" name="name" value=(page.name);
                button disabled[!on] data-do=(action) { (label) }
            }
        }
    };
    let said = match (page.file, page.unsaved) {
        (FileIs::Changed, _) => words::CHANGED,
        (FileIs::TakenOver, _) => words::TAKEN_OVER,
        (FileIs::Gone, _) => words::GONE,
        (_, true) => words::UNSAVED,
        _ => words::SAVED,
    };
    let conflict = page.file == FileIs::Changed;
    html! {
        div #state {
            p #saved role="status" { (said) }
            (button("undo", words::UNDO, page.can[0]))
            (button("redo", words::REDO, page.can[1]))
            (button("save", words::SAVE, (page.unsaved || page.file == FileIs::Gone) && !conflict))
            @if conflict { (button("take-file", words::TAKE_FILE, true)) }
            details open[conflict] {
                summary { (words::SAVE_AS) }
                form.save-as method="post" action="/plan/save-as" {
                    input type="hidden" name="name" value=(page.name);
                    label { (words::FILE_NAME) " " input name="file" autocomplete="off"; }
                    button { (words::SAVE) }
                }
            }
        }
    }
}

/// The job that runs.
fn job(job: Option<&JobNow>) -> Markup {
    let running = job.filter(|job| job.state == "running");
    let said = match (running, job) {
        (Some(job), _) => job.doing.clone(),
        (None, Some(job)) if job.state == "failed" => job.message.clone(),
        _ => words::IDLE.to_owned(),
    };
    html! {
        div #job class=[running.map(|_| "on")] {
            p role="status" #job-said { (said) }
            progress #job-share aria-label=(words::PROGRESS) max="1" hidden[running.is_none()] {}
            form method="post" action="/job/stop" hidden[running.is_none()] {
                button { (words::STOP) }
            }
        }
    }
}

fn faults(page: &PlanPage) -> Markup {
    html! { div #faults { (fault_list(&page.faults)) } }
}

/// What is wrong with the plan, each with a way to its field.
pub fn fault_list(faults: &[FieldFault]) -> Markup {
    html! {
        @if !faults.is_empty() {
            div.wrong.summary role="note" {
                p { strong { (words::MISSING) } }
                ul {
                    @for (field, wrong) in faults {
                        li {
                            @match field {
                                Some(id) => { a href={ "#" (id) } { (words::field(id)[0]) } ": " (wrong) }
                                None => (wrong),
                            }
                        }
                    }
                }
            }
        }
    }
}

fn content(page: &PlanPage, station: Station) -> Markup {
    let live = page.live.as_ref();
    let late = || html! { p.late { (words::LATE) " " a href={ "/plan?name=" (encoded(page.name)) "&wait=yes#" (station.id()) } { (words::LOOK_AGAIN) } } };
    let shown = |part: &str, markup: Option<&Markup>| {
        html! {
            div.shown data-part=(part) {
                @match (live, markup) {
                    (None, _) => (late()),
                    (_, Some(markup)) => (markup),
                    _ => p { (words::NOT_YET) },
                }
            }
        }
    };
    match station {
        Station::Flight => html! {
            (inputs(page, station))
            (place_form(page))
        },
        Station::Stack => html! {
            (inputs(page, station))
            (load(page))
            (shown("fill", live.and_then(|l| l.fill.as_ref())))
            p { a href={ "/card?name=" (encoded(page.name)) } target="_blank" { (words::CARD) } }
        },
        Station::Winds => html! {
            (inputs(page, station))
            (drop_form(page))
            (fetch_form(page))
            (made(page, station))
            (shown("winds", live.and_then(|l| l.winds.as_ref())))
        },
        Station::Days => html! {
            (inputs(page, station))
            (days_form(page))
            (made(page, station))
        },
        Station::Site => html! {
            p.scripted { (words::SITE_MAP) }
            (sites_form(page))
            (made(page, station))
            (inputs(page, station))
        },
        Station::Zone => html! {
            (shown("zone", live.and_then(|l| l.zone.as_ref())))
            (map(page))
            (shown("numbers", live.and_then(|l| l.numbers.as_ref())))
            (inputs(page, station))
        },
        Station::Brief => html! {
            (inputs(page, station))
            (work_form(page, "brief", words::BRIEF_BUTTON, html! {}))
            (made(page, station))
        },
        Station::Follow => html! {
            p { (words::FOLLOW) }
            (follow_form(page))
            (made(page, station))
        },
        Station::After => html! {
            p { (words::AFTER) }
            (debrief_form(page))
            (made(page, station))
        },
        Station::Text => text(page),
    }
}

/// What long work made of the plan at a station.
fn made(page: &PlanPage, station: Station) -> Markup {
    let made = page.made.iter().find(|(of, _)| *of == station);
    html! {
        div.made data-made=(station.id()) role="region" aria-label={ (words::RESULT) " " (station.title()[0]) } {
            @if let Some((_, made)) = made { (answer(made, &page.take(), page.text, page.view, page.units)) }
        }
    }
}

/// What was made, with the clocks of the view: a copy only where these are not the plan's own.
fn by_clocks<T: Clone>(
    made: &T,
    view: View,
    timezone: impl Fn(&mut T) -> &mut TimeZone,
) -> Cow<'_, T> {
    if !view.utc {
        return Cow::Borrowed(made);
    }
    let mut made = made.clone();
    *timezone(&mut made) = TimeZone::UTC;
    Cow::Owned(made)
}

/// An answer of long work about a plan whose text is now this one. Its times are shown by the clocks of the view.
pub fn answer(made: &Made, take: &Take, text: &str, view: View, units: UnitSystem) -> Markup {
    // A download changes the plan itself, and is as good after it.
    let lasts = matches!(made.answer, Answer::Fetched(_));
    html! {
        @if made.of != text && !lasts { p.old { (words::MADE_BEFORE) } }
        @match &made.answer {
            Answer::Days(days) => (show::days(&by_clocks(&**days, view, |d| &mut d.basis.timezone), take, units)),
            Answer::Sites(sites) => (show::sites(&by_clocks(&**sites, view, |s| &mut s.basis.timezone), take, units)),
            Answer::Aim(aim) => (show::aim(&by_clocks(&**aim, view, |a| &mut a.basis.timezone), take, units)),
            Answer::Looked(looked) => (show::looked(looked, take.plan)),
            Answer::Written(files) => (show::written(files, take.plan)),
            Answer::Followed(followed) => (show::followed(followed, &view.clocks(&followed.timezone), units)),
            Answer::Debriefed(debriefed) => (show::debriefed(debriefed, &by_clocks(&debriefed.plan, view, |p| &mut p.timezone), units)),
            Answer::Fetched(files) => {
                p { (words::FETCHED) }
                ul { @for file in files { li { (file) } } }
            }
        }
    }
}

fn text(page: &PlanPage) -> Markup {
    html! {
        form method="post" action="/plan/text" {
            input type="hidden" name="name" value=(page.name);
            input type="hidden" name="step" value=(page.step) autocomplete="off";
            div.field {
                label for="whole" { (words::TEXT_LABEL) }
                textarea #whole name="text" rows="24" spellcheck="false" autocomplete="off" { "\n" (page.text) }
            }
            button { (words::TEXT_APPLY) }
        }
    }
}
