//! The features of a GeoJSON collection, one by one: no more than one of them is held.

use std::fmt;

use geojson::Feature;
use serde::de::{
    DeserializeSeed, Deserializer, Error as _, IgnoredAny, MapAccess, SeqAccess, Visitor,
};

use crate::error::{Error, Fault, Result};

/// Hands each feature of a collection to `take`, wherever in the object they stand.
///
/// # Errors
///
/// What is no collection of features, and whatever `take` refuses.
pub(super) fn each_feature(
    name: &str,
    bytes: &[u8],
    take: impl FnMut(Feature) -> Result<()>,
) -> Result<()> {
    let mut features = Features {
        take,
        count: 0,
        refused: None,
    };
    let mut json = serde_json::Deserializer::from_slice(bytes);
    match (&mut features).deserialize(&mut json) {
        Ok(()) => Ok(()),
        Err(wrong) => Err(features.refused.unwrap_or_else(|| {
            let fault = Fault::new(name, wrong.to_string(), "a GeoJSON feature");
            fault
                .of_key(format!("feature {}", features.count + 1))
                .into()
        })),
    }
}

struct Features<F> {
    take: F,
    count: usize,
    /// Why the last one was not taken.
    refused: Option<Error>,
}

impl<'de, F: FnMut(Feature) -> Result<()>> DeserializeSeed<'de> for &mut Features<F> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, json: D) -> std::result::Result<(), D::Error> {
        json.deserialize_any(self)
    }
}

impl<'de, F: FnMut(Feature) -> Result<()>> Visitor<'de> for &mut Features<F> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("features")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> std::result::Result<(), A::Error> {
        while let Some(key) = map.next_key::<String>()? {
            match key.as_str() {
                "features" => map.next_value_seed(&mut *self)?,
                _ => {
                    map.next_value::<IgnoredAny>()?;
                }
            }
        }
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut all: A) -> std::result::Result<(), A::Error> {
        while let Some(feature) = all.next_element::<Feature>()? {
            if let Err(refused) = (self.take)(feature) {
                self.refused = Some(refused);
                return Err(A::Error::custom("refused"));
            }
            self.count += 1;
        }
        Ok(())
    }
}
