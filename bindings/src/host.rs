//! What the shell implements, and how it looks to core.

use std::sync::{Arc, Mutex, PoisonError};

use gritbook_core::outbox;

use crate::cross::Cross as _;
use crate::error::FieldBookError;
use crate::records::{Answer, OutboxEvent, Request};

/// Why no answer came. In Kotlin: `TransportException`.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum TransportError {
    /// No network, or the address does not answer.
    #[error("{reason}")]
    Offline {
        /// In plain words.
        reason: String,
    },
    /// Cut or silent in the middle.
    #[error("{reason}")]
    Cut {
        /// In plain words.
        reason: String,
    },
    /// The depot's key is not the one that was enrolled: nothing was sent.
    #[error("{reason}")]
    WrongKey {
        /// In plain words.
        reason: String,
    },
    /// No key was enrolled, and the depot's certificate is not trusted, or its address is not encrypted: nothing was sent.
    #[error("{reason}")]
    NotTrusted {
        /// In plain words.
        reason: String,
    },
    /// The person or the system stopped it.
    #[error("{reason}")]
    Cancelled {
        /// In plain words.
        reason: String,
    },
    /// Never throw this: any other exception arrives as this one. The run ends, everything stays queued, and the caller of the run
    /// gets `FieldBookError.Internal` with code `host_failed`.
    #[error("{reason}")]
    Unexpected {
        /// What was thrown.
        reason: String,
    },
}

impl From<uniffi::UnexpectedUniFFICallbackError> for TransportError {
    fn from(error: uniffi::UnexpectedUniFFICallbackError) -> Self {
        Self::Unexpected { reason: error.reason }
    }
}

/// Carries one request to the depot and brings the answer. Called on the thread that runs the outbox, one request at a time.
///
/// The carrier adds the depot's address and `Authorization`, follows no redirects, sends a file part as a stream, and must not call
/// into the book. An HTTP error status is an answer, not a fault. A carrier that cannot send PATCH sends POST with
/// `X-HTTP-Method-Override: PATCH`.
#[uniffi::export(with_foreign)]
pub trait Transport: Send + Sync {
    /// Makes the request; throws where no complete answer came.
    fn carry(&self, request: Request) -> Result<Answer, TransportError>;
}

/// Hears what a run of the outbox does. Called on the thread that runs the outbox.
#[uniffi::export(with_foreign)]
pub trait OutboxListener: Send + Sync {
    /// Something was sent, parked, paused or pulled. What it throws is dropped: showing progress must not stop sending.
    fn heard(&self, event: OutboxEvent) -> Result<(), FieldBookError>;
}

/// The shell's carrier as core sees it; keeps what it threw that is no fault of the network.
pub(crate) struct HostTransport {
    host: Arc<dyn Transport>,
    failure: Mutex<Option<String>>,
}

impl HostTransport {
    pub(crate) fn new(host: Arc<dyn Transport>) -> Self {
        Self { host, failure: Mutex::new(None) }
    }

    /// `done`, or the shell's own failure where there was one: it must not pass for a bad network.
    pub(crate) fn unless_failed<T>(self, done: T) -> Result<T, FieldBookError> {
        let failure = self.failure.into_inner().unwrap_or_else(PoisonError::into_inner);
        failure.map_or(Ok(done), |reason| Err(uniffi::UnexpectedUniFFICallbackError { reason }.into()))
    }

    fn fault(&self, error: TransportError) -> outbox::TransportFault {
        let fault = |kind, reason| outbox::TransportFault { kind, reason };
        match error {
            TransportError::Offline { reason } => fault(outbox::TransportFaultKind::Offline, reason),
            TransportError::Cut { reason } => fault(outbox::TransportFaultKind::Cut, reason),
            TransportError::WrongKey { reason } => fault(outbox::TransportFaultKind::WrongKey, reason),
            TransportError::NotTrusted { reason } => fault(outbox::TransportFaultKind::NotTrusted, reason),
            TransportError::Cancelled { reason } => fault(outbox::TransportFaultKind::Cancelled, reason),
            TransportError::Unexpected { reason } => {
                *self.failure.lock().unwrap_or_else(PoisonError::into_inner) = Some(reason.clone());
                fault(outbox::TransportFaultKind::Cancelled, reason)
            }
        }
    }
}

impl outbox::Transport for HostTransport {
    fn carry(&self, request: &outbox::Request) -> Result<outbox::Answer, outbox::TransportFault> {
        self.host.carry(request.clone().cross()).map(|answer| answer.cross()).map_err(|error| self.fault(error))
    }
}
