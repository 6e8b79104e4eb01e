//! Invented floors of an invented mill, and the surveys that somebody would have made of them.
//!
//! Each scenario has `truth(x, y)`, the floor without any error of measurement, in the survey's own coordinates and in
//! metres; and `files()`, the survey: the truth read with the noise of the instrument, from a fixed seed.
//! Not portable to the last bit: cosines come from the system's library. What is written is rounded so much more
//! coarsely that a different last bit does not show.

pub mod cottage;
pub mod hall;
pub mod kitchen;
pub mod loft;
pub mod studio;
pub mod workshop;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// A file of a sample: path below `sample-surveys/`, and content.
pub type File = (&'static str, Vec<u8>);

/// Metres in a millimetre.
pub const MM: f64 = 1e-3;

/// Every generated file of every scenario.
pub fn files() -> Vec<File> {
    [
        kitchen::files(),
        studio::files(),
        workshop::files(),
        hall::files(),
        cottage::files(),
        loft::files(),
    ]
    .concat()
}

/// A round hump (`height` > 0) or hollow (< 0), smooth at its edge: height (1 - (r / radius)^2)^2. All in metres.
pub fn bump(height: f64, radius: f64, centre: [f64; 2], [x, y]: [f64; 2]) -> f64 {
    let squared = ((x - centre[0]).powi(2) + (y - centre[1]).powi(2)) / radius.powi(2);
    height * (1.0 - squared).max(0.0).powi(2)
}

/// A ripple of `amplitude` that repeats every `length` along `along` (m), shifted by `shift` m.
pub fn ripple(amplitude: f64, length: f64, along: f64, shift: f64) -> f64 {
    amplitude * (std::f64::consts::TAU * (along - shift) / length).cos()
}

/// An instrument that adds normal noise to a height and reads it in steps, all in metres.
pub struct Instrument {
    rng: ChaCha8Rng,
    noise: f64,
    step: f64,
}

impl Instrument {
    /// With noise of this standard deviation, read to the nearest `step`.
    pub fn new(seed: u64, noise: f64, step: f64) -> Self {
        Self {
            rng: ChaCha8Rng::seed_from_u64(seed),
            noise,
            step,
        }
    }

    /// One reading of a height.
    pub fn read(&mut self, height: f64) -> f64 {
        let noise = Normal::new(0.0, self.noise).expect("a fixed standard deviation");
        ((height + noise.sample(&mut self.rng)) / self.step).round() * self.step
    }
}
