//! Dates from seconds since 1970, in UTC: the time zone of the machine is not known without a
//! library of its own, and a stated zone is better than a guessed one.

/// Year, month, day of a day counted from 1970-01-01, in the Gregorian calendar.
/// Formula: H. Hinnant, "chrono-Compatible Low-Level Date Algorithms" (2013), `civil_from_days`,
/// for days since 1970 only.
fn civil(days: u64) -> (u64, u64, u64) {
    let z = days + 719_468;
    let era = z / 146_097;
    let day_of_era = z % 146_097;
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted + 2) / 5 + 1;
    let month = if shifted < 10 {
        shifted + 3
    } else {
        shifted - 9
    };
    let year = year_of_era + era * 400 + u64::from(month <= 2);
    (year, month, day)
}

/// "2026-11-25 16:03 UTC".
pub fn minute(seconds: u64) -> String {
    let (y, m, d) = civil(seconds / 86_400);
    let s = seconds % 86_400;
    format!("{y}-{m:02}-{d:02} {:02}:{:02} UTC", s / 3600, s / 60 % 60)
}

/// "2026-11-25-160312", for file names: sorts by time.
pub fn stamp(seconds: u64) -> String {
    let (y, m, d) = civil(seconds / 86_400);
    let s = seconds % 86_400;
    format!(
        "{y}-{m:02}-{d:02}-{:02}{:02}{:02}",
        s / 3600,
        s / 60 % 60,
        s % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// POSIX.1-2017, 4.16: 1_000_000_000 and 1_234_567_890 are well-known instants; 951_782_400 is
    /// the leap day of 2000.
    #[test]
    fn known_instants() {
        assert_eq!(minute(0), "1970-01-01 00:00 UTC");
        assert_eq!(minute(1_000_000_000), "2001-09-09 01:46 UTC");
        assert_eq!(stamp(1_234_567_890), "2009-02-13-233130");
        assert_eq!(minute(951_782_400), "2000-02-29 00:00 UTC");
    }
}
