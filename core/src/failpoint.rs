//! Named points at which a test may kill the process or make a step fail. Empty without the feature `failpoints`.
//!
//! `GRITBOOK_FAILPOINT=name:abort` ends the process at that point as a pulled battery would (no unwinding, no
//! destructors); `name:error` makes the step fail; a third part counts hits: `name:abort:2` strikes the second time.

#[cfg(feature = "failpoints")]
pub(crate) fn hit(name: &str) -> Result<(), crate::CoreError> {
    use std::sync::atomic::{AtomicU32, Ordering};
    static HITS: AtomicU32 = AtomicU32::new(0);
    let Ok(wish) = std::env::var("GRITBOOK_FAILPOINT") else { return Ok(()) };
    let mut parts = wish.split(':');
    if parts.next() != Some(name) {
        return Ok(());
    }
    let action = parts.next().unwrap_or("abort");
    let strike = parts.next().and_then(|count| count.parse().ok()).unwrap_or(1);
    if HITS.fetch_add(1, Ordering::SeqCst) + 1 != strike {
        return Ok(());
    }
    match action {
        "error" => Err(crate::CoreError::new(
            crate::ErrorKind::Storage,
            "failpoint",
            format!("the test point `{name}` was told to fail"),
            "this happens in tests only",
        )),
        _ => std::process::abort(),
    }
}

macro_rules! failpoint {
    ($name:literal) => {
        #[cfg(feature = "failpoints")]
        crate::failpoint::hit($name)?;
    };
}

pub(crate) use failpoint;
