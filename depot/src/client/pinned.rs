//! TLS to a depot that is known by its key alone: no authority, no name and no date are asked, and nothing is sent before the depot
//! has proven that it holds the enrolled key.

use std::sync::Arc;

use gritbook_core::ids::Sha256Hex;
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{CryptoProvider, verify_tls12_signature, verify_tls13_signature};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{CertificateError, ClientConfig, ClientConnection, DigitallySignedStruct, SignatureScheme, StreamOwned};
use ureq::Error;
use ureq::http::Uri;
use ureq::unversioned::transport::{Buffers, ConnectionDetails, Connector, LazyBuffers, NextTimeout, Transport, TransportAdapter};

use crate::key::key_sha256;

/// Takes one key and no other.
#[derive(Debug)]
struct OneKey {
    key_sha256: Sha256Hex,
    provider: Arc<CryptoProvider>,
}

impl ServerCertVerifier for OneKey {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _server_name: &ServerName<'_>,
        _ocsp_response: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, rustls::Error> {
        if key_sha256(end_entity)? == self.key_sha256 {
            Ok(ServerCertVerified::assertion())
        } else {
            Err(CertificateError::ApplicationVerificationFailure.into())
        }
    }

    // The certificate is public: that the other side holds its key shows in the signature over the handshake only.
    fn verify_tls12_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signature: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        verify_tls12_signature(message, certificate, signature, &self.provider.signature_verification_algorithms)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signature: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        verify_tls13_signature(message, certificate, signature, &self.provider.signature_verification_algorithms)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.provider.signature_verification_algorithms.supported_schemes()
    }
}

/// Wraps a connection in TLS to the one key.
pub(super) struct PinnedConnector(Arc<ClientConfig>);

impl std::fmt::Debug for PinnedConnector {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("PinnedConnector")
    }
}

impl PinnedConnector {
    pub(super) fn new(key_sha256: Sha256Hex) -> Result<Self, rustls::Error> {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ClientConfig::builder_with_provider(Arc::clone(&provider))
            .with_safe_default_protocol_versions()?
            .dangerous()
            .with_custom_certificate_verifier(Arc::new(OneKey { key_sha256, provider }))
            .with_no_client_auth();
        Ok(Self(Arc::new(config)))
    }
}

fn name_of(uri: &Uri) -> Result<ServerName<'static>, Error> {
    let host = uri.host().unwrap_or_default();
    let bare = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(host);
    ServerName::try_from(bare.to_owned()).map_err(|_| Error::Tls("the depot's name is none"))
}

impl<In: Transport> Connector<In> for PinnedConnector {
    type Out = PinnedTransport;

    fn connect(&self, details: &ConnectionDetails<'_>, chained: Option<In>) -> Result<Option<PinnedTransport>, Error> {
        // A pinned address is https in any case (HttpTransport::new); a connection without TLS is never made here.
        let Some(transport) = chained.filter(|_| details.needs_tls()) else { return Ok(None) };
        let mut connection = ClientConnection::new(Arc::clone(&self.0), name_of(details.uri)?)?;
        let mut socket = TransportAdapter::new(transport.boxed(), Arc::clone(&details.current_time));
        socket.set_timeout(details.timeout);
        while connection.is_handshaking() {
            connection.complete_io(&mut socket)?;
        }
        let buffers = LazyBuffers::new(details.config.input_buffer_size(), details.config.output_buffer_size());
        Ok(Some(PinnedTransport { buffers, stream: StreamOwned { conn: connection, sock: socket } }))
    }
}

/// A connection to the one key.
pub(super) struct PinnedTransport {
    buffers: LazyBuffers,
    stream: StreamOwned<ClientConnection, TransportAdapter>,
}

impl std::fmt::Debug for PinnedTransport {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("PinnedTransport")
    }
}

impl Transport for PinnedTransport {
    fn buffers(&mut self) -> &mut dyn Buffers {
        &mut self.buffers
    }

    fn transmit_output(&mut self, amount: usize, timeout: NextTimeout) -> Result<(), Error> {
        use std::io::Write as _;
        self.stream.get_mut().set_timeout(timeout);
        let output = self.buffers.output().get(..amount).unwrap_or_default();
        Ok(self.stream.write_all(output)?)
    }

    fn await_input(&mut self, timeout: NextTimeout) -> Result<bool, Error> {
        use std::io::Read as _;
        self.stream.get_mut().set_timeout(timeout);
        let amount = self.stream.read(self.buffers.input_append_buf())?;
        self.buffers.input_appended(amount);
        Ok(amount > 0)
    }

    fn is_open(&mut self) -> bool {
        self.stream.get_mut().get_mut().is_open()
    }

    fn is_tls(&self) -> bool {
        true
    }
}
