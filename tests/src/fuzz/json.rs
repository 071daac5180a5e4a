//! Damage to JSON that keeps it valid.

use serde_json::Value;
use sumproof_signals::Rng;

/// Changes one value; text that contains JSON, like the fields of a saved state, is parsed and changed inside.
pub fn damage(bytes: &mut Vec<u8>, rng: &mut Rng) {
    let Ok(mut root) = serde_json::from_slice::<Value>(bytes) else {
        return;
    };
    for _ in 0..1 << rng.below(3) {
        inside(&mut root, rng, 0);
    }
    if let Ok(text) = serde_json::to_vec(&root) {
        *bytes = text;
    }
}

fn inside(value: &mut Value, rng: &mut Rng, depth: usize) {
    let deeper = depth < 12 && rng.below(8) != 0;
    match value {
        Value::Object(map) if !map.is_empty() && deeper => {
            let key = map.keys().nth(rng.below(map.len())).cloned().unwrap_or_default();
            match rng.below(12) {
                0 => drop(map.remove(&key)),
                1 => {
                    let moved = map.remove(&key).unwrap_or_default();
                    map.insert(format!("{key}{}", rng.below(3)), moved);
                }
                2 => {
                    let other = map.keys().nth(rng.below(map.len())).cloned().unwrap_or_default();
                    let copy = map[&other].clone();
                    map.insert(key, copy);
                }
                _ => inside(&mut map[&key], rng, depth + 1),
            }
        }
        Value::Array(list) if !list.is_empty() && deeper => {
            let at = rng.below(list.len());
            match rng.below(10) {
                0 => drop(list.remove(at)),
                1 => {
                    let copy = list[at].clone();
                    let many = 1 << rng.below(8);
                    list.extend(std::iter::repeat_n(copy, many));
                }
                _ => inside(&mut list[at], rng, depth + 1),
            }
        }
        Value::String(text) if deeper => match serde_json::from_str::<Value>(text) {
            Ok(mut within) if within.is_object() || within.is_array() => {
                inside(&mut within, rng, depth + 1);
                *text = within.to_string();
            }
            _ => *value = odd_text(text, rng),
        },
        other => *other = odd(rng),
    }
}

/// A text cut, doubled, or with a character changed: for names, ids and packed numbers.
fn odd_text(text: &str, rng: &mut Rng) -> Value {
    let mut characters: Vec<char> = text.chars().collect();
    if characters.is_empty() {
        return odd(rng);
    }
    let at = rng.below(characters.len());
    match rng.below(6) {
        0 => characters.truncate(at),
        1 => characters.extend_from_within(..),
        2 => characters[at] = ['A', '/', '=', '\n', 'é', '\u{0}', '9', '-'][rng.below(8)],
        3 => drop(characters.remove(at)),
        4 => characters.insert(at, 'A'),
        _ => return odd(rng),
    }
    Value::String(characters.into_iter().collect())
}

fn odd(rng: &mut Rng) -> Value {
    match rng.below(20) {
        0 => Value::Null,
        1 => Value::Bool(true),
        2 => Value::from(0),
        3 => Value::from(-1),
        4 => Value::from(u64::MAX),
        5 => Value::from(i64::MIN),
        6 => Value::from(1e308),
        7 => Value::from(-1e308),
        8 => Value::from(5e-324),
        9 => Value::from(3.5e38),
        10 => Value::from(-0.0),
        11 => Value::from(rng.between(-100.0, 100.0)),
        12 => Value::from(rng.below(1 << 20)),
        13 => Value::from(""),
        14 => Value::from("x".repeat(1 << rng.below(14))),
        15 => Value::Array(Vec::new()),
        16 => Value::Object(serde_json::Map::new()),
        17 => Value::from("99.0.0"),
        18 => Value::from(f64::MIN_POSITIVE),
        _ => Value::from(1e6),
    }
}
