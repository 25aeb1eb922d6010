//! Which servers are believed to be those they say they are.

use ureq::tls::{Certificate, RootCerts};

/// The certificates of the program and those of the system: schools and offices have their own.
pub fn roots() -> RootCerts {
    // What the system cannot give is missed when a server needs it, and told then.
    let system = rustls_native_certs::load_native_certs().certs;
    let own = webpki_root_certs::TLS_SERVER_ROOT_CERTS.iter();
    let all = own
        .map(|c| c.as_ref())
        .chain(system.iter().map(|c| c.as_ref()));
    all.map(|der: &[u8]| Certificate::from_der(der).to_owned())
        .collect::<Vec<_>>()
        .into()
}

/// Whether there is no answer because of a certificate: asking again would not help.
pub fn is_distrust(cause: &ureq::Error) -> bool {
    // As rustls words it; its type comes wrapped in an error of input.
    cause.to_string().contains("invalid peer certificate")
}
