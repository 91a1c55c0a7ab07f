//! The clocks of the computer, and what upsets them while a recording runs: sleep, and a clock that
//! is set.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Less than this is the slewing of a clock that is kept right, or a busy machine.
const UPSET: Duration = Duration::from_secs(2);

/// All clocks at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Moment {
    /// Runs on evenly while the computer is awake, from some instant on.
    pub awake: Duration,
    /// The same, and runs on in sleep where the system has such a clock.
    pub elapsed: Duration,
    /// What the clock shows, since 1970 (UTC).
    pub shown: Duration,
}

/// Where the time comes from.
pub(crate) trait Clock: Send {
    /// Now.
    fn now(&self) -> Moment;
}

/// The clocks of the system.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct SystemClock;

impl Clock for SystemClock {
    #[cfg(target_os = "linux")]
    fn now(&self) -> Moment {
        use rustix::time::{ClockId, clock_gettime};
        let read = |id| {
            let t = clock_gettime(id);
            let nanoseconds = u32::try_from(t.tv_nsec).unwrap_or(0);
            Duration::new(u64::try_from(t.tv_sec).unwrap_or(0), nanoseconds)
        };
        Moment {
            awake: read(ClockId::Monotonic),
            elapsed: read(ClockId::Boottime),
            shown: shown(),
        }
    }

    #[cfg(not(target_os = "linux"))]
    fn now(&self) -> Moment {
        use std::sync::LazyLock;
        use std::time::Instant;
        static START: LazyLock<Instant> = LazyLock::new(Instant::now);
        let awake = START.elapsed();
        Moment {
            awake,
            elapsed: awake,
            shown: shown(),
        }
    }
}

fn shown() -> Duration {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default()
}

/// What upset the clocks between two looks, as a sentence for the recording; none if nothing did.
pub(crate) fn upset(before: Moment, now: Moment) -> Option<String> {
    let awake = now.awake.saturating_sub(before.awake);
    let elapsed = now.elapsed.saturating_sub(before.elapsed);
    let slept = elapsed.saturating_sub(awake);
    if slept > UPSET {
        return Some(format!(
            "The computer slept for {:.0} s; what the scope sent meanwhile is missing.",
            slept.as_secs_f64()
        ));
    }
    let due = before.shown + elapsed;
    let (by, way) = if now.shown > due {
        (now.shown - due, "forward")
    } else {
        (due - now.shown, "back")
    };
    (by > UPSET).then(|| {
        // A system without a clock that runs on in sleep cannot tell the two apart.
        let or = if cfg!(target_os = "linux") || way == "back" {
            ""
        } else {
            ", or the computer slept"
        };
        format!(
            "The computer's clock was set {way} by {:.0} s{or}. Times of this recording go on from its start by the samples, not by that clock.",
            by.as_secs_f64()
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(awake: f64, elapsed: f64, shown: f64) -> Moment {
        Moment {
            awake: Duration::from_secs_f64(awake),
            elapsed: Duration::from_secs_f64(elapsed),
            shown: Duration::from_secs_f64(shown),
        }
    }

    #[test]
    fn sleep_and_a_clock_that_is_set_are_told_and_slewing_is_not() {
        let start = moment(10.0, 10.0, 1_000.0);
        for (now, words) in [
            (moment(10.2, 10.2, 1_000.2), None),
            (moment(10.2, 10.2, 1_001.0), None),
            (moment(10.2, 3_610.2, 4_600.2), Some("slept for 3600 s")),
            // Asleep and set: the sleep is what costs samples.
            (moment(10.2, 70.2, 9_000.0), Some("slept for 60 s")),
            (moment(10.2, 10.2, 4_600.2), Some("set forward by 3600 s")),
            (moment(10.2, 10.2, 100.2), Some("set back by 900 s")),
            // A busy machine that looks late.
            (moment(70.0, 70.0, 1_060.0), None),
        ] {
            let said = upset(start, now);
            match words {
                None => assert_eq!(said, None),
                Some(words) => assert!(said.as_ref().unwrap().contains(words), "{said:?}"),
            }
        }
    }

    #[test]
    fn the_system_s_clocks_run_on_together() {
        let before = SystemClock.now();
        let now = SystemClock.now();
        assert!(now.awake >= before.awake && now.elapsed >= before.elapsed);
        assert!(now.elapsed >= now.awake);
        assert_eq!(upset(before, now), None);
    }
}
