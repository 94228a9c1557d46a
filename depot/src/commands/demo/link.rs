//! A link that is cut in the middle of a photo, for the demo: half of a chunk arrives, no answer comes back.

use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use gritbook_core::outbox::{Answer, Body, Request, Transport, TransportFault, TransportFaultKind};

/// Carries requests until the one numbered `cut_at`, then nothing until [`CutLink::back_in_range`].
pub(super) struct CutLink<T> {
    inner: T,
    cut_at: u32,
    carried: AtomicU32,
    out_of_range: AtomicBool,
}

impl<T: Transport> CutLink<T> {
    /// A link over `inner` that is cut at request number `cut_at`, counted from 0.
    pub(super) fn new(inner: T, cut_at: u32) -> Self {
        Self { inner, cut_at, carried: AtomicU32::new(0), out_of_range: AtomicBool::new(false) }
    }

    /// The phone is back in range.
    pub(super) fn back_in_range(&self) {
        self.out_of_range.store(false, Ordering::SeqCst);
    }
}

impl<T: Transport> Transport for CutLink<T> {
    fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
        if self.out_of_range.load(Ordering::SeqCst) {
            return Err(TransportFault { kind: TransportFaultKind::Offline, reason: "no signal".into() });
        }
        if self.carried.fetch_add(1, Ordering::SeqCst) != self.cut_at {
            return self.inner.carry(request);
        }
        self.out_of_range.store(true, Ordering::SeqCst);
        if let Body::File { path, offset, length } = &request.body {
            let headers = request.headers.iter().filter(|(name, _)| !name.eq_ignore_ascii_case("upload-checksum")).cloned().collect();
            let half = Body::File { path: path.clone(), offset: *offset, length: length / 2 };
            // What the depot makes of the half does not come back: that is the point of the cut.
            let _ = self.inner.carry(&Request { headers, body: half, ..request.clone() });
        }
        Err(TransportFault { kind: TransportFaultKind::Cut, reason: "the signal went in the middle of a photo".into() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use gritbook_core::outbox::Method;
    use std::sync::Mutex;

    /// Notes what it is asked to carry.
    struct Noting(Mutex<Vec<u64>>);

    impl Transport for &Noting {
        fn carry(&self, request: &Request) -> Result<Answer, TransportFault> {
            let length = if let Body::File { length, .. } = &request.body { *length } else { 0 };
            self.0.lock().unwrap().push(length);
            Ok(Answer { status: 204, headers: Vec::new(), body: Vec::new() })
        }
    }

    #[test]
    fn the_cut_lets_half_a_chunk_through_and_then_nothing_until_back_in_range() {
        let noting = Noting(Mutex::new(Vec::new()));
        let link = CutLink::new(&noting, 1);
        let body = Body::File { path: "p".into(), offset: 0, length: 100 };
        let request = Request { method: Method::Patch, path: "/v1/photos/x".into(), headers: Vec::new(), body };
        assert!(link.carry(&request).is_ok());
        assert_eq!(link.carry(&request).unwrap_err().kind, TransportFaultKind::Cut);
        assert_eq!(link.carry(&request).unwrap_err().kind, TransportFaultKind::Offline);
        link.back_in_range();
        assert!(link.carry(&request).is_ok());
        assert_eq!(*noting.0.lock().unwrap(), [100, 50, 100]);
    }
}
