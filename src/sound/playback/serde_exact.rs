//! Exact numbers as pairs of integers, and names, for messages.

pub(in crate::sound) mod fraction {
    use crate::rhythm::Fraction;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(in crate::sound) fn serialize<S: Serializer>(number: &Fraction, to: S) -> Result<S::Ok, S::Error> {
        (number.numer(), number.denom()).serialize(to)
    }

    pub(in crate::sound) fn deserialize<'a, D: Deserializer<'a>>(from: D) -> Result<Fraction, D::Error> {
        let (numer, denom) = Deserialize::deserialize(from)?;
        Fraction::new(numer, denom).ok_or_else(|| D::Error::custom("not an exact number"))
    }
}

pub(in crate::sound) mod time {
    use crate::rhythm::Time;
    use serde::de::Error;
    use serde::{Deserializer, Serializer};

    pub(in crate::sound) fn serialize<S: Serializer>(time: &Time, to: S) -> Result<S::Ok, S::Error> {
        super::fraction::serialize(&time.wholes(), to)
    }

    pub(in crate::sound) fn deserialize<'a, D: Deserializer<'a>>(from: D) -> Result<Time, D::Error> {
        let wholes = super::fraction::deserialize(from)?;
        Time::new(wholes.numer(), wholes.denom()).ok_or_else(|| D::Error::custom("not a time"))
    }
}

pub(in crate::sound) mod click_sound {
    use crate::rhythm::ClickSound;
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    #[allow(clippy::trivially_copy_pass_by_ref, reason = "the form that serde calls")]
    pub(in crate::sound) fn serialize<S: Serializer>(sound: &ClickSound, to: S) -> Result<S::Ok, S::Error> {
        sound.name().serialize(to)
    }

    pub(in crate::sound) fn deserialize<'a, D: Deserializer<'a>>(from: D) -> Result<ClickSound, D::Error> {
        let name = String::deserialize(from)?;
        ClickSound::parse(&name).ok_or_else(|| D::Error::custom("not a sound of clicks"))
    }
}
