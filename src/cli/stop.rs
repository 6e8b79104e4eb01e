//! What is half written goes when the program is told to stop.
//!
//! In: what is being written. Out: nothing left of it after SIGTERM or Ctrl-C. Until something is written, and where the system
//! has no signals, the program ends as it would by itself.

use std::sync::Arc;

/// From now on the program, told to stop, first does `give_up` with `unfinished`, if that is still there, and then ends
/// inside it.
#[cfg(unix)]
pub fn on_stop<T: Send + Sync + 'static>(
    unfinished: &Arc<T>,
    give_up: impl Fn(&T, &mut dyn FnMut()) + Send + 'static,
) {
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::{iterator::Signals, low_level::emulate_default_handler};
    // Where no signal can be listened to, the program ends at once as it did before.
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else {
        return;
    };
    let unfinished = Arc::downgrade(unfinished);
    std::thread::spawn(move || {
        for signal in signals.forever() {
            // If the signal could not be raised again there is nobody left to tell.
            let mut end = || drop(emulate_default_handler(signal));
            match unfinished.upgrade() {
                Some(unfinished) => give_up(&unfinished, &mut end),
                None => end(),
            }
        }
    });
}

#[cfg(not(unix))]
pub fn on_stop<T>(_: &Arc<T>, _: impl Fn(&T, &mut dyn FnMut())) {}
