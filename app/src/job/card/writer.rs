//! Writes what is different into the text of a card. Comments, the order of the entries and entries
//! that this version does not know stay where they are.

use super::{Card, FORM, StoredCode};
use toml_edit::{
    Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value, value,
};

/// What stands at the head of a new card.
const HEAD: &str = "\
# Keyway job card. Every entry may be left out, but one of plate and title must be there.
# Times have their offset; opened and closed may also be a date alone.
form = 1
";

/// The text with this card in place of the one that was read from it. What went wrong is a sentence.
pub fn amended(text: &str, before: &Card, after: &Card) -> Result<String, String> {
    let text = if text.trim().is_empty() { HEAD } else { text };
    let mut document: DocumentMut = text
        .parse()
        .map_err(|e: toml_edit::TomlError| format!("job.toml: {}", e.message()))?;
    let table = document.as_table_mut();
    if !table.contains_key("form") {
        put(table, "form", Some(value(FORM)));
    }
    let texts = [
        ("plate", &before.plate, &after.plate),
        ("title", &before.title, &after.title),
        ("vin", &before.vin, &after.vin),
        ("make", &before.make, &after.make),
        ("model", &before.model, &after.model),
    ];
    words(table, &texts);
    if before.year != after.year {
        put(table, "year", after.year.map(value));
    }
    let texts = [
        ("engine", &before.engine, &after.engine),
        ("engine_sheet", &before.engine_sheet, &after.engine_sheet),
    ];
    words(table, &texts);
    if before.mileage != after.mileage {
        put(table, "mileage", after.mileage.map(|m| number(m.value)));
        let unit = after.mileage.map(|m| value(m.unit.symbol()));
        put(table, "mileage_unit", unit);
    }
    let texts = [
        ("complaint", &before.complaint, &after.complaint),
        ("oil", &before.oil, &after.oil),
    ];
    words(table, &texts);
    if before.oil_celsius != after.oil_celsius {
        put(table, "oil_celsius", after.oil_celsius.map(number));
    }
    if before.replaced != after.replaced {
        let list: Array = after.replaced.iter().collect();
        put(table, "replaced", (!list.is_empty()).then(|| value(list)));
    }
    let texts = [
        ("technician", &before.technician, &after.technician),
        ("order", &before.order, &after.order),
    ];
    words(table, &texts);
    if before.opened != after.opened {
        put(table, "opened", after.opened.map(|s| value(s.0)));
    }
    if before.closed != after.closed {
        put(table, "closed", after.closed.map(|s| value(s.0)));
    }
    if before.codes != after.codes {
        codes(table, &after.codes);
    }
    Ok(document.to_string())
}

fn words(table: &mut Table, entries: &[(&str, &String, &String)]) {
    for (key, before, after) in entries {
        if before != after {
            put(
                table,
                key,
                (!after.is_empty()).then(|| value(after.as_str())),
            );
        }
    }
}

/// Whole numbers without a point, as a person writes them.
#[allow(
    clippy::cast_possible_truncation,
    reason = "only of whole numbers within the range"
)]
fn number(n: f64) -> Item {
    if n.fract().abs() < f64::EPSILON && n.abs() < 1e15 {
        value(n as i64)
    } else {
        value(n)
    }
}

/// Puts a value in the place of another and keeps the comment behind it, or takes it away.
fn put(table: &mut dyn TableLike, key: &str, item: Option<Item>) {
    let Some(mut item) = item else {
        let _before = table.remove(key);
        return;
    };
    if let (Some(new), Some(old)) = (item.as_value_mut(), table.get(key).and_then(Item::as_value)) {
        *new.decor_mut() = old.decor().clone();
    }
    let _before = table.insert(key, item);
}

/// Codes that stay keep all that their entries hold.
fn codes(table: &mut Table, codes: &[StoredCode]) {
    match table.get_mut("codes") {
        Some(Item::Value(Value::Array(array))) => {
            let mut old: Vec<Value> = std::mem::take(array).into_iter().collect();
            for code in codes {
                let at = old.iter().position(|v| is_of(v, &code.code));
                let mut entry = match at.map(|at| old.remove(at)) {
                    Some(Value::InlineTable(entry)) => entry,
                    Some(plain) if code.read_by.is_empty() => {
                        array.push_formatted(plain);
                        continue;
                    }
                    _ => InlineTable::new(),
                };
                fill(&mut entry, code);
                array.push(entry);
            }
        }
        Some(Item::ArrayOfTables(tables)) => {
            let mut old: Vec<Table> = std::mem::take(tables).into_iter().collect();
            for code in codes {
                let at = old.iter().position(|t| {
                    let written = t.get("code").and_then(Item::as_str);
                    written.is_some_and(|w| is_same(w, &code.code))
                });
                let mut entry = at.map_or_else(Table::new, |at| old.remove(at));
                fill(&mut entry, code);
                tables.push(entry);
            }
        }
        _ => {
            let mut tables = ArrayOfTables::new();
            for code in codes {
                let mut entry = Table::new();
                fill(&mut entry, code);
                tables.push(entry);
            }
            let _before = table.insert("codes", Item::ArrayOfTables(tables));
        }
    }
    if codes.is_empty() {
        let _before = table.remove("codes");
    }
}

fn fill(entry: &mut dyn TableLike, code: &StoredCode) {
    let written = entry.get("code").and_then(Item::as_str);
    if !written.is_some_and(|w| is_same(w, &code.code)) {
        put(entry, "code", Some(value(code.code.as_str())));
    }
    let written = entry.get("read_by").and_then(Item::as_str);
    if written.unwrap_or_default() != code.read_by {
        let by = (!code.read_by.is_empty()).then(|| value(code.read_by.as_str()));
        put(entry, "read_by", by);
    }
}

fn is_same(written: &str, code: &str) -> bool {
    written.trim().to_uppercase() == code
}

fn is_of(entry: &Value, code: &str) -> bool {
    let written = match entry {
        Value::InlineTable(entry) => entry.get("code").and_then(Value::as_str),
        other => other.as_str(),
    };
    written.is_some_and(|w| is_same(w, code))
}
