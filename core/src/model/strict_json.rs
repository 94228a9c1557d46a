//! JSON text to a value, where serde_json would silently keep the last of two fields with one name.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

/// Reads JSON text.
///
/// # Errors
/// Those of serde_json, and "two fields `x`" where an object names one field twice: programs differ in which of the two they believe.
pub(super) fn from_str(text: &str) -> serde_json::Result<Value> {
    serde_json::from_str::<Strict>(text).map(|strict| strict.0)
}

struct Strict(Value);

impl<'de> Deserialize<'de> for Strict {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Any).map(Self)
    }
}

struct Any;

impl<'de> Visitor<'de> for Any {
    type Value = Value;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value).map(Value::Number).ok_or_else(|| E::custom("a number is not finite"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        while let Some(Strict(item)) = items.next_element()? {
            list.push(item);
        }
        Ok(Value::Array(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut fields: A) -> Result<Value, A::Error> {
        let mut object = Map::new();
        while let Some(name) = fields.next_key::<String>()? {
            if object.contains_key(&name) {
                return Err(A::Error::custom(format!("two fields `{name}`")));
            }
            let Strict(value) = fields.next_value()?;
            object.insert(name, value);
        }
        Ok(Value::Object(object))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_reads_as_serde_json_reads_it() {
        for text in
            ["null", "-7", "18446744073709551615", "0.1", "1e300", "\"\\u00fc\\n\"", "[]", "{}", r#"{"a":[1,{"b":null}],"c":{"a":true}}"#]
        {
            assert_eq!(from_str(text).unwrap(), serde_json::from_str::<Value>(text).unwrap(), "{text}");
        }
    }

    #[test]
    fn field_named_twice_is_refused_at_any_depth() {
        for text in [r#"{"a":1,"a":1}"#, r#"[{"b":{"a":1,"c":2,"a":3}}]"#, r#"{"a":1,"\u0061":2}"#] {
            assert!(from_str(text).unwrap_err().to_string().contains("two fields `a`"), "{text}");
        }
    }

    #[test]
    fn what_is_no_json_is_refused() {
        for text in ["", "{", "{\"a\":1", "1 2", "1e999", "nul"] {
            assert!(from_str(text).is_err(), "{text}");
        }
        assert!(from_str(&"[".repeat(100_000)).is_err(), "nesting is bounded");
    }
}
