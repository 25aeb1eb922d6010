//! The text of a plan, changed key by key: comments, order and everything that is not touched stay.

use std::path::{Path, PathBuf};

use toml_edit::{
    Array, ArrayOfTables, Decor, DocumentMut, InlineTable, Item, Table, TableLike, Value,
};

/// A key of a plan: its section, the number of the table where a section stands several times (from 0),
/// and its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key<'a> {
    /// As in "balloon".
    pub section: &'a str,
    /// As in the second `[[load]]`, which is 1.
    pub table: Option<usize>,
    /// As in "mass".
    pub name: &'a str,
}

/// What is written for a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Written {
    /// Nothing: the key is not there.
    Nothing,
    /// A text.
    Text(String),
    /// A number, as it is typed; what is none is kept as text, for the plan to say so.
    Number(String),
    /// True or false.
    Flag(bool),
    /// An array of texts.
    Texts(Vec<String>),
    /// Something else, as it stands in the file.
    Other(String),
}

/// Every key that names files, which are read when a plan is flown.
const FILES: [(&str, &str); 9] = [
    ("wind", "files"),
    ("balloon", "table"),
    ("ground", "terrain"),
    ("ground", "keep_out"),
    ("ground", "land_in"),
    ("ground", "roads"),
    ("ground", "power_lines"),
    ("ground", "osm"),
    ("spread", "logbook"),
];

/// The text of a plan.
#[derive(Debug, Clone)]
pub struct PlanText(DocumentMut);

impl PlanText {
    /// Takes a text apart; `None` where it is no TOML.
    pub fn read(text: &str) -> Option<PlanText> {
        text.parse().ok().map(PlanText)
    }

    /// The whole text.
    pub fn text(&self) -> String {
        self.0.to_string()
    }

    /// What is written for a key.
    pub fn get(&self, key: Key) -> Written {
        let found = self.table(key).and_then(|table| table.get(key.name));
        found.map_or(Written::Nothing, written)
    }

    /// Writes a value, with the remark that stood beside the old one. A section that is not there is
    /// begun at the end.
    pub fn set(&mut self, key: Key, value: Written) {
        let new = match value {
            Written::Nothing => return self.remove(key),
            Written::Text(text) => Value::from(text),
            Written::Flag(flag) => Value::from(flag),
            Written::Texts(texts) => Value::from(texts.iter().collect::<Array>()),
            Written::Number(text) | Written::Other(text) => {
                // By TOML's own rules: nothing is written as a number that it would not read.
                let number = text.parse().ok().filter(is_number);
                number.unwrap_or_else(|| Value::from(text))
            }
        };
        let Some(table) = self.table_mut(key, true) else {
            return;
        };
        match table.get_mut(key.name).and_then(Item::as_value_mut) {
            Some(old) => {
                // Blanks and remarks are of the line, and outlive its value.
                let decor = old.decor().clone();
                *old = new;
                *old.decor_mut() = decor;
            }
            None => {
                table.insert(key.name, Item::Value(new));
            }
        }
    }

    /// Takes a key out with the remark beside it; those in the lines above it stay where they are.
    fn remove(&mut self, key: Key) {
        let Some(table) = self.table_mut(key, false) else {
            return;
        };
        let decor = table.key(key.name).map(toml_edit::Key::leaf_decor);
        let above = decor.and_then(|decor| decor.prefix()?.as_str());
        let above = above.unwrap_or_default().trim_end().to_owned();
        let before = table.iter().take_while(|(name, _)| *name != key.name);
        let before = before.last().map(|(name, _)| name.to_owned());
        table.remove(key.name);
        if !above.contains('#') {
            return;
        }
        if let Some(line) = self.line_mut(key, before.as_deref()) {
            let end = line
                .suffix()
                .and_then(|end| end.as_str())
                .unwrap_or_default();
            let end = format!("{end}\n{above}");
            line.set_suffix(end);
        }
        // So that they are of their own lines again, and not of the one before.
        if let Ok(read) = self.text().parse() {
            self.0 = read;
        }
    }

    /// What stands around the line of another key of a table, or of the table's head; `None` in a table of one line.
    fn line_mut(&mut self, key: Key, name: Option<&str>) -> Option<&mut Decor> {
        let table = match (key.table, self.0.get_mut(key.section)?) {
            (None, Item::Table(table)) => table,
            (Some(which), Item::ArrayOfTables(tables)) => tables.get_mut(which)?,
            _ => return None,
        };
        match name {
            Some(name) => Some(table.get_mut(name)?.as_value_mut()?.decor_mut()),
            None => Some(table.decor_mut()),
        }
    }

    /// Writes a remark beside a key, in place of the one that was there; "" for none.
    pub fn remark(&mut self, key: Key, remark: &str) {
        // In a table of one line a remark would hide what comes after it.
        let one_line = self.0.get(key.section).is_some_and(Item::is_value);
        let suffix = match remark.replace(char::is_control, " ") {
            remark if remark.is_empty() || one_line => String::new(),
            remark => format!(" # {remark}"),
        };
        let table = self.table_mut(key, false);
        let item = table.and_then(|table| table.get_mut(key.name));
        if let Some(value) = item.and_then(Item::as_value_mut) {
            value.decor_mut().set_suffix(suffix);
        }
    }

    /// How many tables of an array there are, as of `[[load]]` or `load = [{ ... }]`.
    pub fn tables(&self, section: &str) -> usize {
        match self.0.get(section) {
            Some(Item::ArrayOfTables(tables)) => tables.len(),
            Some(Item::Value(Value::Array(tables))) => tables.len(),
            _ => 0,
        }
    }

    /// Adds an empty table to an array.
    pub fn add_table(&mut self, section: &str) {
        let empty = || Item::ArrayOfTables(ArrayOfTables::new());
        match self.0.entry(section).or_insert_with(empty) {
            Item::ArrayOfTables(tables) => tables.push(Table::new()),
            Item::Value(Value::Array(tables)) => tables.push(InlineTable::new()),
            _ => {}
        }
    }

    /// Takes a table out of an array.
    pub fn remove_table(&mut self, section: &str, which: usize) {
        match self.0.get_mut(section) {
            Some(Item::ArrayOfTables(tables)) if which < tables.len() => {
                tables.remove(which);
            }
            Some(Item::Value(Value::Array(tables))) if which < tables.len() => {
                tables.remove(which);
            }
            _ => {}
        }
    }

    /// Every file that the plan names, as seen from the folder it is in.
    pub fn files(&self, folder: &Path) -> Vec<PathBuf> {
        let named = FILES.iter().flat_map(|&(section, name)| {
            let table = None;
            match self.get(Key {
                section,
                table,
                name,
            }) {
                Written::Texts(files) => files,
                Written::Text(file) => vec![file],
                _ => Vec::new(),
            }
        });
        named.map(|file| folder.join(file)).collect()
    }

    /// The number of the table that a line, counted from 1, stands in.
    pub fn table_of_line(&self, section: &str, line: usize) -> Option<usize> {
        let text = self.text();
        let head = format!("[[{section}]]");
        let before = text.lines().take(line);
        // TOML allows blanks between the brackets and around the name.
        let bare = |line: &str| line.split_whitespace().collect::<String>();
        let heads = before.filter(|l| bare(l).starts_with(&head)).count();
        heads.checked_sub(1)
    }

    fn table(&self, key: Key) -> Option<&dyn TableLike> {
        let item = self.0.get(key.section)?;
        match (key.table, item) {
            // Inline tables as well: `balloon = { ... }` is a section, too.
            (None, item) => item.as_table_like(),
            (Some(which), Item::ArrayOfTables(tables)) => {
                tables.get(which).map(|table| table as &dyn TableLike)
            }
            (Some(which), Item::Value(Value::Array(tables))) => {
                let table = tables.get(which)?.as_inline_table();
                table.map(|table| table as &dyn TableLike)
            }
            _ => None,
        }
    }

    fn table_mut(&mut self, key: Key, begin: bool) -> Option<&mut dyn TableLike> {
        if begin && key.table.is_none() && !self.0.contains_key(key.section) {
            self.0.insert(key.section, Item::Table(Table::new()));
        }
        let item = self.0.get_mut(key.section)?;
        match (key.table, item) {
            (None, item) => item.as_table_like_mut(),
            (Some(which), Item::ArrayOfTables(tables)) => {
                let table = tables.get_mut(which);
                table.map(|table| table as &mut dyn TableLike)
            }
            (Some(which), Item::Value(Value::Array(tables))) => {
                let table = tables.get_mut(which)?.as_inline_table_mut();
                table.map(|table| table as &mut dyn TableLike)
            }
            _ => None,
        }
    }
}

fn is_number(value: &Value) -> bool {
    value.is_float() || value.is_integer()
}

fn written(item: &Item) -> Written {
    let Some(value) = item.as_value() else {
        return Written::Other(item.to_string().trim().to_owned());
    };
    // Without the blanks and the remark around it, which are of its line.
    let as_it_stands = || value.clone().decorated("", "").to_string();
    match value {
        Value::String(text) => Written::Text(text.value().clone()),
        Value::Integer(_) | Value::Float(_) => Written::Number(as_it_stands()),
        Value::Boolean(flag) => Written::Flag(*flag.value()),
        Value::Array(array) => {
            let texts = array.iter().map(|v| v.as_str().map(str::to_owned));
            let texts: Option<Vec<String>> = texts.collect();
            texts.map_or_else(|| Written::Other(as_it_stands()), Written::Texts)
        }
        _ => Written::Other(as_it_stands()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
# A plan.
[site]
lat = 43.0600                # of the field
lon = -108.48

[balloon]
mass = \"1200 g\"              # weighed
cylinders = { count = 2, water_volume = \"50 L\", pressure = \"200 bar\" }

[[load]]
name = \"tracker\"             # the blue one
mass = \"0.9 kg\"

[[load]]
name = \"camera\"

# The end.
";

    fn key<'a>(section: &'a str, name: &'a str) -> Key<'a> {
        let table = None;
        Key {
            section,
            table,
            name,
        }
    }

    #[test]
    fn what_is_read_and_written_again_stays_as_it_was() {
        let plan = PlanText::read(TEXT).unwrap();
        assert_eq!(plan.text(), TEXT);
        let mut same = plan.clone();
        for (section, name) in [("site", "lat"), ("balloon", "mass"), ("site", "lon")] {
            let value = same.get(key(section, name));
            same.set(key(section, name), value);
        }
        assert_eq!(same.text(), TEXT);
        assert_eq!(
            plan.get(key("site", "lat")),
            Written::Number("43.0600".into())
        );
        assert!(matches!(
            plan.get(key("balloon", "cylinders")),
            Written::Other(text) if text.starts_with("{ count = 2")
        ));
        assert!(PlanText::read("[site\nlat = 1").is_none());
    }

    #[test]
    fn only_what_is_changed_changes() {
        let mut plan = PlanText::read(TEXT).unwrap();
        plan.set(key("balloon", "mass"), Written::Text("1 kg".into()));
        plan.set(key("site", "lat"), Written::Number("43.1".into()));
        plan.set(key("site", "lon"), Written::Nothing);
        plan.set(key("limits", "dark_release"), Written::Flag(true));
        let second = Key {
            section: "load",
            table: Some(1),
            name: "mass",
        };
        plan.set(second, Written::Text("1 lb".into()));
        let wanted = TEXT
            .replace("\"1200 g\"  ", "\"1 kg\"  ")
            .replace("43.0600", "43.1")
            .replace("lon = -108.48\n", "")
            .replace("\"camera\"\n", "\"camera\"\nmass = \"1 lb\"\n");
        let text = plan.text();
        assert!(text.contains("[limits]\ndark_release = true\n"), "{text}");
        let rest = text.replace("[limits]\ndark_release = true\n", "");
        let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(squeezed(&rest), squeezed(&wanted));
        plan.remark(key("site", "lat"), "");
        assert!(plan.text().contains("lat = 43.1\n"));
        plan.remark(key("site", "lat"), "by\nGPS");
        assert!(plan.text().contains("lat = 43.1 # by GPS\n"));
        let mut one_line = PlanText::read("site = { lat = 43.1, lon = -108.4 }\n").unwrap();
        one_line.remark(key("site", "lat"), "by GPS");
        assert!(!one_line.text().contains('#'), "{}", one_line.text());
        // What is no number is kept as it was typed, for the plan to tell.
        plan.set(key("site", "lat"), Written::Number("north".into()));
        assert_eq!(plan.get(key("site", "lat")), Written::Text("north".into()));
    }

    #[test]
    fn remarks_above_a_key_outlive_it() {
        let text = "\
[balloon]
# The green box.

# Of 2025.
mass = \"1200 g\"  # weighed
gas = \"helium\"   # from the club
# By the table.
burst_diameter = \"8 m\"

# Weighed on the day.
[[load]]
# All of it.
mass = \"1 kg\"
";
        let mut plan = PlanText::read(text).unwrap();
        let load = Key {
            section: "load",
            table: Some(0),
            name: "mass",
        };
        plan.set(key("balloon", "burst_diameter"), Written::Nothing);
        plan.set(key("balloon", "mass"), Written::Nothing);
        plan.set(load, Written::Nothing);
        let wanted = text
            .replace("mass = \"1200 g\"  # weighed\n", "")
            .replace("burst_diameter = \"8 m\"\n", "")
            .replace("mass = \"1 kg\"\n", "");
        assert_eq!(plan.text(), wanted);
        // A remark beside a key leaves those below it alone.
        plan.remark(key("balloon", "gas"), "of the shop");
        assert_eq!(
            plan.text(),
            wanted.replace("   # from the club", " # of the shop")
        );
    }

    #[test]
    fn tables_are_added_found_and_removed() {
        let mut plan = PlanText::read(TEXT).unwrap();
        assert_eq!(plan.tables("load"), 2);
        let line = |words: &str| 1 + TEXT.lines().position(|l| l.contains(words)).unwrap();
        assert_eq!(plan.table_of_line("load", line("tracker")), Some(0));
        assert_eq!(plan.table_of_line("load", line("camera")), Some(1));
        assert_eq!(plan.table_of_line("load", line("lat")), None);
        plan.add_table("load");
        let third = Key {
            section: "load",
            table: Some(2),
            name: "name",
        };
        plan.set(third, Written::Text("line \"\"\"".into()));
        assert_eq!(plan.get(third), Written::Text("line \"\"\"".into()));
        plan.remove_table("load", 0);
        assert_eq!(plan.tables("load"), 2);
        assert!(!plan.text().contains("tracker") && plan.text().contains("camera"));
        plan.remove_table("load", 7);
        let mut empty = PlanText::read("").unwrap();
        empty.add_table("load");
        assert_eq!(empty.tables("load"), 1);
    }

    #[test]
    fn tables_in_one_line_are_tables_too() {
        let text = "load = [{ name = \"tracker\", mass = \"0.9 kg\" }, { name = \"line\" }]\n";
        let mut plan = PlanText::read(text).unwrap();
        let key = |table: usize, name| Key {
            section: "load",
            table: Some(table),
            name,
        };
        assert_eq!(plan.tables("load"), 2);
        assert_eq!(plan.get(key(1, "name")), Written::Text("line".into()));
        plan.set(key(1, "mass"), Written::Text("50 g".into()));
        plan.add_table("load");
        plan.set(key(2, "name"), Written::Text("box".into()));
        plan.remove_table("load", 0);
        let text = plan.text();
        let squeezed: String = text.split_whitespace().collect();
        assert_eq!(
            squeezed,
            "load=[{name=\"line\",mass=\"50g\"},{name=\"box\"}]"
        );
        assert!(PlanText::read(&text).is_some());
    }

    #[test]
    fn every_file_is_known() {
        let text = "[wind]\nfiles = [\"a.nc\", \"/b.nc\"]\n[balloon]\ntable = \"../t.toml\"\n\
                    [ground]\nroads = [\"r.geojson\"]\n";
        let files = PlanText::read(text).unwrap().files(Path::new("/plans"));
        let wanted = [
            "/plans/a.nc",
            "/b.nc",
            "/plans/../t.toml",
            "/plans/r.geojson",
        ];
        assert_eq!(files, wanted.map(PathBuf::from));
    }
}
