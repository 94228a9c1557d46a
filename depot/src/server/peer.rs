//! Where a request comes from.
//!
//! Behind a proxy the connection's other end is the proxy: then the last address of `X-Forwarded-For` counts, which that
//! proxy itself wrote. Without a proxy the header is anybody's word and is not looked at.

use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr};

use axum::extract::FromRequestParts;
use axum::http::request::Parts;

use super::Depot;
use super::archive::people::Reached;

/// The connection's other end; the accept loop notes it with each request.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer(pub(crate) SocketAddr);

/// Where a request comes from; no address where it came without a socket.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Caller(Option<IpAddr>);

impl Caller {
    /// The other end of a connection.
    pub(crate) fn at(address: SocketAddr) -> Self {
        Self(Some(address.ip().to_canonical()))
    }

    pub(crate) fn of(parts: &Parts, depot: &Depot) -> Self {
        let peer = parts.extensions.get::<Peer>().map(|Peer(address)| address.ip().to_canonical());
        if !depot.settings().behind_proxy {
            return Self(peer);
        }
        let told = parts.headers.get_all("x-forwarded-for").iter().next_back().and_then(|told| told.to_str().ok());
        let last = told.and_then(|told| told.rsplit(',').next()?.trim().parse::<IpAddr>().ok());
        Self(last.map(|address| address.to_canonical()).or(peer))
    }

    /// What tries and requests are counted by: the address, of IPv6 the network of 64 bits that one customer has.
    pub(crate) fn key(self) -> String {
        match self.0 {
            None => "nowhere".to_owned(),
            Some(IpAddr::V4(address)) => address.to_string(),
            Some(IpAddr::V6(address)) => {
                let [a, b, c, d, ..] = address.segments();
                format!("{a:x}:{b:x}:{c:x}:{d:x}")
            }
        }
    }

    /// The kind of address, which alone is written down.
    pub(crate) fn reached(self) -> Reached {
        match self.0 {
            None => Reached::Unknown,
            Some(address) if address.is_loopback() => Reached::ThisMachine,
            Some(IpAddr::V4(address)) if address.is_private() || address.is_link_local() => Reached::Private,
            Some(IpAddr::V6(address)) if address.is_unique_local() || address.is_unicast_link_local() => Reached::Private,
            Some(_) => Reached::Public,
        }
    }
}

impl FromRequestParts<Depot> for Caller {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, depot: &Depot) -> Result<Self, Infallible> {
        Ok(Self::of(parts, depot))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(address: &str) -> Caller {
        Caller(Some(address.parse::<IpAddr>().unwrap().to_canonical()))
    }

    #[test]
    fn addresses_are_told_apart_by_kind_and_counted_by_customer() {
        for (address, reached) in [
            ("127.0.0.1", Reached::ThisMachine),
            ("::1", Reached::ThisMachine),
            ("::ffff:10.1.2.3", Reached::Private),
            ("192.168.0.9", Reached::Private),
            ("fd00::1", Reached::Private),
            ("203.0.113.5", Reached::Public),
            ("2001:db8::1", Reached::Public),
        ] {
            assert_eq!(of(address).reached(), reached, "{address}");
        }
        assert_eq!(of("2001:db8:1:2:3::4").key(), of("2001:db8:1:2:ffff::9").key());
        assert_ne!(of("203.0.113.5").key(), of("203.0.113.6").key());
        assert_eq!(of("::ffff:203.0.113.5").key(), "203.0.113.5");
    }
}
