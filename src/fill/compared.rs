//! Published thresholds and the numbers of a stack, compared.

use serde::{Deserialize, Serialize};

/// Where a number lies. Never that something is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AgainstThreshold {
    /// The threshold is crossed.
    Above,
    /// It is not.
    Below,
    /// The plan, or the text, does not say enough.
    NotEnoughInformation,
}

/// Which number of a stack is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all(serialize = "snake_case"))]
pub enum ComparedQuantity {
    /// Mass of the heaviest package, kg.
    #[serde(rename(deserialize = "package mass"))]
    PackageMass,
    /// Mass of a package by the area of its smallest face, kg/m2.
    #[serde(rename(deserialize = "area density"))]
    AreaDensity,
    /// Mass of all packages, kg.
    #[serde(rename(deserialize = "payload mass"))]
    PayloadMass,
    /// Strength of the weakest line, N.
    #[serde(rename(deserialize = "line strength"))]
    LineStrength,
    /// Length of all lines, m.
    #[serde(rename(deserialize = "line length"))]
    LineLength,
    /// Volume of the balloon at its burst, m3.
    #[serde(rename(deserialize = "gas capacity"))]
    GasCapacity,
    /// Diameter of the balloon at its burst, m.
    #[serde(rename(deserialize = "burst diameter"))]
    BurstDiameter,
    /// Altitude of the burst, m above mean sea level.
    #[serde(rename(deserialize = "burst altitude"))]
    BurstAltitude,
    /// When notice is given, s before the release.
    #[serde(rename(deserialize = "notice"))]
    Notice,
}

/// From which number on a threshold is crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all(serialize = "snake_case"))]
pub enum Crossed {
    /// Above it.
    #[default]
    #[serde(rename(deserialize = "above"))]
    Above,
    /// At it already.
    #[serde(rename(deserialize = "at or above"))]
    AtOrAbove,
}

/// A published number.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Threshold {
    /// As published, with its unit.
    pub published: String,
    /// In SI.
    pub si: f64,
    /// From where on it is crossed.
    pub crossed: Crossed,
}

/// Numbers this close to a threshold are at it: sums of masses in pounds are not exact in binary.
const AT: f64 = 1e-9;

impl Threshold {
    /// Whether a number lies exactly at it.
    pub fn is_met_by(&self, value: f64) -> bool {
        (value - self.si).abs() <= AT * self.si.abs()
    }

    /// Whether a number crosses it.
    pub fn is_crossed_by(&self, value: f64) -> bool {
        match (self.is_met_by(value), self.crossed) {
            (true, crossed) => crossed == Crossed::AtOrAbove,
            (false, _) => value > self.si,
        }
    }
}

/// When notice is due.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Notice {
    /// Not earlier than this before the release, s.
    pub earliest_s: Option<f64>,
    /// Not later than this before the release, s.
    pub latest_s: f64,
}

/// The thresholds of one body of rules.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rules {
    /// What they are.
    pub title: String,
    /// One line a threshold.
    pub lines: Vec<ComparedLine>,
}

/// One threshold and the stack's number.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ComparedLine {
    /// What is compared, as the rules call it.
    pub what: String,
    /// Which number that is.
    pub quantity: ComparedQuantity,
    /// Where it lies.
    pub verdict: AgainstThreshold,
    /// The number in SI, if known.
    pub number_si: Option<f64>,
    /// The threshold; none of a notice.
    pub threshold: Option<Threshold>,
    /// When notice is due.
    pub notice: Option<Notice>,
    /// What to know of the number.
    pub remarks: Vec<Remark>,
    /// What the text says follows.
    pub means: String,
    /// Where it stands.
    pub citation: String,
    /// Where that was read.
    pub source: String,
    /// Of when.
    pub date: String,
    /// Whether the text itself was not read there.
    pub unverified: bool,
}

/// What to know of a number that is compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Remark {
    /// It is that of one package.
    OfPackage {
        /// Its name.
        name: String,
    },
    /// It is that of the weakest line.
    OfWeakestLine,
    /// It is that of all lines together.
    OfAllLines,
    /// It is the volume at the burst.
    VolumeAtBurst,
    /// How full the balloon is at release.
    FilledAtRelease {
        /// Volume of the gas, m3.
        volume_m3: f64,
    },
    /// It lies exactly at the threshold.
    AtThreshold {
        /// What the text says of that.
        crossed: Crossed,
    },
    /// The line is about more packages than there are.
    FewPackages {
        /// How many there are.
        packages: usize,
        /// How many or more it is about.
        least: usize,
    },
    /// No package is so heavy that the line is about it.
    NoPackageOf {
        /// The mass from which on it is.
        mass: Threshold,
    },
    /// The packages alone do not cross the threshold and everything below the neck does.
    PackagesOrAll {
        /// All packages, kg.
        packages_kg: f64,
        /// Lines, reflector and parachute with them, kg.
        all_kg: f64,
    },
    /// The balloon crosses the threshold at its burst and not at release.
    BurstOrRelease {
        /// Volume of the gas at release, m3.
        release_m3: f64,
    },
    /// It is that of the weakest line whose strength is known; others have none.
    WeakestKnownLine,
    /// The plan has no package.
    NoPackage,
    /// Some packages have no smallest face.
    NoSmallestFace {
        /// Their names.
        names: Vec<String>,
    },
    /// No line has its strength in the plan.
    NoLineStrength,
    /// The plan has no line.
    NoLine,
    /// Some lines have no length.
    NoLengthOfSome,
    /// The balloon has no burst diameter.
    NoBurstDiameter,
    /// The stack does not fly.
    NoFlight,
    /// The plan does not say when notice was given.
    NoticeNotInPlan,
}
