//! One writer for each upload at a time.
//!
//! A phone whose connection died comes back before the depot notices that the old one is dead. So a newcomer is told to
//! wait (423), and the holder is told to save what came and let go: the newcomer's next try finds the way free.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::Notify;

#[derive(Debug, Default, Clone)]
pub(crate) struct Busy(Arc<Mutex<HashMap<String, Arc<Notify>>>>);

/// Held while an upload is written; letting it go frees the upload.
#[derive(Debug)]
pub(crate) struct Hold {
    busy: Busy,
    id: String,
    let_go: Arc<Notify>,
}

impl Busy {
    /// The hold on an upload; none where another has it, who is then asked to let go.
    pub(crate) fn hold(&self, id: &str) -> Option<Hold> {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(holder) = held.get(id) {
            holder.notify_one();
            return None;
        }
        let let_go = Arc::new(Notify::new());
        held.insert(id.to_owned(), Arc::clone(&let_go));
        Some(Hold { busy: self.clone(), id: id.to_owned(), let_go })
    }
}

impl Hold {
    /// Ends once someone else wants the upload.
    pub(crate) async fn asked_to_let_go(&self) {
        self.let_go.notified().await;
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        self.busy.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.id);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn newcomer_waits_and_the_holder_is_asked_to_let_go() {
        let busy = Busy::default();
        let hold = busy.hold("a").unwrap();
        assert!(busy.hold("a").is_none());
        assert!(busy.hold("b").is_some());
        hold.asked_to_let_go().await;
        drop(hold);
        assert!(busy.hold("a").is_some());
    }
}
