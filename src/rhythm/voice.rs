//! The voices, and the sounds of clicks: their names and descriptions.

use std::fmt;

macro_rules! sounds {
    ($(#[$doc:meta])* $sound:ident { $($variant:ident $name:literal $words:literal,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $sound {
            $(#[doc = $words] $variant,)*
        }

        impl $sound {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Its name in files and on screen.
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// A short description of its sound.
            pub fn description(self) -> &'static str {
                match self { $(Self::$variant => $words,)* }
            }

            pub(crate) fn parse(name: &str) -> Option<Self> {
                match name { $($name => Some(Self::$variant),)* _ => None }
            }
        }

        impl fmt::Display for $sound {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.name())
            }
        }
    };
}

sounds! {
    /// The sound of a layer.
    Voice {
    Kick "kick" "a bass drum, a falling low tone with a soft beater",
    Snare "snare" "a snare drum, a short tone under rattling noise",
    Hat "hat" "a closed hi-hat, a very short metallic hiss",
    OpenHat "open-hat" "an open hi-hat, a longer metallic hiss",
    Ride "ride" "a ride cymbal, a clear ping over a quiet hiss",
    Crash "crash" "a crash cymbal, a broad splash that rings long",
    Rim "rim" "a rim click, a short hard knock",
    Clap "clap" "hands clapping, a few bursts of noise close together",
    Tom "tom" "a tom, a falling middle tone",
    LowTom "low-tom" "a low tom, a falling low tone",
    Wood "wood" "a wood block, a short hollow knock",
    Cowbell "cowbell" "a cowbell, a short clank of two tones",
    Bell "bell" "a struck bell, ringing inharmonic tones",
    Shaker "shaker" "a shaker, a soft grain of noise",
    Bass "bass" "a plucked low string; plays the pitch of the attack, or E1 if it has none",
    Pluck "pluck" "a plucked string; plays the pitch of the attack, or E3 if it has none",
    }
}

sounds! {
    /// The sound of the clicks, a setting of the player and no part of a groove.
    ClickSound {
        Tick "tick" "a very short high tone",
        Block "block" "a short hollow knock",
        Beep "beep" "a longer plain tone",
    }
}

#[allow(clippy::derivable_impls, reason = "the enum is the macro's, which marks no variant")]
impl Default for ClickSound {
    fn default() -> Self {
        Self::Tick
    }
}

impl ClickSound {
    /// The one after it, from the last one to the first.
    pub(crate) fn next(self) -> Self {
        let at = Self::ALL.iter().position(|sound| *sound == self).unwrap_or(0);
        Self::ALL[(at + 1) % Self::ALL.len()]
    }
}

impl Voice {
    /// Whether the voice sounds the pitch of its attacks.
    pub(crate) fn is_pitched(self) -> bool {
        self.default_pitch().is_some()
    }

    /// Key number (60 is middle C) of a pitched voice for attacks without a pitch.
    pub(crate) fn default_pitch(self) -> Option<u8> {
        match self {
            Voice::Bass => Some(28),
            Voice::LowTom => Some(41),
            Voice::Tom => Some(45),
            Voice::Pluck => Some(52),
            Voice::Bell => Some(72),
            _ => None,
        }
    }
}
