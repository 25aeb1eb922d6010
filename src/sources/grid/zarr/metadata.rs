//! What is said of an array: whether it is one, how it is packed, its dimensions and attributes.

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use netcdf_reader::{NcAttrValue, NcAttribute, NcDimension, NcType, NcVariable};
use serde_json::Value;
use zarrs::array::{Array, ArrayMetadata};

use super::packing::Packing;
use super::place::Place;

/// The most dimensions of an array.
const MOST_DIMENSIONS: usize = 16;

/// What a folder in a store is.
pub(super) enum Kind {
    Array {
        /// How its chunks are packed.
        packing: Packing,
    },
    Group,
    /// An array that is not read, and why.
    Refused(String),
    /// Nothing of Zarr.
    Neither,
}

/// What a folder in a store is, before anything is allocated for it; the store itself is "".
pub(super) fn kind(place: &Place, folder: &str) -> Kind {
    let text = |name: &str| match folder {
        "" => place.text(name),
        folder => place.text(&format!("{folder}/{name}")),
    };
    if let Some(metadata) = text("zarr.json").transpose() {
        return of_text(metadata, |metadata| metadata["node_type"] == "group");
    }
    if let Some(metadata) = text(".zarray").transpose() {
        // The crate reads this as well, and whole.
        return match text(".zattrs") {
            Err(why) => Kind::Refused(why),
            Ok(_) => of_text(metadata, |_| false),
        };
    }
    match text(".zgroup") {
        Ok(Some(_)) => Kind::Group,
        Ok(None) => Kind::Neither,
        Err(why) => Kind::Refused(why),
    }
}

fn of_text(text: Result<String, String>, is_group: fn(&Value) -> bool) -> Kind {
    let parsed = |text: String| {
        serde_json::from_str(&text).map_err(|cause| format!("metadata that is not JSON ({cause})"))
    };
    match text.and_then(parsed) {
        Err(why) => Kind::Refused(why),
        Ok(metadata) if is_group(&metadata) => Kind::Group,
        Ok(metadata) => match refused(&metadata) {
            Some(why) => Kind::Refused(why),
            None => Kind::Array {
                packing: Packing::named_in(&metadata),
            },
        },
    }
}

/// Why an array with this metadata is not read.
fn refused(metadata: &Value) -> Option<String> {
    let dimensions = metadata["shape"].as_array().map_or(0, Vec::len);
    if dimensions > MOST_DIMENSIONS {
        return Some(format!("{dimensions} dimensions"));
    }
    let grid = &metadata["chunk_grid"];
    let kind = grid["name"].as_str().or(grid.as_str());
    kind.filter(|kind| *kind != "regular")
        .map(|kind| format!("chunks on a \"{kind}\" grid (ask for chunks of one size)"))
}

/// An array as a variable of a data set.
pub(super) fn variable(
    name: &str,
    array: &Array<Place>,
    dtype: NcType,
) -> Result<NcVariable, String> {
    let names = dimension_names(array)?;
    let sized = names.into_iter().zip(array.shape());
    let dimensions = sized.map(|(name, &size)| NcDimension {
        name,
        size,
        is_unlimited: false,
    });
    let given = array.attributes().iter();
    let mut attributes: Vec<NcAttribute> = given
        .filter_map(|(name, value)| {
            let value = attribute(name, value)?;
            let name = name.clone();
            Some(NcAttribute { name, value })
        })
        .collect();
    let filled = attributes.iter().any(|a| a.name == "_FillValue");
    if let (false, Some(value)) = (filled, fill_of_version_2(array)) {
        attributes.push(NcAttribute {
            name: "_FillValue".into(),
            value: NcAttrValue::Doubles(vec![value]),
        });
    }
    Ok(NcVariable {
        name: name.to_owned(),
        dimensions: dimensions.collect(),
        dtype,
        attributes,
        data_offset: 0,
        _data_size: 0,
        is_record_var: false,
        record_size: 0,
    })
}

fn dimension_names(array: &Array<Place>) -> Result<Vec<String>, String> {
    let of_array = array.dimension_names().iter().flatten();
    let mut names: Vec<String> = of_array.flatten().cloned().collect();
    if names.is_empty() {
        let listed = array.attributes().get("_ARRAY_DIMENSIONS");
        let listed = listed.and_then(Value::as_array).into_iter().flatten();
        names = listed
            .filter_map(Value::as_str)
            .map(str::to_owned)
            .collect();
    }
    match names.len() == array.dimensionality() {
        true => Ok(names),
        false => Err("dimensions without names".into()),
    }
}

/// An attribute; of kinds that tell nothing here, none.
fn attribute(name: &str, value: &Value) -> Option<NcAttrValue> {
    match value {
        Value::String(text) if name == "_FillValue" => Some(fill_in_text(text)),
        Value::String(text) => Some(NcAttrValue::Chars(text.clone())),
        Value::Number(number) => Some(NcAttrValue::Doubles(vec![number.as_f64()?])),
        Value::Array(values) => {
            let numbers: Option<Vec<f64>> = values.iter().map(Value::as_f64).collect();
            numbers.map(NcAttrValue::Doubles)
        }
        Value::Bool(_) | Value::Object(_) | Value::Null => None,
    }
}

/// The fill value of floating-point numbers, which xarray writes as the base64 of eight bytes.
fn fill_in_text(text: &str) -> NcAttrValue {
    let bytes = BASE64_STANDARD.decode(text).ok();
    let bytes = bytes.and_then(|bytes| <[u8; 8]>::try_from(bytes).ok());
    match bytes.map(f64::from_le_bytes).or_else(|| text.parse().ok()) {
        Some(value) => NcAttrValue::Doubles(vec![value]),
        None => NcAttrValue::Chars(text.to_owned()),
    }
}

/// In version 2 the fill value of the array stands for missing values; 0, which writers put there when
/// nothing is asked for, is taken for a value.
fn fill_of_version_2(array: &Array<Place>) -> Option<f64> {
    let ArrayMetadata::V2(metadata) = array.metadata() else {
        return None;
    };
    let fill = serde_json::to_value(&metadata.fill_value).ok()?;
    fill.as_f64().filter(|fill| *fill != 0.0)
}
