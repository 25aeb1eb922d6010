//! Rates of ascent at a known lift, from tables, formulas and one weighed flight.

#![allow(dead_code, reason = "each test file uses a part of it")]

use windfall::atmosphere::AirProfile;
use windfall::vehicle::ascent::{Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas};

/// How a value came here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// The text was read.
    Read,
    /// Quoted on another page, which was read.
    Quoted,
    /// From memory: whoever has the source should check it.
    Memory,
}

/// One known lift with the rate it gives.
#[derive(Debug, Clone, Copy)]
pub struct KnownLift {
    pub balloon_g: f64,
    pub load_g: f64,
    pub free_g: f64,
    pub rate_m_s: f64,
}

/// Known lifts of one source.
#[derive(Debug, Clone)]
pub struct Source {
    pub name: &'static str,
    pub from: &'static str,
    pub seen: Seen,
    pub gas: Gas,
    pub cases: Vec<KnownLift>,
    /// From where to where the rate is a mean, m; `None` for the rate at release.
    pub between_m: Option<(f64, f64)>,
}

/// All rows of the maker's table rise with 320 m/min.
const MAKER: [[f64; 3]; 13] = [
    // balloon, load, free lift, g
    [200.0, 250.0, 510.0],
    [300.0, 250.0, 560.0],
    [350.0, 250.0, 585.0],
    [450.0, 250.0, 635.0],
    [500.0, 250.0, 655.0],
    [600.0, 250.0, 870.0],
    [700.0, 250.0, 920.0],
    [800.0, 250.0, 970.0],
    [1000.0, 250.0, 1060.0],
    [1200.0, 1050.0, 1190.0],
    [1500.0, 1050.0, 1280.0],
    [2000.0, 1050.0, 1420.0],
    [3000.0, 1050.0, 1670.0],
];

const WMO: [[f64; 4]; 9] = [
    // balloon, load, free lift, g; rate, m/min
    [10.0, 0.0, 5.0, 60.0],
    [30.0, 0.0, 60.0, 150.0],
    [100.0, 0.0, 300.0, 250.0],
    [200.0, 250.0, 500.0, 300.0],
    [350.0, 250.0, 600.0, 300.0],
    [600.0, 250.0, 900.0, 300.0],
    [1000.0, 250.0, 1100.0, 300.0],
    [1500.0, 1000.0, 1300.0, 300.0],
    [3000.0, 1000.0, 1700.0, 300.0],
];

/// What is known of rates at a known lift.
pub fn sources() -> Vec<Source> {
    let maker = MAKER.iter().map(|&[balloon_g, load_g, free_g]| KnownLift {
        balloon_g,
        load_g,
        free_g,
        rate_m_s: 320.0 / 60.0,
    });
    // The balloon of 10 g flies at Re 2e4, where no curve here was ever held.
    let wmo = WMO
        .iter()
        .skip(1)
        .map(|&[balloon_g, load_g, free_g, rate]| KnownLift {
            balloon_g,
            load_g,
            free_g,
            rate_m_s: rate / 60.0,
        });
    let pilot =
        [(30.0, 60.0), (30.0, 139.0), (100.0, 300.0)].map(|(balloon_g, free_g)| KnownLift {
            balloon_g,
            load_g: 0.0,
            free_g,
            rate_m_s: pilot_balloon_m_s(balloon_g, free_g),
        });
    vec![
        Source {
            name: "maker",
            from: "Totex, performance table of the TA series",
            seen: Seen::Quoted,
            gas: Gas::Hydrogen,
            cases: maker.collect(),
            between_m: None,
        },
        Source {
            name: "WMO",
            from: "WMO-No. 8, table of typical balloon performance",
            seen: Seen::Memory,
            gas: Gas::Hydrogen,
            cases: wmo.collect(),
            between_m: None,
        },
        Source {
            name: "pilot",
            from: "pilot balloons: 72 (l^3 / L^2)^0.208 and 84 l^0.5 / L^(1/3), the mean of both",
            seen: Seen::Memory,
            gas: Gas::Hydrogen,
            cases: pilot.to_vec(),
            between_m: None,
        },
        Source {
            name: "weighed",
            from: "Pegasus II, April 2016: neck lift by a weight, heights and times of its track \
                   (pegasusmission.com)",
            seen: Seen::Read,
            gas: Gas::Helium,
            cases: vec![KnownLift {
                balloon_g: 2_000.0,
                load_g: 3_950.0,
                free_g: 1_795.0,
                rate_m_s: (33_742.0 - 223.0) / 6_046.0,
            }],
            between_m: Some((223.0, 33_742.0)),
        },
        Source {
            // 700 g under a balloon of 100 g, 900 g under one of 300 g, for 900 to 1,000 ft/min.
            // The load is not stated there: 250 g with its train are from memory.
            name: "service",
            from: "U.S. Navy, Aerographer's Mate training manual 14270, page 20",
            seen: Seen::Read,
            gas: Gas::Helium,
            cases: [(100.0, 450.0), (300.0, 650.0)]
                .map(|(balloon_g, free_g)| KnownLift {
                    balloon_g,
                    load_g: 250.0,
                    free_g,
                    rate_m_s: 950.0 * 0.3048 / 60.0,
                })
                .to_vec(),
            between_m: None,
        },
    ]
}

/// The mean of two formulas for pilot balloons in hydrogen, free lift l and l + balloon L in g:
/// 72 (l^3 / L^2)^0.208 and 84 l^0.5 / L^(1/3) m/min. They differ by up to 6 %.
fn pilot_balloon_m_s(balloon_g: f64, free_g: f64) -> f64 {
    let all = free_g + balloon_g;
    let american = 72.0 * (free_g.powi(3) / (all * all)).powf(0.208);
    let british = 84.0 * free_g.sqrt() / all.cbrt();
    0.5 * (american + british) / 60.0
}

impl Source {
    /// ln(model / source) of every case.
    pub fn departures(&self, drag: DragCurve) -> Vec<f64> {
        let air = AirProfile::standard();
        let of = |case: &KnownLift| (self.modelled_m_s(case, drag, &air) / case.rate_m_s).ln();
        self.cases.iter().map(of).collect()
    }

    /// The model's rate of a case in the standard atmosphere, m/s.
    pub fn modelled_m_s(&self, case: &KnownLift, drag: DragCurve, air: &AirProfile) -> f64 {
        let from_m = self.between_m.map_or(0.0, |(from_m, _)| from_m);
        let dead_mass_kg = (case.balloon_g + case.load_g) / 1_000.0;
        let gross_kg = dead_mass_kg + case.free_g / 1_000.0;
        let gas = LiftingGas {
            gas: self.gas,
            purity: 1.0,
        };
        let climber = Climber {
            dead_mass_kg,
            fill: GasFill::of_gross_lift(gas, gross_kg, &air.at(from_m)),
            drag,
            drag_factor: 1.0,
            heat: GasHeat::Convective,
        };
        match self.between_m {
            None => climber.rate_at(air, from_m),
            Some((from_m, to_m)) => {
                let count = ((to_m - from_m) / 250.0).ceil() as usize;
                let thickness_m = (to_m - from_m) / count as f64;
                let seconds = climber.climb(air, from_m, thickness_m, count).seconds;
                (to_m - from_m) / seconds.iter().sum::<f64>()
            }
        }
    }
}
