//! What the layers and the interpolated rise table cost at the landing: less than 10 m each
//! against layers a hundred times finer and the climb itself.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

mod common;
#[path = "common/stack.rs"]
mod stack;

use stack::Stack;
use windfall::flight::layers::{STATED_THICKNESS_M, THICKNESS_M};
use windfall::flight::model::{Departures, FlightModel, Flown, Scratch, Variation};
use windfall::flight::rise::{RiseSpread, RiseVariation};

/// A hundred times finer.
const FINE_M: f64 = THICKNESS_M / 100.0;
const ALLOWED_M: f64 = 10.0;

const CERTAIN: RiseSpread = RiseSpread {
    lift: 0.0,
    drag: 0.0,
    ln_re0: 0.0,
};

/// Twenty flights drawn from the full spread, the planned one first.
fn variations(stack: &Stack) -> Vec<Variation> {
    let sampler = stack.sampler();
    let mut all = vec![Variation::NONE];
    all.extend((0..20).map(|i| sampler.draw(i).variation));
    all
}

fn fly(model: &FlightModel, v: &Variation) -> Flown {
    model
        .fly(v, Departures::NONE, &mut Scratch::default(), None)
        .expect("it flies")
}

/// One flight whose rise is the climb itself at this thickness: a table of one node, made for it.
fn fly_directly(stack: &Stack, v: &Variation, thickness_m: f64) -> Flown {
    let mut plan = stack.plan;
    plan.climber = plan.varied(v.rise.lift, v.rise.drag, v.rise.ln_re0);
    let model = stack.model(stack.rise(&plan, CERTAIN, thickness_m), thickness_m);
    let rest = Variation {
        rise: RiseVariation {
            ..RiseVariation::NONE
        },
        ..*v
    };
    fly(&model, &rest)
}

fn apart_m(a: &Flown, b: &Flown) -> f64 {
    let place = |f: &Flown| f.landing.place.position();
    place(a).distance_m(place(b))
}

fn largest(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}

#[test]
fn layers_cost_less_than_ten_metres_with_balloon_physics() {
    let stack = Stack::at_riverton();
    let errors: Vec<f64> = variations(&stack)
        .iter()
        .map(|v| {
            let coarse = fly_directly(&stack, v, THICKNESS_M);
            let fine = fly_directly(&stack, v, FINE_M);
            apart_m(&coarse, &fine)
        })
        .collect();
    println!(
        "layers: planned {:.2} m, of 20 draws at most {:.2} m",
        errors[0],
        largest(&errors)
    );
    assert!(largest(&errors) < ALLOWED_M, "{errors:?}");
}

#[test]
fn layers_cost_less_than_ten_metres_with_stated_rates() {
    let stack = Stack::at_riverton();
    let coarse = stack.stated_model(STATED_THICKNESS_M);
    let fine = stack.stated_model(STATED_THICKNESS_M / 100.0);
    let errors: Vec<f64> = variations(&stack)
        .iter()
        .map(|v| apart_m(&fly(&coarse, v), &fly(&fine, v)))
        .collect();
    println!(
        "stated rates: planned {:.2} m, at most {:.2} m",
        errors[0],
        largest(&errors)
    );
    assert!(largest(&errors) < ALLOWED_M, "{errors:?}");
}

/// The interpolated table against the climb itself, in the same layers.
#[test]
fn the_rise_table_costs_less_than_ten_metres() {
    let stack = Stack::at_riverton();
    let model = stack.balloon_model(THICKNESS_M);
    let mut errors = Vec::new();
    for v in variations(&stack) {
        let error = apart_m(&fly(&model, &v), &fly_directly(&stack, &v, THICKNESS_M));
        let r = v.rise;
        println!(
            "lift {:.3} drag {:.3} ln Re0 {:+.3}: {error:.1} m",
            r.lift, r.drag, r.ln_re0
        );
        errors.push(error);
    }
    assert!(largest(&errors) < ALLOWED_M, "{errors:?}");
}
