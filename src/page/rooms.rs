//! A room for each browser: what it sent is kept there, and nobody else gets in.
//!
//! In: the token of a cookie. Out: a [`Room`] with a folder of its own. Tokens are random and cannot be guessed; folders
//! are numbered, in one private temporary folder that goes when serving ends.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// More browsers than this at once are no building site: the one that has been idle longest loses its room.
const MOST_ROOMS: usize = 512;

/// A room nobody has been in for this long is cleared.
const IDLE: Duration = Duration::from_secs(24 * 60 * 60);

/// Most files that a browser can leave.
const MOST_FILES: usize = 50;

/// Most bytes that a browser can leave.
const MOST_IN_ROOM: u64 = 4 << 30;

/// Most bytes that all of them can leave.
const MOST_IN_ALL: u64 = 16 << 30;

/// All rooms.
pub(super) struct Rooms {
    root: PathBuf,
    rooms: Mutex<HashMap<String, Arc<Room>>>,
    count: AtomicU64,
    held: Arc<AtomicU64>,
}

/// The folder that holds all rooms; it goes with this.
pub(super) struct Folder(TempDir);

impl Folder {
    /// Removes it, whoever still reads in it.
    pub(super) fn remove(self) -> io::Result<()> {
        self.0.close()
    }
}

/// What one browser left here.
pub(super) struct Room {
    folder: PathBuf,
    uploads: Mutex<Vec<Upload>>,
    seen: Mutex<Instant>,
    count: AtomicU64,
    /// Bytes in this room and in all of them.
    held: [Arc<AtomicU64>; 2],
}

/// A file that was sent; it goes with this.
pub(super) struct Upload {
    number: u64,
    path: PathBuf,
    bytes: u64,
    held: [Arc<AtomicU64>; 2],
}

impl Upload {
    /// Where it is.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Whether there is room for `more` bytes; if so, they are counted.
    pub(super) fn grow(&mut self, more: u64) -> bool {
        let fits = self.fits(more);
        if fits {
            self.bytes += more;
            for held in &self.held {
                held.fetch_add(more, Ordering::Relaxed);
            }
        }
        fits
    }

    /// Whether there would be room for `more` bytes.
    pub(super) fn fits(&self, more: u64) -> bool {
        let mut held = self.held.iter().zip([MOST_IN_ROOM, MOST_IN_ALL]);
        held.all(|(held, most)| held.load(Ordering::Relaxed).saturating_add(more) <= most)
    }
}

impl Drop for Upload {
    fn drop(&mut self) {
        for held in &self.held {
            held.fetch_sub(self.bytes, Ordering::Relaxed);
        }
        if let Some(folder) = self.path.parent() {
            let _ = std::fs::remove_dir_all(folder);
        }
    }
}

impl Rooms {
    /// No room yet, in a new folder that only its owner may enter.
    pub(super) fn new() -> io::Result<(Self, Folder)> {
        let mut folder = tempfile::Builder::new();
        folder.prefix("lowspot-");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            folder.permissions(std::fs::Permissions::from_mode(0o700));
        }
        let folder = folder.tempdir()?;
        let rooms = Self {
            root: folder.path().to_owned(),
            rooms: Mutex::default(),
            count: AtomicU64::new(0),
            held: Arc::default(),
        };
        Ok((rooms, Folder(folder)))
    }

    /// The room that a token opens.
    pub(super) fn open(&self, token: &str) -> Option<Arc<Room>> {
        let room = lock(&self.rooms).get(token).cloned()?;
        *lock(&room.seen) = Instant::now();
        Some(room)
    }

    /// A new room and its token.
    pub(super) fn add(&self) -> (String, Arc<Room>) {
        let number = self.count.fetch_add(1, Ordering::Relaxed);
        let room = Arc::new(Room {
            folder: self.root.join(format!("room-{number}")),
            uploads: Mutex::default(),
            seen: Mutex::new(Instant::now()),
            count: AtomicU64::new(0),
            held: [Arc::default(), self.held.clone()],
        });
        let token = token();
        let mut rooms = lock(&self.rooms);
        rooms.retain(|_, room| lock(&room.seen).elapsed() < IDLE);
        if rooms.len() >= MOST_ROOMS {
            let idle = rooms.iter().min_by_key(|(_, room)| *lock(&room.seen));
            if let Some(token) = idle.map(|(token, _)| token.clone()) {
                rooms.remove(&token);
            }
        }
        rooms.insert(token.clone(), room.clone());
        (token, room)
    }
}

impl Room {
    /// A new folder in the room for the files of one request; it goes with what is returned.
    pub(super) fn desk(&self) -> io::Result<TempDir> {
        std::fs::create_dir_all(&self.folder)?;
        tempfile::Builder::new()
            .prefix("desk-")
            .tempdir_in(&self.folder)
    }

    /// A place for a file that the browser calls `name`; nothing is there yet but its folder.
    pub(super) fn place(&self, name: &str) -> io::Result<Upload> {
        let number = self.count.fetch_add(1, Ordering::Relaxed) + 1;
        let folder = self.folder.join(format!("upload-{number}"));
        std::fs::create_dir_all(&folder)?;
        Ok(Upload {
            number,
            path: folder.join(file_name(name)),
            bytes: 0,
            held: self.held.clone(),
        })
    }

    /// Keeps a file that has come whole, and tells the number that the browser names it by; None of one too many.
    pub(super) fn keep(&self, upload: Upload) -> Option<u64> {
        let number = upload.number;
        let mut uploads = lock(&self.uploads);
        (uploads.len() < MOST_FILES).then(|| {
            uploads.push(upload);
            number
        })
    }

    /// Removes all files.
    pub(super) fn clear(&self) {
        lock(&self.uploads).clear();
    }

    /// Where the file of a number is.
    pub(super) fn upload(&self, number: u64) -> Option<PathBuf> {
        let uploads = lock(&self.uploads);
        let upload = uploads.iter().find(|upload| upload.number == number);
        upload.map(|upload| upload.path.clone())
    }
}

impl Drop for Room {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// 128 random bits in hexadecimal digits, from the system's generator.
pub(super) fn token() -> String {
    format!("{:032x}", rand::random::<u128>())
}

/// What a browser calls a file, as a name that leads nowhere: its last part, of letters, digits and a few signs.
fn file_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let kept = last
        .chars()
        .filter(|c| c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | ' ' | '(' | ')'));
    let kept: String = kept.take(LONGEST_NAME).collect();
    let kept = kept.trim_matches(['.', ' ']);
    if kept.is_empty() {
        "survey".to_owned()
    } else {
        kept.to_owned()
    }
}

/// A letter takes up to four bytes, and a name 255.
const LONGEST_NAME: usize = 60;

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_leads_nowhere() {
        for (name, wanted) in [
            ("hall.laz", "hall.laz"),
            ("../../etc/passwd", "passwd"),
            ("C:\\scans\\Küche 2 (new).e57", "Küche 2 (new).e57"),
            ("..", "survey"),
            ("", "survey"),
            (".hidden", "hidden"),
            ("a\0b\nc\u{202e}d", "abcd"),
        ] {
            assert_eq!(file_name(name), wanted);
        }
        assert!(file_name(&"ü".repeat(500)).len() <= 240);
    }

    #[test]
    fn a_room_is_opened_by_its_token_alone_and_goes_with_its_files() {
        let (rooms, folder) = Rooms::new().expect("a folder");
        let (token, room) = rooms.add();
        let (other, _) = rooms.add();
        assert_ne!(token, other);
        assert!(rooms.open("").is_none() && rooms.open(&token[1..]).is_none());
        let upload = room.place("a.csv").expect("a place");
        std::fs::write(&upload.path, "x").expect("written");
        let number = room.keep(upload).expect("kept");
        let path = room.upload(number).expect("there");
        assert!(path.exists() && rooms.open(&other).expect("open").upload(number).is_none());
        let root = folder.0.path().to_owned();
        folder.remove().expect("removed");
        assert!(!root.exists());
    }

    #[test]
    fn the_longest_idle_makes_way() {
        let (rooms, _folder) = Rooms::new().expect("a folder");
        let (first, _) = rooms.add();
        for _ in 0..MOST_ROOMS {
            rooms.add();
        }
        assert!(rooms.open(&first).is_none());
        assert_eq!(lock(&rooms.rooms).len(), MOST_ROOMS);
    }
}
