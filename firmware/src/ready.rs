//! Running the storage futures where nothing ever waits.

use core::pin::pin;
use core::task::{Context, Poll, Waker};

/// Polls `future` once. The flash below blocks, so every future of the library is ready then;
/// `None` if one is not, and never a loop.
pub(crate) fn ready<T>(future: impl Future<Output = T>) -> Option<T> {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => Some(value),
        Poll::Pending => None,
    }
}

#[cfg(test)]
mod tests {
    use super::ready;

    #[test]
    fn a_ready_future_gives_its_value_and_a_waiting_one_gives_none() {
        assert_eq!(ready(async { 7 }), Some(7));
        assert_eq!(ready(core::future::pending::<u8>()), None);
    }
}
