//! Who is let in by a speaker: one editor, by a token that is good once or by the session it began.

use super::meet::{Knock, Session, Verdict};
use super::proof::{Key, Token};

/// Wrong tokens after which the token is replaced.
const GUESSES: u32 = 5;

/// The door of a speaker.
#[derive(Debug, Default)]
pub(super) struct Door {
    token: Option<Token>,
    /// Wrong tokens that came while this one was there.
    guesses: u32,
    session: Option<Session>,
    /// Whether an editor is connected now.
    pub(super) live: bool,
}

/// One who was let in.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    pub(super) session: Session,
    /// The key that both ends have shown to know.
    pub(super) shown: Key,
    /// Whether the editor comes back to its session.
    pub(super) back: bool,
}

impl Door {
    /// Makes a new token.
    ///
    /// # Errors
    /// That of the system's random source.
    pub(super) fn renew(&mut self) -> Result<Token, String> {
        let token = Token::random()?;
        self.token = Some(token.clone());
        self.guesses = 0;
        Ok(token)
    }

    /// Whether a token is waiting to be used.
    pub(super) fn has_token(&self) -> bool {
        self.token.is_some()
    }

    /// Whether the token was guessed at so often that it is to be replaced.
    pub(super) fn is_worn(&self) -> bool {
        self.guesses >= GUESSES
    }

    /// Ends the session.
    pub(super) fn forget(&mut self) {
        self.session = None;
        self.live = false;
    }

    /// Lets one in or not. The token is spent by the first who knows it; whoever comes by it takes the place of a session whose
    /// line is lost.
    pub(super) fn judge(&mut self, knock: &Knock) -> Result<Entry, Verdict> {
        if let Some(name) = knock.session {
            let Some(session) = self.session.as_ref().filter(|s| s.name == name) else {
                return Err(Verdict::Forgotten);
            };
            // The editor may know before the speaker that the old line is lost.
            return if knock.is_of(&session.key) {
                self.live = true;
                // A token shown for another editor while the line was lost is not needed any more.
                (self.token, self.guesses) = (None, 0);
                Ok(Entry { session: session.clone(), shown: session.key.clone(), back: true })
            } else {
                Err(Verdict::Forgotten)
            };
        }
        if self.live {
            return Err(Verdict::Busy);
        }
        let Some(token) = self.token.take() else { return Err(Verdict::WrongToken) };
        if !knock.is_of(&token.key()) {
            self.guesses += 1;
            // A worn one is good for nobody, also before there is another.
            self.token = Some(token).filter(|_| !self.is_worn());
            return Err(Verdict::WrongToken);
        }
        let session = knock.begins(&token);
        self.session = Some(session.clone());
        self.live = true;
        Ok(Entry { session, shown: token.key(), back: false })
    }
}
