//! Lists with a bound that holds while they are read, so that a great number in a message takes no memory.

use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};
use serde::{Serialize, Serializer};
use std::fmt;
use std::marker::PhantomData;

/// Entries that room is made for before they are there.
const AHEAD: usize = 256;

/// At most `MOST` entries.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Few<T, const MOST: usize>(pub(super) Vec<T>);

impl<T: Serialize, const MOST: usize> Serialize for Few<T, MOST> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.0.serialize(serializer)
    }
}

impl<'de, T: Deserialize<'de>, const MOST: usize> Deserialize<'de> for Few<T, MOST> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Reading<T, const MOST: usize>(PhantomData<T>);

        impl<'de, T: Deserialize<'de>, const MOST: usize> Visitor<'de> for Reading<T, MOST> {
            type Value = Few<T, MOST>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "at most {MOST} entries")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
                let told = seq.size_hint().unwrap_or(0);
                if told > MOST {
                    return Err(A::Error::invalid_length(told, &self));
                }
                let mut list = Vec::with_capacity(told.min(AHEAD));
                while let Some(entry) = seq.next_element()? {
                    if list.len() == MOST {
                        return Err(A::Error::invalid_length(MOST + 1, &self));
                    }
                    list.push(entry);
                }
                Ok(Few(list))
            }
        }

        deserializer.deserialize_seq(Reading(PhantomData))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bound_holds() {
        let bytes = |n: usize| postcard::to_allocvec(&vec![7_u8; n]).expect("a list");
        assert_eq!(postcard::from_bytes::<Few<u8, 3>>(&bytes(3)).expect("three").0, [7, 7, 7]);
        assert!(postcard::from_bytes::<Few<u8, 3>>(&bytes(4)).is_err());
        // A billion entries are announced, none is there.
        assert!(postcard::from_bytes::<Few<u64, 1_000>>(&[0x80, 0x94, 0xeb, 0xdc, 0x03]).is_err());
    }
}
