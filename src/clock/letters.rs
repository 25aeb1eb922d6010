//! Letters of time zones, as people write them behind times.

/// Letters with hours east of UTC. Those that several parts of the world share are of North America.
pub const HOURS_EAST: [(&str, f64); 24] = [
    ("WET", 0.0),
    ("WEST", 1.0),
    ("BST", 1.0),
    ("CET", 1.0),
    ("CEST", 2.0),
    ("EET", 2.0),
    ("EEST", 3.0),
    ("JST", 9.0),
    ("AWST", 8.0),
    ("AEST", 10.0),
    ("AEDT", 11.0),
    ("NZST", 12.0),
    ("NZDT", 13.0),
    ("EST", -5.0),
    ("EDT", -4.0),
    ("CST", -6.0),
    ("CDT", -5.0),
    ("MST", -7.0),
    ("MDT", -6.0),
    ("PST", -8.0),
    ("PDT", -7.0),
    ("AKST", -9.0),
    ("AKDT", -8.0),
    ("HST", -10.0),
];
