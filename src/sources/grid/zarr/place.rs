//! Where the files of a store are: in a folder, or at an address on the network.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use zarrs::filesystem::FilesystemStore;
use zarrs::storage::byte_range::ByteRangeIterator;
use zarrs::storage::{
    Bytes, MaybeBytes, MaybeBytesIterator, ReadableStorageTraits, StorageError, StoreKey,
};

#[cfg(feature = "buckets")]
use super::bucket::Bucket;

/// The most bytes of metadata of one array.
pub(super) const MOST_METADATA: u64 = 4 << 20;

type Result<T> = std::result::Result<T, String>;

/// The files of a store, by their keys.
pub(in crate::sources::grid) enum Place {
    Folder(PathBuf, FilesystemStore),
    #[cfg(feature = "buckets")]
    Bucket(Bucket),
}

impl Place {
    pub fn of_folder(path: &Path) -> Result<Place> {
        let store = FilesystemStore::new(path).map_err(|cause| cause.to_string())?;
        Ok(Place::Folder(path.to_owned(), store))
    }

    /// A small text; `None` where there is none.
    pub fn text(&self, key: &str) -> Result<Option<String>> {
        match self {
            Place::Folder(path, _) => match path.join(key) {
                file if file.is_file() => bounded(&file).map(Some),
                _ => Ok(None),
            },
            #[cfg(feature = "buckets")]
            Place::Bucket(bucket) => bucket.text(key),
        }
    }

    /// Whether files are asked for over a network.
    pub fn is_asked(&self) -> bool {
        !matches!(self, Place::Folder(..))
    }

    /// Whether there is a file; `None` where that is known only once it is asked for.
    pub fn has(&self, key: &StoreKey) -> Result<Option<bool>> {
        match self {
            Place::Folder(path, _) => Ok(Some(length(path, key)?.is_some())),
            #[cfg(feature = "buckets")]
            Place::Bucket(_) => Ok(None),
        }
    }

    /// A whole file, unless it has more than `most` bytes, which is told before it is read; `None` where
    /// there is none.
    pub fn whole(&self, key: &StoreKey, most: usize) -> Result<Option<Bytes>> {
        match self {
            Place::Folder(path, store) => {
                if length(path, key)?.is_some_and(|bytes| bytes > most as u64) {
                    return Err(format!("a chunk of more than {most} bytes"));
                }
                store.get(key).map_err(|cause| cause.to_string())
            }
            #[cfg(feature = "buckets")]
            Place::Bucket(bucket) => bucket.whole(key.as_str(), most as u64),
        }
    }
}

/// As `zarrs` reads metadata and parts of shards.
impl ReadableStorageTraits for Place {
    fn get(&self, key: &StoreKey) -> std::result::Result<MaybeBytes, StorageError> {
        match self {
            Place::Folder(_, store) => store.get(key),
            #[cfg(feature = "buckets")]
            Place::Bucket(bucket) => {
                let text = bucket.text(key.as_str()).map_err(StorageError::Other)?;
                Ok(text.map(Bytes::from))
            }
        }
    }

    fn get_partial_many<'a>(
        &'a self,
        key: &StoreKey,
        ranges: ByteRangeIterator<'a>,
    ) -> std::result::Result<MaybeBytesIterator<'a>, StorageError> {
        match self {
            Place::Folder(_, store) => store.get_partial_many(key, ranges),
            #[cfg(feature = "buckets")]
            Place::Bucket(bucket) => {
                let part = |range| bucket.part(key.as_str(), range);
                let parts: Result<Option<Vec<Bytes>>> = ranges
                    .map(part)
                    .map(Result::transpose)
                    .collect::<Option<_>>()
                    .transpose();
                let parts = parts.map_err(StorageError::Other)?;
                Ok(parts.map(|parts| Box::new(parts.into_iter().map(Ok)) as _))
            }
        }
    }

    fn size_key(&self, key: &StoreKey) -> std::result::Result<Option<u64>, StorageError> {
        match self {
            Place::Folder(_, store) => store.size_key(key),
            // It would be a request of its own.
            #[cfg(feature = "buckets")]
            Place::Bucket(_) => Err(StorageError::UnknownKeySize(key.clone())),
        }
    }

    fn supports_get_partial(&self) -> bool {
        true
    }
}

/// Bytes of a file; `None` where there is none.
fn length(folder: &Path, key: &StoreKey) -> Result<Option<u64>> {
    match std::fs::metadata(folder.join(key.as_str())) {
        Ok(there) if there.is_file() => Ok(Some(there.len())),
        Ok(_) => Err(format!("{key}, which is no file")),
        Err(cause) if cause.kind() == ErrorKind::NotFound => Ok(None),
        Err(cause) => Err(format!("{key}: {cause}")),
    }
}

/// A small text.
fn bounded(path: &Path) -> Result<String> {
    let mut text = String::new();
    let read = File::open(path).and_then(|file| {
        // One byte more, to tell a text that is too long from one that just fits.
        let mut file = file.take(MOST_METADATA + 1);
        file.read_to_string(&mut text)
    });
    read.map_err(|cause| format!("metadata that cannot be read ({cause})"))?;
    not_too_long(&text).map(|()| text)
}

/// Refuses metadata that are too long.
pub(super) fn not_too_long(text: &str) -> Result<()> {
    match text.len() as u64 > MOST_METADATA {
        true => Err(format!("more than {MOST_METADATA} bytes of metadata")),
        false => Ok(()),
    }
}
