//! A whole small program: where the bundled sample comes down, and how sure that is.
//!
//! ```text
//! cargo run --release --example zone
//! ```

#![allow(clippy::print_stdout, reason = "a program may talk")]

use windfall::{Options, Plan, Winds, predict};

fn main() -> windfall::Result<()> {
    let plan = Plan::read("samples/high-plains/plan.toml")?;
    let winds = Winds::of_plan(&plan)?;
    let zone = predict(&plan, &winds, Options::default(), || ())?.zone;

    println!("{} lands at {}", plan.name, zone.landing.position.text());
    if let Some(ellipse) = zone.outer() {
        let half_axes_m = [ellipse.shape.semi_major_m, ellipse.shape.semi_minor_m];
        let [long_km, short_km] = half_axes_m.map(|m| m / 1_000.0);
        let center = ellipse.center.text();
        println!("90 % within {long_km:.1} km by {short_km:.1} km of {center}");
    }
    Ok(())
}
