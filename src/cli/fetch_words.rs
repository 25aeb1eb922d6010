//! What `windfall fetch` prints.

use std::path::Path;

use jiff::Timestamp;

use super::fetch::{FetchArgs, plan_folder};
use windfall::fetch::address::shown;
use windfall::fetch::feed::Feed;
use windfall::fetch::field::{Level, WantedField};
use windfall::fetch::ranges::chunks;
use windfall::fetch::survey::{Order, Survey};
use windfall::plan::Plan;

/// Bytes of a megabyte.
pub const MB: u64 = 1_000_000;

/// What a dry run shows: every request.
pub fn requests(survey: &Survey) -> String {
    let mut text = String::new();
    for file in &survey.files {
        let path = file.path.display();
        if file.there.is_some() {
            text += &format!("{path} is there already, whole\n");
            continue;
        }
        let about = if file.asked.is_empty() { "" } else { "about " };
        text += &format!("{path}: {about}{}\n", in_words(file.bytes()));
        for chunk in chunks(&file.sources) {
            let (first, last) = (chunk.span.start, chunk.span.end() - 1);
            text += &format!(
                "  {} bytes={first}-{last} ({})\n",
                shown(&chunk.url),
                chunk.span.length
            );
        }
        for asked in &file.asked {
            text += &format!(
                "  {} (about {})\n",
                shown(&asked.url),
                in_words(asked.about)
            );
        }
    }
    text + &format!("{}\n", size(survey))
}

/// Requests and bytes.
fn size(survey: &Survey) -> String {
    let (count, bytes) = survey.requests();
    let about = match survey.files.iter().all(|f| f.asked.is_empty()) {
        true => "",
        false => "about ",
    };
    format!("{count} requests, {about}{} to download", in_words(bytes))
}

/// What is told before a download begins.
pub fn to_download(feed: &Feed, survey: &Survey) -> String {
    let (count, _) = survey.requests();
    let slowly = feed.a_minute.filter(|a_minute| count > *a_minute as usize);
    let slowly = slowly.map_or(String::new(), |a_minute| {
        // The requests of the first minute wait for nothing.
        let minutes = count.div_ceil(a_minute as usize) - 1;
        format!("; {a_minute} requests a minute at most: {minutes} min or more")
    });
    format!("{}{slowly}", size(survey))
}

/// What to do without this program's downloads.
pub fn by_hand(args: &FetchArgs, order: &Order) -> String {
    let levels = order.feed.wanted.iter().filter_map(|w| match w.level {
        Level::Pressure(hpa) if w.code == WantedField::EASTWARD => Some(hpa),
        _ => None,
    });
    // At least these: a feed may name other levels than pressures, and then none is found.
    let usual = (1000.0_f64, 10.0_f64);
    let (low, high) = levels.fold(usual, |(low, high), hpa| (low.max(hpa), high.min(hpa)));
    let site = order.site.text();
    let region = order.region().map_or(
        format!("{:.0} km around {site}", order.reach_m / 1e3),
        |region| region.in_words(),
    );
    format!(
        "To get winds by hand: on any computer that reaches the network, look for the open data of a \
         weather service (\"global model GRIB2 download\") and take wind (u and v), geopotential height \
         and temperature on levels of pressure from {low} to {high} hPa or higher, for {region}, from {} \
         to {}, as GRIB or NetCDF; or a sounding of the nearest station, as a text list. Then: \
         windfall zone {} --wind FILE",
        order.period.from,
        order.period.to,
        args.plan.display()
    )
}

/// What is there now, and how to use it.
pub fn summary(args: &FetchArgs, plan: &Plan, feed: &Feed, survey: &Survey) -> String {
    let local = |time: Timestamp| {
        let time = time.to_zoned_datetime(plan.timezone.clone());
        time.strftime("%Y-%m-%d %H:%M %Z").to_string()
    };
    let covers = survey.choice.covers();
    let steps = survey.choice.steps.len();
    let run = survey.choice.run.strftime("%Y-%m-%d %H:%M UTC");
    let mut text = String::new();
    for file in &survey.files {
        // By the file itself: of services that cut regions out the bytes were an estimate.
        let length = std::fs::metadata(&file.path).map(|m| m.len());
        let size = in_words(length.unwrap_or(file.bytes()));
        text += &format!("{:10}{}, {size}\n", "file", file.path.display());
    }
    text += &format!("{:10}{} ({})\n", "feed", feed.title, feed.name);
    text += &match feed.point {
        None => format!("{:10}{run}\n", "run"),
        Some(_) => format!(
            "{:10}not given; a single column above the site: its error grows with the distance from there\n",
            "run"
        ),
    };
    text += &format!(
        "{:10}{} to {}, {steps} times\n",
        "covers",
        local(covers.from),
        local(covers.to)
    );
    let folder = plan_folder(&args.plan);
    let in_plan = survey.files.iter().map(|f| as_in_plan(folder, &f.path));
    text += &format!(
        "{:10}[wind] files = [{}]\n",
        "use",
        in_plan.collect::<Vec<_>>().join(", ")
    );
    let files = survey.files.iter().map(|f| f.path.display().to_string());
    let files = files.collect::<Vec<_>>().join(" ");
    text += &format!(
        "{:10}windfall zone {} --wind {files}\n",
        "or",
        args.plan.display()
    );
    text + &format!("{:10}{} ({})\n", "source", feed.attribution, feed.licence)
}

/// A file's path as a plan in `folder` names it, in TOML.
fn as_in_plan(folder: &Path, file: &Path) -> String {
    let path = match file.strip_prefix(folder) {
        // An empty folder is a prefix of every path, also of one from the root.
        Ok(inside) if file.is_relative() == folder.is_relative() => inside.to_owned(),
        _ => std::path::absolute(file).unwrap_or(file.to_owned()),
    };
    let text = path.display().to_string();
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// A number of bytes for people.
pub fn in_words(bytes: u64) -> String {
    match bytes {
        0..10_000 => format!("{bytes} bytes"),
        10_000..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        _ => format!("{:.1} MB", bytes as f64 / 1e6),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_as_the_plan_sees_them() {
        let named = |folder: &str, file: &str| as_in_plan(Path::new(folder), Path::new(file));
        assert_eq!(named("plans", "plans/winds/a.grib2"), "\"winds/a.grib2\"");
        assert_eq!(named("", "winds/a.grib2"), "\"winds/a.grib2\"");
        assert_eq!(named("plans", "/tmp/a.grib2"), "\"/tmp/a.grib2\"");
        assert!(named("plans", "elsewhere/a.grib2").ends_with("/elsewhere/a.grib2\""));
        assert_eq!(named("", "/tmp/a.grib2"), "\"/tmp/a.grib2\"");
    }
}
