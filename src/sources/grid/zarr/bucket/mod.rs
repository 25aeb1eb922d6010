//! A store at an address: on a web server, in a bucket of S3 or of Google Cloud Storage.
//!
//! The crate `object_store` knows how objects of each are asked for, and signs where the environment has
//! credentials; who asks is `transport`.

mod address;
mod transport;

use std::collections::{BTreeSet, HashMap};
use std::sync::{Mutex, PoisonError};

use object_store::list::{PaginatedListOptions, PaginatedListStore};
use object_store::path::Path;
use object_store::{GetOptions, GetRange, ObjectStore};
use serde_json::Value;
use tokio::runtime::{Builder, Runtime};
use zarrs::storage::Bytes;
use zarrs::storage::byte_range::ByteRange;

use self::address::Address;
use self::transport::{Most, Told};
pub use self::transport::{bytes_fetched, may_answer_later};
use super::place::{MOST_METADATA, not_too_long};
use super::{MOST_ARRAYS, too_many};
use crate::error::{Fault, Result};
use crate::files::http::Patience;

/// The most bytes of the metadata of all arrays.
const MOST_CONSOLIDATED: u64 = 16 << 20;
/// The most pages of a list, of a thousand names each.
const MOST_PAGES: usize = 10;
/// What a store must have where its arrays cannot be listed.
const CONSOLIDATED: &str = "consolidated metadata, which list the arrays (.zmetadata, or consolidated_metadata in \
                            zarr.json): whoever keeps the store can add them, in Python with \
                            zarr.consolidate_metadata";

/// Why something was not got.
enum No {
    /// The server gives it to nobody, or not to us; some say so of what is not there.
    NotAllowed(String),
    Other(String),
}

impl From<No> for String {
    fn from(no: No) -> String {
        match no {
            No::NotAllowed(why) | No::Other(why) => why,
        }
    }
}

type Got<T> = std::result::Result<T, No>;

/// A store at an address.
pub(in crate::sources::grid) struct Bucket {
    objects: Box<dyn ObjectStore>,
    /// Where names can be listed.
    pages: Option<Box<dyn PaginatedListStore>>,
    /// What stands before each key.
    prefix: String,
    runtime: Runtime,
    /// Metadata by their keys, `None` where there are none.
    texts: Mutex<HashMap<String, Option<String>>>,
    /// Whether `texts` has all that there are.
    is_consolidated: bool,
    /// What the store itself is said to be by.
    root: Option<&'static str>,
}

impl Bucket {
    /// Finds the store at an address, and its metadata as far as they are in one place.
    ///
    /// # Errors
    ///
    /// An address that is none, and one where there is no store.
    pub fn open(url: &str, patience: Patience) -> Result<Bucket> {
        let address = Address::parse(url)?;
        let (objects, pages) = address.stores(patience)?;
        let runtime = Builder::new_current_thread().enable_time().build();
        let failed = |why: String| Fault::new(&address.shown, why, "a Zarr store at this address");
        let mut bucket = Bucket {
            objects,
            pages,
            prefix: address.prefix.clone(),
            runtime: runtime.map_err(|cause| failed(cause.to_string()))?,
            texts: Mutex::default(),
            is_consolidated: false,
            root: None,
        };
        bucket.look_at_root().map_err(failed)?;
        Ok(bucket)
    }

    /// Which metadata the store itself has.
    fn look_at_root(&mut self) -> std::result::Result<(), String> {
        let mut not_allowed = None;
        for name in ["zarr.json", ".zmetadata", ".zarray", ".zgroup"] {
            match self.object(name, None, MOST_CONSOLIDATED) {
                Ok(Some(bytes)) => {
                    self.root = Some(name);
                    return self.take_root(name, &bytes);
                }
                Ok(None) => {}
                // A bucket that may not be listed says so of all that is not there.
                Err(No::NotAllowed(why)) => not_allowed = Some(why),
                Err(No::Other(why)) => return Err(why),
            }
        }
        Err(not_allowed.unwrap_or_else(|| "nothing of a Zarr store".into()))
    }

    fn take_root(&mut self, name: &str, bytes: &[u8]) -> std::result::Result<(), String> {
        let text = String::from_utf8_lossy(bytes).into_owned();
        let all: Value = serde_json::from_str(&text)
            .map_err(|cause| format!("{name} that is not JSON ({cause})"))?;
        let (inside, last) = match name {
            "zarr.json" => (&all["consolidated_metadata"]["metadata"], "/zarr.json"),
            ".zmetadata" => (&all["metadata"], ""),
            _ => (&Value::Null, ""),
        };
        let texts = self.texts.get_mut().unwrap_or_else(PoisonError::into_inner);
        if let Some(inside) = inside.as_object() {
            self.is_consolidated = true;
            let each = inside.iter();
            texts
                .extend(each.map(|(key, value)| (format!("{key}{last}"), Some(value.to_string()))));
        }
        texts.insert(name.to_owned(), Some(text));
        Ok(())
    }

    /// The names of what may be arrays, in their order.
    ///
    /// # Errors
    ///
    /// When they are not told.
    pub fn names(&self, name: &str) -> Result<Vec<String>> {
        let names = match (self.is_consolidated, self.pages.as_deref()) {
            (true, _) => self.consolidated(),
            (false, Some(pages)) => self.listed(pages).map_err(|why| {
                let why = String::from(why);
                let found = format!("no consolidated metadata and no list of names: {why}");
                Fault::new(name, found, CONSOLIDATED)
            })?,
            (false, None) => {
                let root = self.root.unwrap_or_default();
                let found = format!("{root} alone, without consolidated metadata");
                return Err(Fault::new(name, found, CONSOLIDATED).into());
            }
        };
        match names.len() > MOST_ARRAYS {
            true => Err(too_many(name)),
            false => Ok(names.into_iter().filter(|n| !n.starts_with('.')).collect()),
        }
    }

    fn consolidated(&self) -> BTreeSet<String> {
        let texts = self.texts.lock().unwrap_or_else(PoisonError::into_inner);
        let first = |key: &String| key.split_once('/').map(|(first, _)| first.to_owned());
        texts.keys().filter_map(first).collect()
    }

    fn listed(&self, pages: &dyn PaginatedListStore) -> Got<BTreeSet<String>> {
        let (mut names, mut token) = (BTreeSet::new(), None);
        for _ in 0..MOST_PAGES {
            let options = PaginatedListOptions {
                delimiter: Some("/".into()),
                page_token: token,
                ..PaginatedListOptions::default()
            };
            let page = pages.list_paginated(Some(&self.prefix), options);
            let page = self.runtime.block_on(page).map_err(|cause| why(&cause))?;
            let inside = page.result.common_prefixes.iter();
            names.extend(inside.filter_map(|path| path.filename().map(str::to_owned)));
            token = page.page_token;
            if token.is_none() {
                return Ok(names);
            }
        }
        Err(No::Other(format!("more than {MOST_PAGES} pages of names")))
    }

    /// Metadata; `None` where there are none.
    pub fn text(&self, key: &str) -> std::result::Result<Option<String>, String> {
        let texts = self.texts.lock().unwrap_or_else(PoisonError::into_inner);
        let known = match texts.get(key) {
            None if self.is_consolidated => Some(None),
            known => known.cloned(),
        };
        drop(texts);
        let text = match known {
            Some(known) => known,
            None => {
                let bytes = match self.object(key, None, MOST_METADATA) {
                    Err(No::NotAllowed(_)) => None,
                    other => other?,
                };
                bytes.map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
            }
        };
        // Those within others were not bounded each.
        text.as_deref().map_or(Ok(()), not_too_long)?;
        let mut texts = self.texts.lock().unwrap_or_else(PoisonError::into_inner);
        texts.insert(key.to_owned(), text.clone());
        Ok(text)
    }

    /// A whole object of `most` bytes at most; `None` where there is none.
    pub fn whole(&self, key: &str, most: u64) -> std::result::Result<Option<Bytes>, String> {
        Ok(self.object(key, None, most)?)
    }

    /// A part of an object, of a known length; `None` where there is no object.
    pub fn part(&self, key: &str, range: ByteRange) -> std::result::Result<Option<Bytes>, String> {
        let (asked, length) = match range {
            ByteRange::FromStart(_, Some(0)) | ByteRange::Suffix(0) => {
                return Ok(Some(Bytes::new()));
            }
            ByteRange::FromStart(from, Some(length)) => {
                let end = from.checked_add(length);
                let end = end.ok_or_else(|| format!("{key}: a part beyond all numbers"))?;
                (GetRange::Bounded(from..end), length)
            }
            ByteRange::Suffix(length) => (GetRange::Suffix(length), length),
            ByteRange::FromStart(_, None) => return Err(format!("{key}: a part without an end")),
        };
        match self.object(key, Some(asked), length)? {
            Some(bytes) if bytes.len() as u64 != length => Err(format!(
                "{key}: {} of {length} bytes, so it is cut short",
                bytes.len()
            )),
            other => Ok(other),
        }
    }

    fn object(&self, key: &str, range: Option<GetRange>, most: u64) -> Got<Option<Bytes>> {
        let named = |no| match no {
            No::NotAllowed(why) => No::NotAllowed(format!("{key}: {why}")),
            No::Other(why) => No::Other(format!("{key}: {why}")),
        };
        let path = Path::parse(format!("{}{key}", self.prefix))
            .map_err(|_| named(No::Other("a name that cannot be asked for".into())))?;
        let mut options = GetOptions {
            range,
            ..GetOptions::default()
        };
        options.extensions.insert(Most(most));
        let got = async {
            match self.objects.get_opts(&path, options).await {
                Err(object_store::Error::NotFound { .. }) => Ok(None),
                Err(other) => Err(other),
                Ok(found) => found.bytes().await.map(Some),
            }
        };
        self.runtime
            .block_on(got)
            .map_err(|cause| named(why(&cause)))
    }
}

/// What went wrong: in our words where it was ours to ask, else in the words of the last cause. Those
/// before it name addresses with all that is in them.
fn why(error: &object_store::Error) -> No {
    let mut cause: &dyn std::error::Error = error;
    loop {
        if let Some(told) = cause.downcast_ref::<Told>() {
            return match told.is_not_allowed {
                true => No::NotAllowed(told.words.clone()),
                false => No::Other(told.words.clone()),
            };
        }
        match cause.source() {
            Some(source) => cause = source,
            None => return No::Other(cause.to_string()),
        }
    }
}
