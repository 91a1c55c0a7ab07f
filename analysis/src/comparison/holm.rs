//! Many tests at once.

/// Which of these tests are rejected so that the chance of rejecting any that holds is no more than `level`: from the
/// least probable on, each against the level divided by those that are left, until one is not.
pub(super) fn rejected(probabilities: &[f64], level: f64) -> Vec<bool> {
    let mut order: Vec<usize> = (0..probabilities.len()).collect();
    order.sort_by(|a, b| probabilities[*a].total_cmp(&probabilities[*b]));
    let mut rejected = vec![false; probabilities.len()];
    let mut left = probabilities.iter().map(|_| 1.0).sum::<f64>();
    for place in order {
        if probabilities[place].is_nan() || probabilities[place] > level / left {
            break;
        }
        rejected[place] = true;
        left -= 1.0;
    }
    rejected
}

#[cfg(test)]
mod tests {
    use super::rejected;

    /// Four tests by hand: 0.005 against 0.05/4, 0.01 against 0.05/3, 0.03 against 0.05/2 is not rejected, and so
    /// neither is 0.04, which alone and last would be.
    #[test]
    fn it_stops_at_the_first_that_holds() {
        assert_eq!(
            rejected(&[0.01, 0.04, 0.03, 0.005], 0.05),
            [true, false, false, true]
        );
        assert_eq!(rejected(&[], 0.05), Vec::<bool>::new());
        assert_eq!(rejected(&[f64::NAN, 0.01], 0.05), [false, true]);
    }
}
