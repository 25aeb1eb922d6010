//! NetCDF 3 files written by tests.

#![allow(dead_code, reason = "each test file uses a part of it")]

/// What an attribute says.
#[derive(Clone, Copy)]
pub enum Attribute<'a> {
    Text(&'a str),
    Numbers(&'a [i32]),
}

/// A variable along dimensions, by their names.
pub struct Variable<'a> {
    pub name: &'a str,
    pub along: &'a [&'a str],
    pub attributes: Vec<(&'a str, Attribute<'a>)>,
    pub values: Vec<f64>,
}

impl<'a> Variable<'a> {
    /// One whose attributes are texts.
    pub fn new(
        name: &'a str,
        along: &'a [&'a str],
        attributes: &[(&'a str, &'a str)],
        values: impl IntoIterator<Item = f64>,
    ) -> Variable<'a> {
        let text = |(name, text): &(&'a str, &'a str)| (*name, Attribute::Text(text));
        Variable {
            name,
            along,
            attributes: attributes.iter().map(text).collect(),
            values: values.into_iter().collect(),
        }
    }

    /// The same with numbers in an attribute.
    pub fn with(mut self, name: &'a str, numbers: &'a [i32]) -> Variable<'a> {
        self.attributes.push((name, Attribute::Numbers(numbers)));
        self
    }

    /// Coordinates in double, fields in single precision.
    fn bytes(&self) -> Vec<u8> {
        let values = self.values.iter();
        match self.kind() {
            FLOAT => values.flat_map(|v| (*v as f32).to_be_bytes()).collect(),
            _ => values.flat_map(|v| v.to_be_bytes()).collect(),
        }
    }

    fn kind(&self) -> usize {
        if self.along.len() > 1 { FLOAT } else { DOUBLE }
    }
}

/// Types and tags of "NetCDF Classic Format Specification", Unidata.
const CHAR: usize = 2;
const INT: usize = 4;
const FLOAT: usize = 5;
const DOUBLE: usize = 6;
const DIMENSIONS: usize = 10;
const VARIABLES: usize = 11;
const ATTRIBUTES: usize = 12;

struct Bytes(Vec<u8>);

impl Bytes {
    fn number(&mut self, n: usize) {
        self.0.extend((n as u32).to_be_bytes());
    }

    fn name(&mut self, text: &str) {
        self.number(text.len());
        self.0.extend(text.as_bytes());
        self.0.resize(self.0.len().next_multiple_of(4), 0);
    }

    fn attributes(&mut self, attributes: &[(&str, Attribute)]) {
        // A list of none has no tag either.
        let tag = if attributes.is_empty() { 0 } else { ATTRIBUTES };
        self.number(tag);
        self.number(attributes.len());
        for (name, value) in attributes {
            self.name(name);
            match value {
                Attribute::Text(text) => {
                    self.number(CHAR);
                    self.name(text);
                }
                Attribute::Numbers(numbers) => {
                    self.number(INT);
                    self.number(numbers.len());
                    numbers.iter().for_each(|n| self.0.extend(n.to_be_bytes()));
                }
            }
        }
    }
}

/// A file of the classic format: header, then each variable.
pub fn netcdf(dimensions: &[(&str, usize)], variables: &[Variable]) -> Vec<u8> {
    let values: Vec<Vec<u8>> = variables.iter().map(Variable::bytes).collect();
    let header = |begin: usize| {
        let mut bytes = Bytes(b"CDF\x01".to_vec());
        bytes.number(0);
        bytes.number(DIMENSIONS);
        bytes.number(dimensions.len());
        for (name, length) in dimensions {
            bytes.name(name);
            bytes.number(*length);
        }
        bytes.attributes(&[]);
        bytes.number(VARIABLES);
        bytes.number(variables.len());
        let mut at = begin;
        for (variable, values) in variables.iter().zip(&values) {
            bytes.name(variable.name);
            bytes.number(variable.along.len());
            let number = |name: &&str| dimensions.iter().position(|d| d.0 == *name);
            let along = variable.along.iter().filter_map(number);
            along.for_each(|d| bytes.number(d));
            bytes.attributes(&variable.attributes);
            bytes.number(variable.kind());
            bytes.number(values.len());
            bytes.number(at);
            at += values.len();
        }
        bytes.0
    };
    let length = header(0).len();
    let mut bytes = header(length);
    values.iter().for_each(|v| bytes.extend(v));
    bytes
}
