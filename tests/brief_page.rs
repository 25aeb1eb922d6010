//! The page in Debian's Chromium, without a network: on a phone, on a desk, on paper, without its
//! script, and by the rules of axe-core (WCAG 2 among them).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "helpers of tests fail by panicking, too"
)]

#[path = "common/briefing.rs"]
mod briefing;
#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::path::Path;
use std::process::Command;

use briefing::{Briefing, hostile, root, said, skipped, tool};
use serde_json::Value;

/// What the browser finds; the screenshots and PDF files stay in `target/pages/NAME`. `None` where
/// there is no browser.
fn looked_at(page: &Path, name: &str) -> Option<Value> {
    let chromium = tool(&["chromium", "chromium-browser"])?;
    let node = tool(&["node", "nodejs"])?;
    let modules = root().join("target/browser/node_modules");
    if !modules.join("axe-core").is_dir() {
        assert!(std::env::var_os("CI").is_none(), "CI has no axe-core");
        skipped("npm ci has not been run in target/browser (.ci/run does it)");
        return None;
    }
    let mut command = Command::new(node);
    command
        .env("NODE_PATH", modules)
        .arg(root().join("tests/browser/check.cjs"))
        .args([&chromium, page, &root().join("target/pages").join(name)]);
    Some(serde_json::from_str(&said(&mut command)).unwrap())
}

fn numbers(value: &Value) -> Vec<f64> {
    let all = value.as_array().unwrap().iter();
    all.map(|v| v.as_f64().unwrap()).collect()
}

fn check(result: &Value, name: &str, sections: usize) {
    for (width, found) in result["widths"].as_object().unwrap() {
        let at = format!("{name} at {width} px");
        let sizes = numbers(&found["sizes"]);
        assert!(sizes[0] <= sizes[1], "{at}: {sizes:?}");
        assert_eq!(found["requests"], serde_json::json!([]), "{at}");
        assert_eq!(found["talk"], serde_json::json!([]), "{at}");
        assert_eq!(found["outside"], serde_json::json!([]), "{at}");
        assert_eq!(
            found["small"],
            serde_json::json!([]),
            "{at}: targets under 44 px"
        );
        let zoom = |step: &str| numbers(&found["zoom"][step]);
        let (whole, nearer, dragged) = (zoom("whole"), zoom("nearer"), zoom("dragged"));
        assert!(
            (whole[2] / nearer[2] - 2.56).abs() < 0.01,
            "{at}: {nearer:?}"
        );
        assert!(
            dragged[0] > nearer[0] && dragged[1] > nearer[1],
            "{at}: {dragged:?}"
        );
        assert_eq!(dragged[2], nearer[2], "{at}");
        assert!(zoom("wheeled")[2] < 0.9 * nearer[2], "{at}");
        assert!(zoom("farther")[2] > zoom("wheeled")[2], "{at}");
        assert_eq!(zoom("again"), whole, "{at}");
        for scheme in ["light", "dark"] {
            let at = format!("{at}, {scheme}");
            let axe = &found["axe"][scheme];
            assert_eq!(axe["violations"], serde_json::json!([]), "{at}");
            let passes = axe["passes"].as_array().unwrap();
            for rule in [
                "color-contrast",
                "html-has-lang",
                "heading-order",
                "svg-img-alt",
            ] {
                assert!(
                    passes.iter().any(|p| p == rule),
                    "{at}: {rule} was not tried: {passes:?}"
                );
            }
        }
        assert_ne!(
            found["axe"]["light"]["paper"], found["axe"]["dark"]["paper"],
            "{at}: dark is as light"
        );
        assert_eq!(
            found["sections"].as_array().unwrap().len(),
            sections,
            "{at}"
        );
    }
    assert_eq!(result["withoutScript"]["requests"], serde_json::json!([]));
    for (sheet, found) in result["print"].as_object().unwrap() {
        let pages = found["pages"].as_u64().unwrap();
        // With texts as long as nobody writes them it may be one sheet more.
        let most = 4 + u64::from(name == "everything");
        assert!(
            (2..=most).contains(&pages),
            "{name}: {pages} pages of {sheet}"
        );
        assert_eq!(found["outside"], serde_json::json!([]), "{name} on {sheet}");
    }
}

#[test]
fn the_sample_reads_on_a_phone_a_desk_and_paper() {
    let briefing = Briefing::of_sample(&[]);
    if let Some(result) = looked_at(&briefing.path("brief.html"), "sample") {
        check(&result, "sample", 13);
    }
}

#[test]
fn the_second_cars_page_of_the_sample_prints_on_two_sheets() {
    let briefing = Briefing::of_sample(&[]);
    if let Some(result) = looked_at(&briefing.path("second-car.html"), "second-car-of-sample") {
        for (sheet, found) in result["print"].as_object().unwrap() {
            assert_eq!(found["pages"], 2, "{sheet}");
        }
    }
}

#[test]
fn the_second_cars_page_reads_as_well() {
    let briefing = Briefing::of_everything();
    if let Some(result) = looked_at(&briefing.path("second-car.html"), "second-car") {
        check(&result, "second-car", 8);
    }
}

#[test]
fn texts_of_the_plan_stay_texts() {
    let briefing = Briefing::of_everything();
    let Some(result) = looked_at(&briefing.path("brief.html"), "everything") else {
        return;
    };
    check(&result, "everything", 13);
    let found = &result["widths"]["390"];
    assert_eq!(found["heading"], hostile("name").as_str());
    assert_eq!(
        found["title"],
        format!("{}: chase briefing", hostile("name")).as_str()
    );
    let text = found["text"].as_str().unwrap();
    for what in ["contact", "notes"] {
        assert!(text.contains(&hostile(what)), "{what}");
    }
    // Of the names of roads and areas the beginning.
    for what in ["road", "area"] {
        let start: String = hostile(what).chars().take(70).collect();
        assert!(text.contains(&start), "{what}");
    }
}
