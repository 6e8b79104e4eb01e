//! Decoders written by others, kept from taking the whole program down when a damaged file makes them panic.
//!
//! In: a call into such a decoder. Out: what it returned, or an error that names the file and the format.
//! A panic prints nothing: a hook, installed once, passes over threads that are inside [`contain`] and hands every
//! other panic to the hook that was there before. Not caught: running out of memory, which is why readers compare
//! the counts in a file with its length before a decoder sees them. Needs unwinding, which is Rust's default.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::{Once, OnceLock};

use rayon::{ThreadPool, ThreadPoolBuilder};

use crate::error::{Error, Place, Result};

thread_local! {
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

/// Runs `decode`; a panic inside becomes [`Error::Input`] at `place`.
///
/// # Errors
/// What `decode` returns, or that it panicked.
pub fn contain<T>(place: &Place, format: &str, decode: impl FnOnce() -> Result<T>) -> Result<T> {
    silence_contained_panics();
    let outside = CONTAINED.replace(true);
    let outcome = panic::catch_unwind(AssertUnwindSafe(decode));
    CONTAINED.set(outside);
    outcome.unwrap_or_else(|_| {
        Err(Error::input(
            place.clone(),
            format!("{format} data that cannot be decoded"),
            "an undamaged file; save it again from the program it came from",
        ))
    })
}

/// Runs `decode` on threads of their own, so that a panic on any of them is as silent as on the caller's.
pub fn on_decoding_threads<T: Send>(decode: impl FnOnce() -> T + Send) -> T {
    static POOL: OnceLock<Option<ThreadPool>> = OnceLock::new();
    let pool = POOL.get_or_init(|| {
        ThreadPoolBuilder::new()
            .thread_name(|n| format!("decode {n}"))
            .start_handler(|_| CONTAINED.set(true))
            .build()
            .ok()
    });
    match pool {
        Some(pool) => pool.install(decode),
        None => decode(),
    }
}

fn silence_contained_panics() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !CONTAINED.get() {
                before(info);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_an_error_with_its_place() {
        let place = Place::record("scan.laz", 7);
        let error = contain::<()>(&place, "LAZ", || panic!("decoder")).unwrap_err();
        assert!(
            error
                .to_string()
                .starts_with("scan.laz, record 7: found LAZ data")
        );
        assert!(!CONTAINED.get());
    }

    #[test]
    fn a_panic_on_a_decoding_thread_is_caught_too() {
        let place = Place::file("scan.laz");
        let outcome = contain(&place, "LAZ", || {
            on_decoding_threads(|| {
                assert!(CONTAINED.get());
                rayon::join(|| panic!("decoder"), || Ok(())).1
            })
        });
        assert!(outcome.is_err());
    }

    #[test]
    fn what_goes_well_passes_through() {
        assert_eq!(contain(&Place::file("a"), "LAZ", || Ok(3)).unwrap(), 3);
    }
}
