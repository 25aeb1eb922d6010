//! The URL of a file, with places to fill in.

/// A URL with `{date}`, `{hour}`, `{step}`, `{step:3}` or `{member}` in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Template {
    text: String,
    parts: Vec<Part>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    Text(String),
    Date,
    Hour,
    /// In hours, with at least this many digits.
    Step(usize),
    Member,
}

/// What is filled in.
#[derive(Debug, Clone, Copy)]
pub struct Filling<'a> {
    /// Day of the run, as YYYYMMDD.
    pub date: &'a str,
    /// Hour of the run, two digits.
    pub hour: &'a str,
    /// Hours after the run.
    pub step: u32,
    /// The member; empty where there are none.
    pub member: &'a str,
}

impl Template {
    /// Takes a template apart; on failure what was found and what would be right.
    pub fn parse(text: &str) -> Result<Template, (String, &'static str)> {
        if !text.starts_with("https://") && !text.starts_with("http://") {
            let expected = "a URL that begins with https:// or http://";
            return Err((format!("\"{text}\""), expected));
        }
        let expected = "{date}, {hour}, {step}, {step:3} or {member}";
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some((before, from)) = rest.split_once('{') {
            let Some((name, after)) = from.split_once('}') else {
                return Err((format!("{{ without }} in {text}"), expected));
            };
            let Some(part) = placeholder(name) else {
                return Err((format!("{{{name}}}"), expected));
            };
            parts.push(Part::Text(before.to_owned()));
            parts.push(part);
            rest = after;
        }
        parts.push(Part::Text(rest.to_owned()));
        Ok(Template {
            text: text.to_owned(),
            parts,
        })
    }

    /// The template as written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether it depends on the member.
    pub fn has_member(&self) -> bool {
        self.parts.contains(&Part::Member)
    }

    /// The URL.
    pub fn fill(&self, with: Filling) -> String {
        let parts = self.parts.iter().map(|part| match part {
            Part::Text(text) => text.clone(),
            Part::Date => with.date.to_owned(),
            Part::Hour => with.hour.to_owned(),
            Part::Step(digits) => format!("{:0digits$}", with.step, digits = *digits),
            Part::Member => with.member.to_owned(),
        });
        parts.collect()
    }
}

fn placeholder(name: &str) -> Option<Part> {
    match name {
        "date" => Some(Part::Date),
        "hour" => Some(Part::Hour),
        "step" => Some(Part::Step(1)),
        "member" => Some(Part::Member),
        _ => {
            let digits = name.strip_prefix("step:")?.parse().ok()?;
            (1..=6).contains(&digits).then_some(Part::Step(digits))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_template_is_filled() {
        let with = Filling {
            date: "20261125",
            hour: "06",
            step: 9,
            member: "p01",
        };
        let template =
            Template::parse("https://h/{date}/{hour}/ge{member}.f{step:3}-{step}h").unwrap();
        assert_eq!(template.fill(with), "https://h/20261125/06/gep01.f009-9h");
        assert!(template.has_member());
    }

    #[test]
    fn what_is_not_known_is_refused() {
        for wrong in [
            "https://h/{day}",
            "https://h/{step:x}",
            "https://h/{step:9}",
            "https://h/{date",
            "h/{date}",
        ] {
            assert!(Template::parse(wrong).is_err(), "{wrong}");
        }
    }
}
