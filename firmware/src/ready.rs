//! Running the storage futures where nothing ever waits.

use core::future::poll_fn;
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

/// A future that does its work when it is polled. It keeps no state, so that nothing in it can
/// panic when it is polled again, as an `async fn` would: it does the work again.
pub(crate) fn at_once<T>(mut work: impl FnMut() -> T) -> impl Future<Output = T> {
    poll_fn(move |_| Poll::Ready(work()))
}

#[cfg(test)]
mod tests {
    use super::{at_once, ready};

    #[test]
    fn work_that_blocks_is_ready_at_once() {
        let mut count = 0;
        assert_eq!(ready(at_once(|| 7)), Some(7));
        assert_eq!(ready(at_once(|| count += 1)), Some(()));
        assert_eq!(count, 1);
    }

    #[test]
    fn a_ready_future_gives_its_value_and_a_waiting_one_gives_none() {
        assert_eq!(ready(async { 7 }), Some(7));
        assert_eq!(ready(core::future::pending::<u8>()), None);
    }
}
