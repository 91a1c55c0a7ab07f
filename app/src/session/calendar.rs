//! Dates. On screen they are in the time zone of the machine where the system tells it, and say "UTC"
//! where it does not; names of files are in UTC, so that they sort the same everywhere.

use crate::job::card::Stamp;
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// The time zone of the machine; UTC where the system does not tell.
fn zone() -> TimeZone {
    TimeZone::try_system().unwrap_or(TimeZone::UTC)
}

fn timestamp(seconds: u64) -> Timestamp {
    let seconds = i64::try_from(seconds).unwrap_or(i64::MAX);
    Timestamp::from_second(seconds).unwrap_or(Timestamp::MAX)
}

/// "2026-11-25 17:03", or "2026-11-25 16:03 UTC" where that is the time zone, from seconds since 1970.
pub fn minute(seconds: u64) -> String {
    minute_in(seconds, &zone())
}

fn minute_in(seconds: u64, zone: &TimeZone) -> String {
    let local = timestamp(seconds).to_zoned_datetime(zone.clone());
    let words = local.strftime("%Y-%m-%d %H:%M").to_string();
    if zone.is_unknown() || *zone == TimeZone::UTC || zone.iana_name() == Some("Etc/UTC") {
        format!("{words} UTC")
    } else {
        words
    }
}

/// "2026-11-25-160312" in UTC, for file names: sorts by time.
pub fn stamp(seconds: u64) -> String {
    timestamp(seconds).strftime("%Y-%m-%d-%H%M%S").to_string()
}

/// "2026-11-25T16:03:12.25Z" from microseconds since 1970.
pub fn instant(microseconds: i64) -> String {
    let at = Timestamp::from_microsecond(microseconds).unwrap_or(Timestamp::MAX);
    at.to_string()
}

/// Now, with the offset of the time zone, to the second.
pub fn now() -> Option<Stamp> {
    stamp_in(Timestamp::now(), &zone())
}

fn stamp_in(at: Timestamp, zone: &TimeZone) -> Option<Stamp> {
    let local = at.to_zoned_datetime(zone.clone());
    let text = local.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
    text.parse().ok().map(Stamp)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// POSIX.1-2017, 4.16: 1_000_000_000 and 1_234_567_890 are well-known instants; 951_782_400 is
    /// the leap day of 2000.
    #[test]
    fn known_instants() {
        let minute = |seconds| minute_in(seconds, &TimeZone::UTC);
        assert_eq!(minute(0), "1970-01-01 00:00 UTC");
        assert_eq!(minute(1_000_000_000), "2001-09-09 01:46 UTC");
        assert_eq!(stamp(1_234_567_890), "2009-02-13-233130");
        assert_eq!(minute(951_782_400), "2000-02-29 00:00 UTC");
        let instant = instant(1_234_567_890_250_000);
        assert_eq!(instant, "2009-02-13T23:31:30.25Z");
    }

    /// Central European rules from POSIX TZ notation: an hour east of Greenwich, two from the last
    /// Sunday of March to the last of October.
    #[test]
    fn dates_on_screen_are_those_of_the_wall_clock() {
        let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        assert_eq!(minute_in(1_000_000_000, &zone), "2001-09-09 03:46");
        let at = Timestamp::from_second(1_234_567_890).unwrap();
        let stamp = stamp_in(at, &zone).unwrap();
        assert_eq!(stamp.to_string(), "2009-02-14T00:31:30+01:00");
        assert_eq!(stamp.minute(), "2009-02-14 00:31");
    }
}
