//! Calls into a decoder that may fall over a damaged file.
//!
//! No damaged file is known that makes the decoder panic in a release, but it reads what anybody sends, and
//! in a debug build its sums may overflow. A panic in it is one more kind of damage, told in one message.

use std::{
    cell::Cell,
    panic::{self, AssertUnwindSafe},
    sync::Once,
};

thread_local! {
    /// Whether this thread is inside [`guarded`], where a panic is not for the user to see.
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

/// What `work` gives, or nothing if it panics. Panics elsewhere are shown as ever.
pub fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    HOOK.call_once(|| {
        let shown = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                shown(info);
            }
        }));
    });
    QUIET.set(true);
    // What the work borrows is dropped with it, so that nothing half-changed is seen afterwards.
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    QUIET.set(false);
    result.ok()
}

#[cfg(test)]
mod tests {
    use super::guarded;

    #[test]
    fn a_panic_is_nothing_and_all_else_comes_through() {
        assert_eq!(guarded(|| 7), Some(7));
        assert_eq!(guarded(|| -> u8 { panic!("not shown") }), None);
        assert_eq!(guarded(|| "again"), Some("again"));
    }
}
