//! From what the engines of a matrix are drawn. "Practice" is common practice without one source, from memory.

/// Ranges; every figure is drawn evenly from its own.
pub struct Spread {
    pub name: &'static str,
    /// Wheels, each as often as it is listed.
    pub wheels: &'static [&'static str],
    /// Duty that holds with the coil at 80 °C and 14 V, percent. Practice: 35 to 65.
    pub hold: [f64; 2],
    /// Half the band in which nothing moves, points. Practice: 1 to 5.
    pub hold_band: [f64; 2],
    /// Crank degrees. Schaeffler's page on camshaft phasing: 40 to 60.
    pub authority: [f64; 2],
    /// Largest rate with oil at 90 °C, degrees per second. Practice: 50 to 150.
    pub hot_rate: [f64; 2],
    /// The same at 0 °C. Practice: 10 to 40; the least here still gives the 8 degrees per second of the sheet
    /// with the pump at idle.
    pub cold_rate: [f64; 2],
    /// Degrees per second for each point beyond the band (assumed).
    pub gain: [f64; 2],
    /// Milliseconds from duty to motion (assumed).
    pub dead_time: [f64; 2],
    /// Movement by the valve springs, crank degrees (assumed).
    pub flutter: [f64; 2],
    /// Hertz. Practice: 100 to 300.
    pub frequency: [f64; 2],
    /// Ohms at 20 °C. Practice: 6 to 13.
    pub resistance: [f64; 2],
    /// Millihenries (illustrative).
    pub inductance: [f64; 2],
    /// Ohms of the driver: 0.18 to 0.65 (TLE8102SG and TLE8104E data sheets, cold to hot).
    pub driver: [f64; 2],
    /// Volts of its clamp: 40 to 60 (TLE6244X, TLE8104E data sheets).
    pub clamp: [f64; 2],
    /// Spread of a cam edge from one passage to the next, crank degrees (assumed).
    pub jitter: [f64; 2],
    /// Fixed error of a cam edge at most, crank degrees: 0.8 to 2.4 in the ATS673 data sheet, of the worst kind.
    pub edge_error: f64,
    /// Multiple of the usual noise of an input.
    pub noise: [f64; 2],
    /// Volts of the alternator. Practice: 13.2 to 14.8.
    pub alternator: [f64; 2],
    /// Idle speed. Practice: 600 to 950.
    pub idle: [f64; 2],
    /// °C of warm oil, and of the coils.
    pub oil: [f64; 2],
    pub coil: [f64; 2],
    /// Speed of the position loop, 1/s: points per degree times degrees per second per point (assumed).
    pub loop_speed: [f64; 2],
    /// Integral over proportional part, 1/s (assumed).
    pub integral: [f64; 2],
    /// Points by which the controller's learned hold duty is off (assumed).
    pub learned: f64,
    /// Largest target as a share of the authority (assumed).
    pub reach: [f64; 2],
    /// Duty at rest, percent: below the 20 of the sheet. Practice: a few percent, to watch the circuit.
    pub keep_alive: [f64; 2],
    /// Authority in the sheet against the true one.
    pub sheet_authority: [f64; 2],
    /// Seconds of a run.
    pub seconds: [f64; 2],
}

/// The matrix on which the rules were tried while they were made.
pub const ONE: Spread = Spread {
    name: "one",
    wheels: &[
        "60-2",
        "60-2",
        "60-2",
        "36-1",
        "36-1 Hall",
        "36-2",
        "24-1",
        "36-2-2-2",
        "60-2 Hall",
        "24 even",
    ],
    hold: [38.0, 62.0],
    hold_band: [1.0, 4.0],
    authority: [40.0, 60.0],
    hot_rate: [60.0, 150.0],
    cold_rate: [20.0, 40.0],
    gain: [4.0, 9.0],
    dead_time: [8.0, 25.0],
    flutter: [0.02, 0.15],
    frequency: [120.0, 300.0],
    resistance: [6.5, 12.0],
    inductance: [12.0, 30.0],
    driver: [0.18, 0.5],
    clamp: [45.0, 58.0],
    jitter: [0.02, 0.10],
    edge_error: 0.8,
    noise: [0.5, 1.5],
    alternator: [13.6, 14.6],
    idle: [650.0, 900.0],
    oil: [70.0, 100.0],
    coil: [55.0, 95.0],
    loop_speed: [5.0, 11.0],
    integral: [1.0, 2.5],
    learned: 3.0,
    reach: [0.4, 0.75],
    keep_alive: [4.0, 12.0],
    sheet_authority: [0.9, 1.1],
    seconds: [20.0, 30.0],
};

/// The matrix that nobody looks into: wider, and shifted. See the rule in [`super`].
pub const TWO: Spread = Spread {
    name: "two",
    wheels: &[
        "60-2",
        "60-1",
        "36-1",
        "36-2 Hall",
        "36-2-1",
        "24-1 Hall",
        "12-1 Hall",
        "60-2 Hall",
        "24 even",
    ],
    hold: [35.0, 65.0],
    hold_band: [0.7, 5.0],
    authority: [30.0, 65.0],
    hot_rate: [45.0, 220.0],
    cold_rate: [17.0, 45.0],
    gain: [3.0, 12.0],
    dead_time: [4.0, 40.0],
    flutter: [0.0, 0.25],
    frequency: [90.0, 400.0],
    resistance: [6.0, 13.0],
    inductance: [8.0, 40.0],
    driver: [0.15, 0.65],
    clamp: [40.0, 60.0],
    jitter: [0.01, 0.15],
    edge_error: 1.2,
    noise: [0.3, 2.0],
    alternator: [13.3, 14.8],
    idle: [600.0, 980.0],
    oil: [60.0, 110.0],
    coil: [40.0, 110.0],
    loop_speed: [4.0, 12.0],
    integral: [0.5, 3.0],
    learned: 5.0,
    reach: [0.35, 0.9],
    keep_alive: [2.0, 15.0],
    sheet_authority: [0.9, 1.1],
    seconds: [24.0, 40.0],
};
