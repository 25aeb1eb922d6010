//! A feed of a server on this machine, a plan that lies in its run, and a client for quick tests.

#![allow(dead_code, reason = "each test file uses a part of it")]

use std::time::Duration;

use windfall::fetch::http::Patience;

/// A feed of the test's server: nothing but data.
pub fn feed_text(url: &str, inventory: &str) -> String {
    format!(
        r#"
        [test]
        title = "A test"
        licence = "public domain"
        attribution = "NOAA/NCEP"
        urls = ["{url}/{{date}}/{{hour}}/f{{step:3}}.grib2"]
        inventory = "{inventory}"
        complete_after = "5 h"
        runs = [{{ hours = [0, 6, 12, 18], steps = [[0, 24, 6]] }}]
        area = {{ south = -60, north = 60, west = -180, east = 180 }}
        levels = [10, 50, 100, 200, 250, 300, 400, 500, 700, 850, 925, 1000]
        variables = [
            {{ name = "HGT", code = [0, 3, 5] }},
            {{ name = "UGRD", code = [0, 2, 2] }},
            {{ name = "VGRD", code = [0, 2, 3] }},
            {{ name = "TMP", code = [0, 0, 0] }},
        ]
        "#
    )
}

/// A flight at the hours of that run.
pub const PLAN: &str = r#"
[flight]
name = "test"
release = 2020-08-15T12:00:00Z
timezone = "UTC"
[site]
lat = 48
lon = 2
elevation = "100 m"
[ascent]
rate = "5 m/s"
burst_altitude = "30 km"
[descent]
landing_speed = "5 m/s"
"#;

/// Impatient, so that tests are quick.
pub fn patience() -> Patience {
    Patience {
        connect: Duration::from_secs(5),
        read: Duration::from_secs(5),
        answer: Duration::from_secs(10),
        tries: 3,
        pause: Duration::from_millis(1),
        longest: Duration::from_millis(300),
        minute: Duration::from_millis(300),
    }
}
