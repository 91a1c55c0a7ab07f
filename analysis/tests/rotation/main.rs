//! Angle, speed and cam phase from mathematically generated edges.

mod crank;
mod detail;
mod even;
mod motion;
mod noise;
mod phase;
mod reluctance;
mod spoiled;
mod wheels;
