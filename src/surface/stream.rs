//! Reading the files of a scan side by side.
//!
//! In: readers of points. Out: their batches, one after another, to one function that counts them. Each file is decoded in a
//! thread of its own; batches go round, so that their memory is taken once. The order of batches is not settled:
//! whoever counts them must not depend on it.

use std::collections::VecDeque;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread;

use crate::error::{Result, Warning};
use crate::survey::{Batch, LeftOut, PointReader};

/// Opens all files of a scan from the start.
pub type Open<'a> = &'a dyn Fn() -> Result<Vec<Box<dyn PointReader>>>;
/// Told how many points were just read, in both passes.
pub type Progress<'a> = &'a (dyn Fn(u64) + Sync);

/// What readers say at their end.
pub struct End {
    /// Points that the readers left out.
    pub left_out: LeftOut,
    /// What the readers noticed, in the order of the files.
    pub warnings: Vec<Warning>,
}

/// Reads all files, as many at a time as there are cores, and shows their batches while the next are decoded.
///
/// # Errors
/// What a reader says, or `show`.
pub fn stream(
    open: Open,
    progress: Progress,
    mut show: impl FnMut(&Batch) -> Result<()>,
) -> Result<End> {
    let readers = open()?;
    let threads = thread::available_parallelism()
        .map_or(1, usize::from)
        .min(readers.len());
    let readers = Mutex::new(readers.into_iter().enumerate().collect::<VecDeque<_>>());
    let spare = Mutex::new(Vec::new());
    let ends = Mutex::new(Vec::new());
    let (sender, batches) = sync_channel(2 * threads + 2);
    thread::scope(|scope| {
        for _ in 0..threads {
            let sender = sender.clone();
            scope.spawn(|| {
                let sender = sender;
                while let Some((number, mut reader)) = lock(&readers).pop_front() {
                    if !read(reader.as_mut(), &sender, &spare) {
                        return;
                    }
                    lock(&ends).push((number, reader.left_out(), reader.warnings()));
                }
            });
        }
        drop(sender);
        let batches = batches;
        for batch in batches.iter() {
            let batch = batch?;
            show(&batch)?;
            progress(batch.len() as u64);
            lock(&spare).push(batch);
        }
        Ok(())
    })?;
    let mut ends = ends.into_inner().unwrap_or_else(PoisonError::into_inner);
    ends.sort_by_key(|end| end.0);
    let mut all = End {
        left_out: LeftOut::default(),
        warnings: Vec::new(),
    };
    for (_, left_out, warnings) in ends {
        all.left_out += left_out;
        all.warnings.extend(warnings);
    }
    Ok(all)
}

/// Sends all batches of a reader; false when nobody listens any more, or after an error.
fn read(
    reader: &mut dyn PointReader,
    sender: &SyncSender<Result<Batch>>,
    spare: &Mutex<Vec<Batch>>,
) -> bool {
    loop {
        let mut batch = lock(spare).pop().unwrap_or_default();
        match reader.next_batch(&mut batch) {
            Ok(true) if sender.send(Ok(batch)).is_ok() => {}
            Ok(true) => return false,
            Ok(false) => return true,
            Err(error) => {
                // When nobody listens, an earlier error has been reported already.
                let _ = sender.send(Err(error));
                return false;
            }
        }
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
