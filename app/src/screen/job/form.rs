//! The card as fields to type in, and back. What cannot be understood yet is told beside its field, and
//! the card keeps what it had there.

use crate::figure;
use crate::job::card::{Card, Mileage, MileageUnit};

/// A field with one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// Registration plate.
    Plate,
    /// Title.
    Title,
    /// Make.
    Make,
    /// Model.
    Model,
    /// Year.
    Year,
    /// Engine.
    Engine,
    /// Engine sheet.
    EngineSheet,
    /// Vehicle identification number.
    Vin,
    /// Mileage.
    Mileage,
    /// Order number.
    Order,
    /// Oil.
    Oil,
    /// Its temperature.
    OilCelsius,
    /// Technician.
    Technician,
    /// What was replaced.
    Replaced,
}

impl Field {
    /// All of them, in the order of the card.
    pub const ALL: [Self; 14] = [
        Self::Plate,
        Self::Title,
        Self::Make,
        Self::Model,
        Self::Year,
        Self::Engine,
        Self::EngineSheet,
        Self::Vin,
        Self::Mileage,
        Self::Order,
        Self::Oil,
        Self::OilCelsius,
        Self::Technician,
        Self::Replaced,
    ];

    /// Its name on screen.
    pub fn name(self) -> &'static str {
        match self {
            Self::Plate => "Plate",
            Self::Title => "Title",
            Self::Make => "Make",
            Self::Model => "Model",
            Self::Year => "Year",
            Self::Engine => "Engine",
            Self::EngineSheet => "Engine sheet",
            Self::Vin => "VIN",
            Self::Mileage => "Mileage",
            Self::Order => "Order",
            Self::Oil => "Oil",
            Self::OilCelsius => "Oil temperature",
            Self::Technician => "Technician",
            Self::Replaced => "Replaced so far",
        }
    }

    /// What stands in it while it is empty.
    pub fn hint(self) -> &'static str {
        match self {
            Self::Plate => "as on the vehicle",
            Self::Title => "where there is no plate",
            Self::Year => "2019",
            Self::Engine => "2.0 four",
            Self::EngineSheet => "name or file",
            Self::Mileage => "184 200 km",
            Self::Oil => "5W-30",
            Self::OilCelsius => "°C",
            Self::Replaced => "part; part",
            Self::Make | Self::Model | Self::Vin | Self::Order | Self::Technician => "",
        }
    }

    /// Identity of its field, for focus and tests.
    pub fn id(self) -> &'static str {
        match self {
            Self::Plate => "job-plate",
            Self::Title => "job-title",
            Self::Make => "job-make",
            Self::Model => "job-model",
            Self::Year => "job-year",
            Self::Engine => "job-engine",
            Self::EngineSheet => "job-engine-sheet",
            Self::Vin => "job-vin",
            Self::Mileage => "job-mileage",
            Self::Order => "job-order",
            Self::Oil => "job-oil",
            Self::OilCelsius => "job-oil-celsius",
            Self::Technician => "job-technician",
            Self::Replaced => "job-replaced",
        }
    }

    /// What stands in it for this card.
    fn shown(self, card: &Card) -> String {
        let number = |n: f64| {
            let decimals = usize::from(n.fract().abs() > 1e-9);
            figure::plain(n, decimals)
        };
        match self {
            Self::Plate => card.plate.clone(),
            Self::Title => card.title.clone(),
            Self::Make => card.make.clone(),
            Self::Model => card.model.clone(),
            Self::Year => card.year.map(|y| y.to_string()).unwrap_or_default(),
            Self::Engine => card.engine.clone(),
            Self::EngineSheet => card.engine_sheet.clone(),
            Self::Vin => card.vin.clone(),
            Self::Mileage => (card.mileage)
                .map(|m| format!("{} {}", number(m.value), m.unit.symbol()))
                .unwrap_or_default(),
            Self::Order => card.order.clone(),
            Self::Oil => card.oil.clone(),
            Self::OilCelsius => card.oil_celsius.map(number).unwrap_or_default(),
            Self::Technician => card.technician.clone(),
            Self::Replaced => card.replaced.join("; "),
        }
    }

    /// Puts what was typed into the card.
    fn take(self, typed: &str, card: &mut Card) -> Result<(), &'static str> {
        let text = typed.trim().to_owned();
        match self {
            Self::Plate if text.is_empty() && card.title.trim().is_empty() => {
                return Err("give a plate or a title");
            }
            Self::Title if text.is_empty() && card.plate.trim().is_empty() => {
                return Err("give a plate or a title");
            }
            Self::Plate => card.plate = text,
            Self::Title => card.title = text,
            Self::Make => card.make = text,
            Self::Model => card.model = text,
            Self::Year => card.year = year(&text)?,
            Self::Engine => card.engine = text,
            Self::EngineSheet => card.engine_sheet = text,
            Self::Vin => card.vin = text,
            Self::Mileage => card.mileage = mileage(&text)?,
            Self::Order => card.order = text,
            Self::Oil => card.oil = text,
            Self::OilCelsius => card.oil_celsius = celsius(&text)?,
            Self::Technician => card.technician = text,
            Self::Replaced => {
                let parts = text.split(';').map(str::trim).filter(|p| !p.is_empty());
                card.replaced = parts.map(str::to_owned).collect();
            }
        }
        Ok(())
    }
}

fn year(text: &str) -> Result<Option<i64>, &'static str> {
    if text.is_empty() {
        return Ok(None);
    }
    let year = text.parse().ok().filter(|y| (1800..3000).contains(y));
    year.map(Some).ok_or("four digits, such as 2019")
}

fn mileage(text: &str) -> Result<Option<Mileage>, &'static str> {
    if text.is_empty() {
        return Ok(None);
    }
    let small = text.to_lowercase();
    let (digits, unit) = if let Some(digits) = small.strip_suffix("km") {
        (digits, MileageUnit::Kilometres)
    } else if let Some(digits) = small.strip_suffix("mi") {
        (digits, MileageUnit::Miles)
    } else {
        (small.as_str(), MileageUnit::Kilometres)
    };
    let bare: String = digits.chars().filter(|c| !c.is_whitespace()).collect();
    // In some countries a point divides thousands, in others it begins the decimals.
    let is_plain = bare.bytes().all(|b| b.is_ascii_digit());
    let value = bare.parse().ok().filter(|_| is_plain);
    value
        .map(|value| Some(Mileage { value, unit }))
        .ok_or("digits without points, then km or mi")
}

fn celsius(text: &str) -> Result<Option<f64>, &'static str> {
    if text.is_empty() {
        return Ok(None);
    }
    let bare = text
        .trim_end_matches(['C', 'c'])
        .trim_end_matches('°')
        .trim();
    let bare = bare.replace(',', ".").replace('−', "-");
    let value = bare
        .parse()
        .ok()
        .filter(|t: &f64| (-60.0..250.0).contains(t));
    value.map(Some).ok_or("degrees Celsius, such as 92")
}

/// The fields as they stand.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Form {
    texts: [String; 14],
}

impl Form {
    /// Of a card.
    pub fn of(card: &Card) -> Self {
        Self {
            texts: Field::ALL.map(|field| field.shown(card)),
        }
    }

    /// What stands in a field.
    pub fn text(&self, field: Field) -> &str {
        &self.texts[field as usize]
    }

    /// Something was typed.
    pub fn set(&mut self, field: Field, text: String) {
        self.texts[field as usize] = text;
    }

    /// The card with what was typed, and what cannot be understood.
    pub fn card(&self, before: &Card) -> (Card, Vec<(Field, &'static str)>) {
        let mut card = before.clone();
        let mut slips = Vec::new();
        // First what was added, then what was emptied: the plate may take the place of the title.
        let mut fields = Field::ALL;
        fields.sort_by_key(|f| self.text(*f).trim().is_empty());
        for field in fields {
            // What was not touched stays as it is on the card, to the letter.
            if self.text(field) != field.shown(before)
                && let Err(why) = field.take(self.text(field), &mut card)
            {
                slips.push((field, why));
            }
        }
        (card, slips)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is typed into a field, and what stands there when the card is shown again.
    fn check(field: Field, typed: &str, shown: Result<&str, &str>) {
        let before = Card {
            plate: "A 1".to_owned(),
            ..Card::default()
        };
        let mut form = Form::of(&before);
        form.set(field, typed.to_owned());
        let (card, slips) = form.card(&before);
        match shown {
            Ok(shown) => {
                assert_eq!(slips, [], "{typed}");
                assert_eq!(field.shown(&card), shown, "{typed}");
            }
            Err(word) => {
                assert!(
                    slips
                        .iter()
                        .any(|(f, why)| *f == field && why.contains(word))
                );
                assert_eq!(card, before, "{typed}");
            }
        }
    }

    #[test]
    fn what_is_typed_is_understood_or_told() {
        check(Field::Plate, " KW-P 14 ", Ok("KW-P 14"));
        check(Field::Plate, " ", Err("plate or a title"));
        check(Field::Year, "2019", Ok("2019"));
        check(Field::Year, "19", Err("four digits"));
        check(Field::Mileage, "184 200", Ok("184\u{2009}200 km"));
        check(Field::Mileage, "184\u{2009}200 km", Ok("184\u{2009}200 km"));
        check(Field::Mileage, "114200 MI", Ok("114\u{2009}200 mi"));
        check(Field::Mileage, "184.200", Err("without points"));
        check(Field::OilCelsius, "92 °C", Ok("92"));
        check(Field::OilCelsius, "hot", Err("Celsius"));
        check(Field::Replaced, "valve;  oil ; ", Ok("valve; oil"));
    }

    #[test]
    fn what_is_not_touched_stays_to_the_letter() {
        let card = Card {
            plate: " KW ".to_owned(),
            replaced: vec!["oil; filter".to_owned(), "valve".to_owned()],
            oil_celsius: Some(92.25),
            ..Card::default()
        };
        let mut form = Form::of(&card);
        assert_eq!(form.card(&card), (card.clone(), Vec::new()));
        form.set(Field::Title, "Van".to_owned());
        form.set(Field::Plate, String::new());
        let (changed, slips) = form.card(&card);
        assert_eq!(slips, []);
        assert_eq!((changed.name(), &changed.replaced), ("Van", &card.replaced));
    }
}
