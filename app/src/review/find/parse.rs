//! From the text of a search to what is looked for.

use super::{Field, Limit, NotUnderstood, Relation, Test, Wanted, Wish};
use crate::review::course::side_file::STATES;
use keyway_analysis::lead::CamId;

const START: &str =
    "a field (speed, supply, duty, phase), a state such as 'not following', 'not' or '('";
const FIELDS: &str = "one of > >= < <= = !=";

/// Deepest nesting of brackets and of 'not'.
const DEEPEST: usize = 64;

/// Understands a text.
pub fn wish(text: &str) -> Result<Wish, NotUnderstood> {
    let mut reader = Reader {
        words: words(text)?,
        next: 0,
        depth: 0,
    };
    let test = reader.either()?;
    let mut least = 0.0;
    if reader.takes("for") {
        let number = reader.number()?.value;
        if number < 0.0 {
            return Err(reader.not_before("a length that is not negative"));
        }
        let seconds = match reader.peek() {
            Some("ms") => 0.001,
            Some("s") => 1.0,
            Some("min") => 60.0,
            _ => return Err(reader.not_here("a unit: ms, s or min")),
        };
        reader.next += 1;
        least = number * seconds;
    }
    match reader.peek() {
        None => Ok(Wish { test, least }),
        Some(_) => Err(reader.not_here("'and', 'or', 'for' with a length, or the end")),
    }
}

struct Reader {
    words: Vec<String>,
    next: usize,
    depth: usize,
}

impl Reader {
    fn peek(&self) -> Option<&str> {
        self.words.get(self.next).map(String::as_str)
    }

    /// Whether the next words are these; then they are taken.
    fn takes(&mut self, phrase: &str) -> bool {
        let wanted: Vec<&str> = phrase.split(' ').collect();
        let is_here = self.words[self.next..].len() >= wanted.len()
            && wanted
                .iter()
                .zip(&self.words[self.next..])
                .all(|(a, b)| a == b);
        if is_here {
            self.next += wanted.len();
        }
        is_here
    }

    fn not_here(&self, expected: &str) -> NotUnderstood {
        let place = match self.next.checked_sub(1).and_then(|i| self.words.get(i)) {
            Some(before) => format!("after '{before}'"),
            None => "at the begin".to_owned(),
        };
        NotUnderstood {
            what: self
                .peek()
                .map_or_else(|| "nothing".to_owned(), |w| format!("'{w}'")),
            place,
            expected: expected.to_owned(),
        }
    }

    /// The word that was just taken is wrong.
    fn not_before(&mut self, expected: &str) -> NotUnderstood {
        if self.next > 0 && self.next <= self.words.len() {
            self.next -= 1;
        }
        self.not_here(expected)
    }

    fn either(&mut self) -> Result<Test, NotUnderstood> {
        let mut test = self.both()?;
        while self.takes("or") {
            test = Test::Or(Box::new(test), Box::new(self.both()?));
        }
        Ok(test)
    }

    fn both(&mut self) -> Result<Test, NotUnderstood> {
        let mut test = self.one()?;
        while self.takes("and") {
            test = Test::And(Box::new(test), Box::new(self.one()?));
        }
        Ok(test)
    }

    fn one(&mut self) -> Result<Test, NotUnderstood> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(self.not_here("fewer brackets within each other"));
        }
        let one = self.inner();
        self.depth -= 1;
        one
    }

    fn inner(&mut self) -> Result<Test, NotUnderstood> {
        // "not following" is a state of its own; "not (following)" is whatever is not following.
        if let Some(test) = self.state(None) {
            return Ok(test);
        }
        if self.takes("not") {
            return Ok(Test::Not(Box::new(self.one()?)));
        }
        if self.takes("(") {
            let test = self.either()?;
            return if self.takes(")") {
                Ok(test)
            } else {
                Err(self.not_here("'and', 'or' or ')'"))
            };
        }
        if let Some(cam) = self.cam() {
            return self
                .state(Some(cam))
                .ok_or_else(|| self.not_here("a state such as 'not following' or 'off rest'"));
        }
        let field = match self.peek() {
            Some("speed") => Field::Speed,
            Some("supply") => Field::Supply,
            Some("duty") => Field::Duty(None),
            Some("phase") => Field::Phase(None),
            _ => return Err(self.not_here(START)),
        };
        self.next += 1;
        let field = match field {
            Field::Duty(_) => Field::Duty(self.cam()),
            Field::Phase(_) => Field::Phase(self.cam()),
            Field::Speed | Field::Supply => field,
        };
        let relation = match self.peek() {
            Some(">") => Relation::Above,
            Some(">=" | "≥") => Relation::AtLeast,
            Some("<") => Relation::Below,
            Some("<=" | "≤") => Relation::AtMost,
            Some("=" | "==") => Relation::Equal,
            Some("!=" | "≠") => Relation::Unequal,
            _ => return Err(self.not_here(FIELDS)),
        };
        self.next += 1;
        let limit = self.number()?;
        // The unit may be written; there is only one for each field.
        let units: &[&str] = match field {
            Field::Speed => &["rpm"],
            Field::Supply => &["v"],
            Field::Duty(_) => &["%"],
            Field::Phase(_) => &["°", "deg"],
        };
        if self.peek().is_some_and(|w| units.contains(&w)) {
            self.next += 1;
        }
        Ok(Test::Compare(field, relation, limit))
    }

    fn cam(&mut self) -> Option<CamId> {
        let cam = self.peek()?.parse().ok()?;
        self.next += 1;
        Some(cam)
    }

    fn state(&mut self, cam: Option<CamId>) -> Option<Test> {
        if self.takes("disagreeing") {
            return Some(Test::State(cam, Wanted::Disagreeing));
        }
        let state = STATES.into_iter().find(|s| self.takes(s.words()))?;
        Some(Test::State(cam, Wanted::Is(state)))
    }

    fn number(&mut self) -> Result<Limit, NotUnderstood> {
        let Some(word) = self.peek() else {
            return Err(self.not_here("a number"));
        };
        // Written as on the screen, with a true minus.
        let plain = word.replace(crate::figure::MINUS, "-");
        let is_plain = plain.chars().any(|c| c.is_ascii_digit())
            && plain
                .chars()
                .all(|c| c.is_ascii_digit() || matches!(c, '-' | '+' | '.'));
        let value: f64 = match plain.parse() {
            Ok(value) if is_plain => value,
            _ => return Err(self.not_here("a number such as 60 or −2.5")),
        };
        let digits = plain.split_once('.').map_or(0, |(_, after)| after.len());
        let digits = i32::try_from(digits).unwrap_or(0);
        self.next += 1;
        Ok(Limit {
            value,
            half_digit: 0.5 * 10_f64.powi(-digits),
        })
    }
}

/// Words, numbers and signs, in small letters.
fn words(text: &str) -> Result<Vec<String>, NotUnderstood> {
    let mut words = Vec::new();
    let mut letters = text.chars().peekable();
    while let Some(&c) = letters.peek() {
        let mut word = String::new();
        let belongs: fn(char) -> bool = if c.is_whitespace() {
            let _ = letters.next();
            continue;
        } else if c.is_alphabetic() {
            |c| c.is_alphanumeric() || c == '-'
        } else if c.is_ascii_digit() || matches!(c, '-' | '+' | '.') || c == crate::figure::MINUS {
            |c| c.is_ascii_digit() || c == '.'
        } else if matches!(c, '<' | '>' | '=' | '!') {
            |c| c == '='
        } else if matches!(c, '(' | ')' | '%' | '°' | '≥' | '≤' | '≠') {
            |_| false
        } else {
            return Err(NotUnderstood {
                what: format!("'{c}'"),
                place: words
                    .last()
                    .map_or_else(|| "at the begin".to_owned(), |w| format!("after '{w}'")),
                expected: "words, numbers, brackets and > >= < <= = !=".to_owned(),
            });
        };
        word.extend(letters.next());
        while let Some(c) = letters.next_if(|c| belongs(*c)) {
            word.push(c);
        }
        words.push(word.to_lowercase());
    }
    Ok(words)
}
