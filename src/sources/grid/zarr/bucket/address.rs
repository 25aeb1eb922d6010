//! Addresses of stores, and what asks there.

use std::sync::Arc;

use object_store::ObjectStore;
use object_store::RetryConfig;
use object_store::StaticCredentialProvider;
use object_store::aws::AmazonS3Builder;
use object_store::gcp::{GcpCredential, GoogleCloudStorageBuilder};
use object_store::http::HttpBuilder;
use object_store::list::PaginatedListStore;

use super::transport::Transport;
use crate::error::{Fault, Result};
use crate::files::address::{host, may_be_plain, place};
use crate::files::http::Patience;

/// What stands in the environment of somebody who has credentials for S3.
const OF_AMAZON: [&str; 6] = [
    "AWS_ACCESS_KEY_ID",
    "AWS_SECRET_ACCESS_KEY",
    "AWS_WEB_IDENTITY_TOKEN_FILE",
    "AWS_CONTAINER_CREDENTIALS_RELATIVE_URI",
    "AWS_CONTAINER_CREDENTIALS_FULL_URI",
    // Set to false: those of the machine.
    "AWS_SKIP_SIGNATURE",
];
/// The same for Google Cloud Storage.
const OF_GOOGLE: [&str; 6] = [
    "GOOGLE_SERVICE_ACCOUNT",
    "GOOGLE_SERVICE_ACCOUNT_PATH",
    "GOOGLE_SERVICE_ACCOUNT_KEY",
    "GOOGLE_APPLICATION_CREDENTIALS",
    "SERVICE_ACCOUNT",
    "GOOGLE_SKIP_SIGNATURE",
];
/// Redirects of a web server that are followed.
const REDIRECTS: u32 = 5;

/// Where a store is.
#[derive(Debug, PartialEq)]
pub(super) struct Address {
    /// As it may be shown.
    pub shown: String,
    /// What stands before each key.
    pub prefix: String,
    at: At,
}

#[derive(Debug, PartialEq)]
enum At {
    /// Up to the store, with its parameters.
    Server(String),
    Amazon(String),
    Google(String),
}

/// What asks for objects, and for lists of them where there are any.
type Stores = (Box<dyn ObjectStore>, Option<Box<dyn PaginatedListStore>>);

impl Address {
    /// Reads an address.
    ///
    /// # Errors
    ///
    /// What is none of a store.
    pub fn parse(url: &str) -> Result<Address> {
        let shown = place(url);
        let (scheme, rest) = url.split_once("://").unwrap_or(("", url));
        let (at, prefix) = match scheme.to_ascii_lowercase().as_str() {
            "s3" => of_bucket(&shown, rest).map(|(bucket, path)| (At::Amazon(bucket), path))?,
            "gs" => of_bucket(&shown, rest).map(|(bucket, path)| (At::Google(bucket), path))?,
            "https" | "http" => {
                check_server(&shown, url)?;
                (At::Server(server(url)), String::new())
            }
            _ => return Err(no_address(&shown, "another kind of address").into()),
        };
        Ok(Address { shown, prefix, at })
    }

    /// What asks there.
    ///
    /// # Errors
    ///
    /// Settings in the environment that make no sense.
    pub fn stores(&self, patience: Patience) -> Result<Stores> {
        let stores = match &self.at {
            At::Server(url) => of_server(url, patience),
            At::Amazon(bucket) => of_amazon(bucket, patience),
            At::Google(bucket) => of_google(bucket, patience),
        };
        stores.map_err(|cause| {
            let mut last: &dyn std::error::Error = &cause;
            // Those before it may repeat what was set, secrets too.
            while let Some(source) = last.source() {
                last = source;
            }
            let expected = "settings in the environment (AWS_..., GOOGLE_...) that go together";
            Fault::new(&self.shown, last.to_string(), expected).into()
        })
    }
}

fn no_address(shown: &str, found: &str) -> Fault {
    let expected = "the address of a Zarr store, as in https://host/path/store.zarr, \
                    s3://bucket/path/store.zarr or gs://bucket/path/store.zarr";
    Fault::new(shown, found, expected)
}

/// A bucket, and what stands before each key in it.
fn of_bucket(shown: &str, rest: &str) -> Result<(String, String)> {
    if rest.contains(['@', '?', '#']) {
        let expected = "bucket and path alone: credentials, region and endpoint come from the \
                        environment (AWS_..., GOOGLE_...)";
        return Err(Fault::new(shown, "an address with a user or parameters", expected).into());
    }
    let (bucket, path) = rest.split_once('/').unwrap_or((rest, ""));
    match bucket {
        "" => Err(no_address(shown, "no bucket").into()),
        _ => Ok((bucket.to_owned(), folder(path))),
    }
}

/// Refuses what is no address of a server, or one to which others could listen.
fn check_server(shown: &str, url: &str) -> Result<()> {
    if host(url).is_empty() || shown.ends_with("...") {
        return Err(no_address(shown, "no host").into());
    }
    let is_plain = url
        .get(..5)
        .is_some_and(|s| s.eq_ignore_ascii_case("http:"));
    if is_plain && !may_be_plain(url) {
        let expected = "https://, which nobody between can read or change (http:// on this machine \
                        only)";
        return Err(Fault::new(shown, "http:// to another machine", expected).into());
    }
    Ok(())
}

/// A path with a slash at its end, where there is any.
fn folder(path: &str) -> String {
    match path.trim_matches('/') {
        "" => String::new(),
        path => format!("{path}/"),
    }
}

/// The address without a slash at the end of its path, and without a fragment.
fn server(url: &str) -> String {
    let url = url.split('#').next().unwrap_or_default();
    match url.split_once('?') {
        None => url.trim_end_matches('/').to_owned(),
        Some((path, parameters)) => format!("{}?{parameters}", path.trim_end_matches('/')),
    }
}

/// Trouble is waited out by who asks.
fn once() -> RetryConfig {
    RetryConfig {
        max_retries: 0,
        ..RetryConfig::default()
    }
}

fn is_set(names: &[&str]) -> bool {
    names.iter().any(|name| std::env::var_os(name).is_some())
}

fn of_server(url: &str, patience: Patience) -> object_store::Result<Stores> {
    let store = HttpBuilder::new()
        .with_url(url)
        .with_retry(once())
        .with_http_connector(Transport::new(patience, REDIRECTS))
        .build()?;
    Ok((Box::new(store), None))
}

fn of_amazon(bucket: &str, patience: Patience) -> object_store::Result<Stores> {
    let mut builder = AmazonS3Builder::from_env()
        .with_bucket_name(bucket)
        .with_retry(once())
        // A signature holds for one host alone.
        .with_http_connector(Transport::new(patience, 0));
    if !is_set(&OF_AMAZON) {
        builder = builder.with_skip_signature(true);
    }
    let store = builder.build()?;
    Ok((Box::new(store.clone()), Some(Box::new(store))))
}

fn of_google(bucket: &str, patience: Patience) -> object_store::Result<Stores> {
    let mut builder = GoogleCloudStorageBuilder::from_env()
        .with_bucket_name(bucket)
        .with_retry(once())
        .with_http_connector(Transport::new(patience, 0));
    if !is_set(&OF_GOOGLE) {
        let none = GcpCredential {
            bearer: String::new(),
        };
        builder = builder
            .with_skip_signature(true)
            // Given, none is looked for in the person's own folder.
            .with_credentials(Arc::new(StaticCredentialProvider::new(none)));
    }
    let store = builder.build()?;
    Ok((Box::new(store.clone()), Some(Box::new(store))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_stores() {
        let at = |url: &str| {
            let address = Address::parse(url).unwrap();
            (address.at, address.prefix, address.shown)
        };
        let of = |at, prefix: &str, shown: &str| (at, prefix.to_owned(), shown.to_owned());
        for (url, right) in [
            (
                "https://me:pw@a.b/c/d.zarr/?sig=x#y",
                of(
                    At::Server("https://me:pw@a.b/c/d.zarr?sig=x".into()),
                    "",
                    "https://a.b/c/d.zarr/",
                ),
            ),
            (
                "s3://b/c/d.zarr/",
                of(At::Amazon("b".into()), "c/d.zarr/", "s3://b/c/d.zarr/"),
            ),
            ("gs://b", of(At::Google("b".into()), "", "gs://b")),
        ] {
            assert_eq!(at(url), right, "{url}");
        }
    }

    #[test]
    fn what_is_no_address_of_a_store_is_told_without_its_secrets() {
        for (url, words) in [
            ("http://a.b/c", "http:// to another machine"),
            ("https:///c", "no host"),
            ("https://me:secret/@a.b/c", "no host"),
            ("s3://key:secret@b/c", "a user or parameters"),
            ("s3://b/c?token=secret", "a user or parameters"),
            ("gs:///c", "no bucket"),
            ("ftp://me:secret@a/b", "another kind"),
        ] {
            let told = Address::parse(url).unwrap_err().to_string();
            assert!(told.contains(words) && !told.contains("secret"), "{told}");
        }
    }
}
