//! What a speaker tells the one who started it, and its words.

use super::hello::VERSION;
use super::proof::Token;
use std::fmt;

/// What a speaker tells the one who started it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Said {
    /// This token lets an editor in, once.
    Token(Token),
    /// An editor is connected; the token is spent.
    Joined,
    /// The editor is connected again.
    Back,
    /// The line is lost, the sound has stopped; the editor comes back by itself.
    Lost(String),
    /// The editor has said goodbye.
    Left,
    /// Somebody came with a wrong token.
    Wrong,
    /// The wrong tokens were so many that there is a new one.
    Worn,
    /// So many connected that are no editors of this version; the version of the last one, if it had one.
    Strangers(u32, Option<u16>),
    /// The editor has sent what cannot be sounded.
    Refused(String),
    /// The device is there again, with so many frames per second.
    Device(u32),
    /// The device is lost: why.
    NoDevice(String),
    /// There is no new token: why.
    NoToken(String),
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Said::Token(token) => write!(f, "token {token}"),
            Said::Joined => f.write_str("editor connected; the token is used up"),
            Said::Back => f.write_str("editor connected again"),
            Said::Lost(why) => {
                write!(f, "connection lost ({why}); playback stopped, the editor reconnects by itself")
            }
            Said::Left => f.write_str("the editor closed the connection"),
            Said::Wrong => f.write_str("rejected: wrong token"),
            Said::Worn => f.write_str("rejected too many wrong tokens; the previous token is no longer valid"),
            Said::Strangers(n, Some(v)) => {
                write!(
                    f,
                    "ignored {n} connections that are not teeter editors of protocol version {VERSION}; the last one uses version {v}"
                )
            }
            Said::Strangers(n, None) => write!(f, "ignored {n} connections that are not teeter editors"),
            Said::Refused(why) => write!(f, "rejected data from the editor: {why}"),
            Said::Device(hertz) => write!(f, "output device available again at {hertz} Hz"),
            Said::NoDevice(why) => write!(f, "{why}; retrying"),
            Said::NoToken(why) => {
                write!(f, "no new token ({why}); restart the speaker to accept another editor")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_of_a_device_it_is_said_that_it_is_tried_again() {
        assert_eq!(Said::NoDevice("no sound: pulled out".into()).to_string(), "no sound: pulled out; retrying");
        let words = Said::NoToken("no random numbers".into()).to_string();
        assert!(words.contains("no random numbers") && !words.contains("retrying"), "{words}");
    }
}
