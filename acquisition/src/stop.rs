//! The wish to stop, as the tasks of a link see it.

use tokio::sync::watch;

/// Becomes true once, and is true as well when nobody is left who could wish.
#[derive(Debug, Clone)]
pub(crate) struct Stop(watch::Receiver<bool>);

impl Stop {
    /// The wish, and the hand that makes it.
    pub(crate) fn new() -> (watch::Sender<bool>, Self) {
        let (sender, receiver) = watch::channel(false);
        (sender, Self(receiver))
    }

    /// Returns when the link is to stop.
    pub(crate) async fn wished(&mut self) {
        let _wish_or_nobody = self.0.wait_for(|stop| *stop).await.is_ok();
    }
}
